package station

import "bufferstop/harness/written"

// A FileError is one thing that is wrong with a file that a builder has written.
type FileError = written.Error

// A document is a station or dialect file that is being checked.
type document struct{ *written.Document }

func open(name string, data []byte, into any) (*document, bool) {
	d, ok := written.Open(name, data, into)
	return &document{d}, ok
}
