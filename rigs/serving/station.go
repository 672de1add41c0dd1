package serving

import (
	"fmt"
	"strings"

	"bufferstop/fakedecoder"
	"bufferstop/harness/station"
	"bufferstop/rigs/simulated"
)

// Decoders are the names of the decoders that can stand on the programming track.
func Decoders() []string { return fakedecoder.Personalities() }

// OrdinaryDecoder is the name of one that keeps to the standards and has nothing special.
const OrdinaryDecoder = fakedecoder.Ordinary

// NewRig builds a simulated rig with a decoder, one of Decoders, on its programming track; an empty name leaves the track
// empty. The error names what does not exist.
func NewRig(o simulated.Options, decoder string) (*simulated.Rig, error) {
	rig, err := simulated.New(o)
	if err != nil || decoder == "" {
		return rig, err
	}
	config, err := fakedecoder.Personality(decoder)
	if err != nil {
		return nil, fmt.Errorf("decoder %+q: want one of %s", decoder, strings.Join(Decoders(), ", "))
	}
	if _, err := rig.Track(station.Programming).Fit(config); err != nil {
		return nil, err
	}
	return rig, nil
}
