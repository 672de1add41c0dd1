package probe

import "time"

// Health says how well the client and its probe get on.
type Health struct {
	// Connected says that the probe answers now. Reconnects counts how often it was greeted anew after its link was lost,
	// Restarts how often because nothing more came over a link that stayed.
	Connected            bool
	Reconnects, Restarts int
	// Frames counts good frames; FramesLost those that are missing by the sequence numbers; Broken what was no frame;
	// Unknown frames of types that we do not know, as newer probes may send; Malformed good frames with a payload that
	// makes no sense; Implausible stretches out of place in time.
	Frames, FramesLost, Unknown, Malformed, Implausible uint64
	Broken                                              Broken
	// Queued is how many bytes wait to be pumped, QueueHigh how many did at most, QueueSize how many can. Dropped counts
	// the frames for which there was no room: then Pump was not called for too long.
	Queued, QueueHigh, QueueSize int
	Dropped                      uint64
	// Losses counts the lost stretches that were told to the sink, of each track, and LostTime is their sum.
	Losses   uint64
	LostTime time.Duration
	// SamplesLost counts stretches of which the probe lost samples.
	SamplesLost uint64
	// Late counts loads that began later than asked, WorstLate is by how much; RefusedPosts counts loads posted and
	// refused, LastRefusal is the newest; Unanswered counts commands without an answer.
	Late, RefusedPosts, Unanswered uint64
	WorstLate                      time.Duration
	LastRefusal                    error
	// LongestSilence is the longest time between two signs of life from us; after 100 ms a probe opens its shorts.
	LongestSilence time.Duration
	// LeftAlone counts how often the probe was made safe because Pump was not called for seconds while something lay across the rails.
	LeftAlone uint64
	// RecordingLost counts bytes that are missing in the recording, because its writer was too slow; RecordingError is
	// what ended the recording.
	RecordingLost  uint64
	RecordingError error
}
