// Package claims measures what the README of the probe's firmware, one folder up, promises: on a simulated processor, cycle for
// cycle (build tag simavr). The folder of the firmware itself cannot hold Go files, since it holds C files that are not for Go.
package claims
