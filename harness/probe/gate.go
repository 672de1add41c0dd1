package probe

import (
	"encoding/binary"
	"time"
)

// leap is by how much more than the host's clock says a stretch may lie ahead. It is there for the rare frame that is
// broken and has the right CRC by chance (1 in 65536 of the broken ones): taken for true, its start would be a wrong time
// for all that follows. What delays frames on their way is well below. Our own choice.
const leap = 2 * time.Second

// A gate lets through the stretches whose place in time is plausible. It looks at each as it arrives, before anything is
// dropped for want of room.
type gate struct {
	epoch   *epoch
	next    int64 // tick at which the next stretch should begin
	arrived time.Duration
}

func (g *gate) begin(e *epoch, now time.Duration) { *g = gate{epoch: e, arrived: now} }

// pass looks at the payload of a stretch that arrived at now on the host's clock.
func (g *gate) pass(payload []byte, now time.Duration) bool {
	if len(payload) < 6 || g.epoch == nil {
		return false
	}
	start := g.epoch.unwrapped(binary.LittleEndian.Uint32(payload), g.next)
	length := int64(binary.LittleEndian.Uint16(payload[4:]))
	ahead := time.Duration(float64(start-g.next) * g.epoch.Nanos)
	if start < g.next || length == 0 || ahead > now-g.arrived+leap {
		return false
	}
	g.next, g.arrived = start+length, now
	return true
}
