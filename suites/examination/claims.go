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
	"functions F0 to F4":      functions(0, 4),
	"functions F5 to F12":     functions(5, 12),
	"functions F13 to F28":    functions(13, 28),
	"functions F29 to F68":    functions(29, 68),
	"functions in two groups": func(c station.Claims) bool { return c.Functions.First < 5 && c.Functions.Last >= 5 },
	"accessories":             func(c station.Claims) bool { return c.Accessories.Claimed },
	"aspects":                 func(c station.Claims) bool { return c.Aspects.Claimed },
	"accessories off":         func(c station.Claims) bool { return c.AccessoryOff },
	"consists":                func(c station.Claims) bool { return c.Consist },
	"bit write on the main":   func(c station.Claims) bool { return c.BitWriteOnMain },
	"programming on the main": func(c station.Claims) bool { return c.ProgrammingOnMain },
	"bit write":               func(c station.Claims) bool { return c.BitWrite },
	"state kept at power off": func(c station.Claims) bool { return c.PowerOffKeepsState },
	"cutout":                  func(c station.Claims) bool { return c.Cutout },
	"direct mode":             func(c station.Claims) bool { return c.Method(station.Direct) },
	"paged mode":              func(c station.Claims) bool { return c.Method(station.Paged) },
	"register mode":           func(c station.Claims) bool { return c.Method(station.Register) },
	"address-only mode":       func(c station.Claims) bool { return c.Method(station.AddressOnly) },
	"a method beside direct mode": func(c station.Claims) bool {
		return c.Method(station.Paged) || c.Method(station.Register) || c.Method(station.AddressOnly)
	},
}

// functions tells whether any function of a group is claimed: those that are will be asked for.
func functions(first, last int) func(station.Claims) bool {
	return func(c station.Claims) bool {
		return c.Functions.Claimed && c.Functions.First <= last && c.Functions.Last >= first
	}
}
