package bench

import (
	"context"
	"strings"

	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"
	"bufferstop/harness/probe/replay"
)

// Other kinds of probes than those with a link of bytes: they can only look.
const (
	schemeAnalyser = analyser.Scheme
	schemeReplay   = replay.Scheme
)

// looksOnly says that the probe at an address can only look.
func looksOnly(address string) bool {
	return strings.HasPrefix(address, schemeAnalyser) || strings.HasPrefix(address, schemeReplay)
}

// checkEyes says what of such an address is wrong, as a *probe.AddressError.
func checkEyes(address string) (err error) {
	if strings.HasPrefix(address, schemeAnalyser) {
		_, err = analyser.ParseAddress(address)
	} else {
		_, err = replay.ParseAddress(address)
	}
	return err
}

// eyesIdentity names what no two runs may use at once. A capture file may be read by many.
func eyesIdentity(address string) []string {
	if a, err := analyser.ParseAddress(address); err == nil {
		return []string{a.Identity()}
	}
	return nil
}

// Replayed is the path of the capture file that stands in for a probe, empty for a probe that is none.
func (f *File) Replayed() string {
	if f.Probe == nil {
		return ""
	}
	a, err := replay.ParseAddress(f.Probe.Link)
	if err != nil {
		return ""
	}
	return a.In(f.Folder).Path
}

// openEyes opens a probe that can only look. The path of a capture is relative to the folder of the rig file. A calibration
// is none of such a probe: what is known of its clock stands in its address.
func openEyes(ctx context.Context, address, folder string) (probe.Source, error) {
	if strings.HasPrefix(address, schemeAnalyser) {
		return analyser.Open(ctx, address, analyser.Options{})
	}
	a, err := replay.ParseAddress(address)
	if err != nil {
		return nil, err
	}
	return a.In(folder).Open(ctx, replay.Options{})
}
