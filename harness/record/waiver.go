package record

// A Waiver is a known failure that a run is to let pass, as the user has written it down.
type Waiver struct {
	Requirement string   `json:"requirement"`
	Track       string   `json:"track,omitempty"` // empty for all tracks of the requirement
	Reason      string   `json:"reason"`
	Owner       string   `json:"owner"`    // a role that sees to it
	Expires     string   `json:"expires"`  // the last day on which it holds, as 2006-01-31
	Expected    []string `json:"expected"` // each failure contains one of these, and each of these is in a failure
}

// A Waived is what came of a waiver for one result. The verdict of the result stays what it was.
type Waived struct {
	Reason   string   `json:"reason"`
	Owner    string   `json:"owner"`
	Expires  string   `json:"expires"`
	Expected []string `json:"expected"`
	// Void says why the waiver does not hold, as a sentence; it is empty for one that does. A run with such a waiver does not
	// conform, so that none outlives what it was made for.
	Void string `json:"void,omitempty"`
	// Open says that the waiver was not put to the test, since the check came to nothing, or is judged by
	// the whole of a run of which this is a part: it neither holds nor fails.
	Open bool `json:"open,omitempty"`
}

// IsWaived reports whether a waiver lets the result pass.
func (r Result) IsWaived() bool { return r.Waived != nil && r.Waived.Void == "" && !r.Waived.Open }

// VoidWaiver is why the waiver of the result does not hold, or the empty string.
func (r Result) VoidWaiver() string {
	if r.Waived == nil {
		return ""
	}
	return r.Waived.Void
}
