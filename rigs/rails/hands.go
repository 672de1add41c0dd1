package rails

import "time"

// SetLoad has a load draw this current, in amperes, from t on while the track has voltage.
func (o *Output) SetLoad(t time.Duration, amperes float64) {
	o.load = amperes
	o.settle(t)
}

// SetShort lays a conductance, in siemens, across the rails from t on; zero is none.
func (o *Output) SetShort(t time.Duration, siemens float64) {
	o.conductance = siemens
	o.settle(t)
}
