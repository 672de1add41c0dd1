package probe

// testHello is a probe with all that there is. Its figures are those of README.md's example board.
func testHello() *Hello {
	return &Hello{Version: 1, Clock: 16_000_000, Firmware: 0x0100, Serial: 42,
		Features:      SeesEdges | SeesOff | SeesCurrent | HasLoad | HasShort | HasSupply | HasReflex,
		CommandBuffer: 256, LoadQueue: 32, ReflexRules: 4, Name: "bench probe",
		Tracks: []TrackHello{
			{ID: Main, SenseMicroamps: 4888, SenseZero: 2, SenseFull: 1023, LoadMicroamps: 20_000, LoadTop: 255, LoadContinuous: 50,
				LoadBriefMs: 200, ShortMilliohms: 100, ShortMostMs: 500, ThresholdMillivolts: 4000, OffDelay: 160},
			{ID: Programming, SenseMicroamps: 1222, SenseFull: 1023, LoadMicroamps: 4000, LoadTop: 255, LoadContinuous: 255,
				LoadBriefMs: 1000, ShortMilliohms: 200, ShortMostMs: 250, ThresholdMillivolts: 4000, OffDelay: 176},
		}}
}
