package examination

import (
	"bufferstop/harness"
	"bufferstop/harness/station"
)

// ServiceTrafficName is the name of the exercise that ServiceTraffic does, for harness.Done.
const ServiceTrafficName = "traffic on the programming track"

// ServiceTraffic returns a watch on the programming track while an ordinary fake decoder is read and written, made once
// for all the requirements that look at it.
func (x *Check) ServiceTraffic() *harness.Watch {
	return x.Look(Shared(x, ServiceTrafficName, func() *harness.Watch {
		x.FitDefault()
		w := x.Watch(station.Programming)
		x.ReadAndWrite(1, 3, 10)
		w.Stop()
		return w
	}))
}
