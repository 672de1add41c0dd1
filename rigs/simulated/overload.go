package simulated

import "time"

// watch is the overload watch of one output: a filter over the readings of the converter, and a threshold that the
// filtered reading has to pass for a while. Filter and hold let the inrush of decoders through; no published standard
// gives figures for any of this, so the station declares its own.
type watch struct {
	watchSettings
	weight   float64 // of a new reading in the filter
	slow     float64 // of a new reading in the average that is reported
	period   time.Duration
	filtered float64
	average  float64
	over     time.Duration
	skip     int // takes only every so manieth reading of a saturated converter; flawed firmware only
	skipped  int
}

// reportFilter is the time constant of the average that is reported.
const reportFilter = 20 * time.Millisecond

// full is the converter's end of scale.
const full = 1023

func newWatch(w watchSettings, period time.Duration) watch {
	return watch{
		watchSettings: w, period: period,
		weight: float64(period) / float64(w.filter+period),
		slow:   float64(period) / float64(reportFilter+period),
	}
}

// restart forgets what was measured, when the output is switched on.
func (w *watch) restart() { w.filtered, w.average, w.over, w.skipped = 0, 0, 0, 0 }

// reading takes one reading and reports true when the output has to be switched off.
func (w *watch) reading(counts int) bool {
	w.average += (float64(counts) - w.average) * w.slow
	if w.skip > 0 && counts == full {
		if w.skipped++; w.skipped < w.skip {
			return false
		}
		w.skipped = 0
	}
	w.filtered += (float64(counts) - w.filtered) * w.weight
	if w.filtered < float64(w.threshold) {
		w.over = 0
		return false
	}
	w.over += w.period
	return w.over >= w.hold && !w.disabled
}
