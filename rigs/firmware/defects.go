package firmware

// A Variant is the reference firmware with one defect of the kind that only real code has, for tests of the suites.
type Variant struct {
	// Name is what make DEFECT= takes, see reference/defects.h.
	Name string
	// Flaw says what is wrong.
	Flaw string
	// Breaks lists the ids of the requirements that the variant does not meet, in ascending order.
	Breaks []string
	// May lists others that it may break: which, is a matter of the compiler or of what lies in the memory that it spoils.
	May []string
}

// Variants lists them in the order of reference/defects.h.
func Variants() []Variant { return append([]Variant(nil), variants...) }

var variants = []Variant{
	{"LONG_RECEIVE_INTERRUPT", "the interrupt of the bits turns the pin over itself, and waits for that of the receiver, which works for twenty microseconds at each character",
		[]string{"PKT-002", "SIG-001", "SIG-002", "SIG-005", "SIG-011", "SIG-012"}, []string{"SIG-013", "SIG-014", "SIG-015", "SIG-016", "PWR-003", "ACC-001", "ACC-002", "LNK-001", "OPS-003", "OPS-004", "OPS-005", "OPS-009", "OPS-010",
			"OVL-006", "PKT-003", "PWR-001", "RATE-001", "REC-001", "REC-002", "SIG-003", "SIG-004", "SRV-009", "SRV-010"}},
	{"DIVISION_IN_INTERRUPT", "32-bit divisions in the interrupt that begins a packet: the timer is reloaded too late on this path alone, and misses its match",
		[]string{"SRV-002", "SRV-003", "SRV-004", "SRV-005"}, []string{"PKT-002", "PKT-003", "SIG-001", "SIG-002", "SIG-003", "SIG-015", "SRV-010"}},
	{"TORN_PACKET", "a packet is said to be ready before it is copied: now and then the interrupt takes half of the one before",
		[]string{"PKT-003"}, []string{"SIG-005", "SIG-011", "SIG-012", "SIG-013", "SIG-014", "SIG-015", "SIG-016", "PWR-003", "OPS-003", "OPS-004", "OPS-005", "OPS-009", "OPS-010", "PWR-001", "REC-001", "REC-002", "RATE-002", "SRV-010"}},
	{"WRONG_CHANNEL", "the converter is started before its channel is changed: each reading is taken for one of the other output",
		[]string{"ACK-001", "ACK-002", "ACK-003", "ACK-004", "CUR-001", "OVL-001", "OVL-003", "OVL-005", "OVL-006", "SRV-006", "SRV-007",
			"SRV-008", "SRV-011", "SRV-012"}, nil},
	{"SLOW_ACKNOWLEDGE", "readings are smoothed over 7 ms before an acknowledge of 5 ms is looked for",
		[]string{"ACK-001", "ACK-004"}, nil},
	{"EARLY_WINDOW", "the window for an acknowledge opens when a packet is handed over, a packet before it is sent",
		[]string{"ACK-005"}, nil},
	{"FILTER_OVERFLOW", "the filter of the current has 16 bits, and a short is more than they hold",
		[]string{"OVL-001", "OVL-005"}, nil},
	{"MILLIAMPERES_OVERFLOW", "the reported current is computed with 16 bits",
		[]string{"CUR-001"}, nil},
	{"SHIFT_OF_INT", "1 << function with an int of 16 bits: F15 takes those above along, and F16 to F28 are nothing",
		[]string{"OPS-007"}, nil},
	{"STACK_OVERFLOW", "each locomotive costs a frame of stack, and with six there is none left",
		[]string{"RATE-002"}, nil},
	{"WATCHDOG_LEAVES_DC", "the wait for a retry starves the watchdog, and after its reset the bridges are on before there is a signal",
		[]string{"OVL-001", "OVL-003", "OVL-005", "OVL-006", "REC-001", "REC-002"}, nil},
	{"EEPROM_WAIT", "the firmware waits for the EEPROM with interrupts off, 3.4 ms for each speed that is set",
		[]string{"LNK-001", "PKT-002"}, []string{"SIG-005", "SIG-011", "SIG-012", "SIG-013", "SIG-014", "SIG-015", "SIG-016", "SIG-018", "PWR-003"}},
	{"RESUMES_IN_PACKET", "after a trip the power comes back with the rest of the packet that was cut, without a preamble",
		[]string{"REC-002"}, nil},
	{"TRIP_IN_MAIN_LOOP", "overloads are judged by a main loop that comes by every 50 ms",
		[]string{"OVL-001", "OVL-003", "OVL-005"}, nil},
	{"TRIP_TOLD_IN_INTERRUPT", "a trip is told in the interrupt that finds it, which waits for one that cannot come: a deadlock",
		[]string{"OVL-001", "OVL-003", "OVL-005", "OVL-006", "REC-001"}, nil},
	{"SEARCH_WITH_INTERRUPTS_OFF", "the refresh looks through all of its list with interrupts off, longer than half a one lasts: bits of both tracks are torn",
		[]string{"OVL-006", "PKT-002"}, []string{"SIG-005", "SIG-011", "SIG-012", "SIG-013", "SIG-014", "SIG-015", "SIG-016", "PWR-003", "ACC-001", "ACC-002", "OPS-003", "OPS-004", "OPS-005", "OPS-009", "OPS-010", "PKT-003",
			"PWR-001", "REC-001", "REC-002", "SRV-009", "SRV-010"}},
	{"SHORT_RING", "what does not fit into a ring of 24 characters is lost, a stop as well",
		[]string{"LNK-001"}, nil},
}
