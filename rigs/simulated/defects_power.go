package simulated

// powerDefects are ways in which a track begins otherwise than it should.
var powerDefects = []Defect{
	{"few-resets", "8 reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpResets = 8 }},
	{"few-idles", "3 idle packets after the reset packets at power-up",
		[]string{"PWR-001"},
		func(s *settings) { s.powerUpIdles = 3 }},
}
