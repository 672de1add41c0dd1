// Package calibration finds out how well a probe measures, with the user's help, and keeps what was found in a file beside
// the rig's.
//
// A Walk asks the rig and the user and makes a File; Budgets turns a File, or the want of one, into what makes each
// measurement uncertain. Observations says what a reader of a report should know of the state of a calibration.
package calibration
