package examination

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// claims tells, for each claim that the catalogue may name, whether a station makes it.
var claims = map[string]func(station.Claims) bool{
	"28 speed steps":          func(c station.Claims) bool { return c.Steps(dcc.Steps28) },
	"128 speed steps":         func(c station.Claims) bool { return c.Steps(dcc.Steps128) },
	"short addresses":         func(c station.Claims) bool { return c.ShortAddresses.Claimed },
	"long addresses":          func(c station.Claims) bool { return c.LongAddresses.Claimed },
	"functions F0 to F4":      func(c station.Claims) bool { return c.Functions.Contains(0) && c.Functions.Contains(4) },
	"functions F5 to F12":     func(c station.Claims) bool { return c.Functions.Contains(5) && c.Functions.Contains(12) },
	"functions F13 to F28":    func(c station.Claims) bool { return c.Functions.Contains(13) && c.Functions.Contains(28) },
	"accessories":             func(c station.Claims) bool { return c.Accessories.Claimed },
	"aspects":                 func(c station.Claims) bool { return c.Aspects.Claimed },
	"programming on the main": func(c station.Claims) bool { return c.ProgrammingOnMain },
	"bit write":               func(c station.Claims) bool { return c.BitWrite },
	"state kept at power off": func(c station.Claims) bool { return c.PowerOffKeepsState },
	"direct mode":             func(c station.Claims) bool { return c.Method(station.Direct) },
	"paged mode":              func(c station.Claims) bool { return c.Method(station.Paged) },
	"register mode":           func(c station.Claims) bool { return c.Method(station.Register) },
	"address-only mode":       func(c station.Claims) bool { return c.Method(station.AddressOnly) },
	"a method beside direct mode": func(c station.Claims) bool {
		return c.Method(station.Paged) || c.Method(station.Register) || c.Method(station.AddressOnly)
	},
}
