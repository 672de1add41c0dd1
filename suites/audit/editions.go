package audit

import (
	"bufferstop/harness/dcc"
)

// The topics on which editions of the standards differ in what a packet may be, and the editions of each, the oldest first and the newest,
// which holds where a station names none, last.
var topics = []struct {
	name     string
	editions []string
}{
	// S-9.2.1 A (2012) reserves 232 to 254; the draft of 2021 uses 253 and 254.
	{"first bytes", []string{"S-9.2.1 (2012)", "S-9.2.1.1 (draft 2021)"}},
	// S-9.2.1 D (2012) has three zeros and five bits; NEM 672 (2015) uses all eight bits of RCN-213.
	{"aspects", []string{"S-9.2.1 (2012)", "RCN-213 (2015)"}},
	// S-9.2.1 C (2012) reserves the codes by which F29 to F68 go, and that of speed and functions together; RCN-212 uses them, from memory.
	{"functions", []string{"S-9.2.1 (2012)", "RCN-212 (from memory)"}},
	// S-9.2.1 C (2012) reserves CC=00 and the short forms 0100 and 0101; RCN-214 and RCN-217 use them, from memory.
	{"CV access", []string{"S-9.2.1 (2012)", "RCN-214 (from memory)"}},
	// S-9.2.1 C (2012) reserves 11000001 and 11000010; RCN-211 has time and date there, from memory.
	{"system commands", []string{"S-9.2.1 (2012)", "RCN-211 (from memory)"}},
}

// Topics lists the topics on which editions differ, each with its editions, the newest last.
func Topics() map[string][]string {
	all := map[string][]string{}
	for _, t := range topics {
		all[t.name] = append([]string(nil), t.editions...)
	}
	return all
}

// Chosen words the editions by which packets are judged, for a report: those that were named, and the newest of the other topics.
func Chosen(named map[string]string) []string {
	var all []string
	for _, t := range topics {
		edition := t.editions[len(t.editions)-1]
		if named[t.name] == t.editions[0] {
			edition = t.editions[0]
		}
		all = append(all, t.name+": "+edition)
	}
	return all
}

// editions says, by topic, whether the older text holds.
type editions struct{ oldFirstBytes, oldAspects, oldFunctions, oldAccess, oldSystem bool }

// editionsOf reads the choice of a station. A name that is not known leaves the newest: the review of the claims refuses it.
func editionsOf(chosen map[string]string) editions {
	old := func(topic string) bool {
		for _, t := range topics {
			if t.name == topic {
				return chosen[topic] == t.editions[0]
			}
		}
		panic("no topic " + topic)
	}
	return editions{oldFirstBytes: old("first bytes"), oldAspects: old("aspects"), oldFunctions: old("functions"),
		oldAccess: old("CV access"), oldSystem: old("system commands")}
}

// advanced reports whether a packet is an advanced extended one, first bytes 253 and 254, by an edition that has these.
func (e editions) advanced(p dcc.Packet) bool {
	return !e.oldFirstBytes && p.Partition() == dcc.AdvancedPartition
}

// Advanced reports whether a packet is an advanced extended one by the edition that a station keeps to: these may be of any length.
func Advanced(chosen map[string]string, p dcc.Packet) bool { return editionsOf(chosen).advanced(p) }
