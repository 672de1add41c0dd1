package audit

import (
	"bufferstop/harness/dcc"
	"bufferstop/suites/catalogue"
)

// editions says, by topic of the catalogue, whether the text of 2012 holds, before others gave a use to what it reserves.
type editions struct{ oldFirstBytes, oldAspects, oldFunctions, oldAccess, oldSystem bool }

// editionsOf reads the choice of a station.
func editionsOf(claims map[string]string) editions {
	old := func(topic string) bool { return catalogue.Edition(topic, claims) == "S-9.2.1 (2012)" }
	return editions{oldFirstBytes: old("first bytes"), oldAspects: old("aspects"), oldFunctions: old("functions"),
		oldAccess: old("CV access"), oldSystem: old("system commands")}
}

// advanced reports whether a packet is an advanced extended one, first bytes 253 and 254, by an edition that has these.
func (e editions) advanced(p dcc.Packet) bool {
	return !e.oldFirstBytes && p.Partition() == dcc.AdvancedPartition
}
