package serving

import (
	"fmt"
	"strings"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/station"
)

// Decoders are the names of the decoders that can stand on the programming track.
func Decoders() []string { return fakedecoder.Personalities() }

// OrdinaryDecoder is the name of one that keeps to the standards and has nothing special.
const OrdinaryDecoder = fakedecoder.Ordinary

// FitDecoder lays a decoder, one of Decoders, across the programming track of a rig, if it has one. The error names what
// does not exist.
func FitDecoder(rig harness.Rig, decoder string) error {
	config, err := fakedecoder.Personality(decoder)
	if err != nil {
		return fmt.Errorf("decoder %+q: want one of %s", decoder, strings.Join(Decoders(), ", "))
	}
	track := rig.Track(station.Programming)
	if track == nil {
		return nil
	}
	_, err = track.Fit(config)
	return err
}
