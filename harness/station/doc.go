// Package station says what can be asked of a command station, and how a particular one is asked.
//
// A builder describes a station in two TOML files. The station file (File) names the station, its Claims (what it says it
// can do) and what it Declares (the numbers it promises: trip currents, times, accuracies); suites examine only what is
// claimed, against what is declared. The dialect file (Dialect) says how the station is talked to: for every Operation a
// template of what is sent, and patterns for the lines that may come back. ParseDialect describes its keys.
//
// A Driver joins a dialect and a link, and offers the operations in the trade's words:
//
//	file, err := station.LoadFile("my.station.toml")
//	driver := station.NewDriver(file.Dialect, rig.Link(), rig)
//	err = driver.SetPower(ctx, station.Main, true)
//	err = driver.SetSpeed(ctx, dcc.Short(3), dcc.Steps128, dcc.Forward, 10)
//	value, err := driver.ReadCV(ctx, 29, station.Direct)
//
// ParseCommand reads operations in plain words, "read cv 29", as a user types them and as the examples in a dialect file have
// them. Dialect.CheckExamples plays these, Dialect.Review says what in a dialect is legal and unwise, and a Responder is
// the dialect turned round: the station's side of it, for simulated stations.
//
// A failed operation wraps one of: *Refused, ErrNoAcknowledge, ErrTripped, ErrBusy, *UnexpectedAnswer,
// *link.LongLineError, *NotSupported, or an error of the link (link.ErrTimeout, link.ErrClosed).
//
// All text that comes from a station is untrusted. Errors quote it; whoever prints Identity, Refused.Text or Exchange
// has to do the same.
package station
