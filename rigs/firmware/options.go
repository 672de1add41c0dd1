package firmware

// Options are what a run may say beside the rig file.
type Options struct {
	// Seed decides what the probe's noise draws.
	Seed int64
}

// Missing says that this binary cannot simulate a processor.
type Missing struct{}

// Error says what to install and how to build.
func (*Missing) Error() string {
	return "this bufferstop was built without the processor simulator, which runs firmware images"
}

// Hint says what to do.
func (*Missing) Hint() string {
	return "on Debian: apt install libsimavr-dev libelf-dev gcc, then go run -tags simavr ./cmd/bufferstop run --rig ..."
}
