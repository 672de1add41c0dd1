// Package rigs holds the files of the rigs and stations that come with the program, so that it works with nothing else
// installed. The rigs themselves are in the folders below.
package rigs

import "embed"

// Files holds every TOML file of this folder: NAME.rig.toml describes a rig, NAME.station.toml what a station claims and
// declares, NAME.dialect.toml how a station is talked to.
//
//go:embed *.toml
var Files embed.FS
