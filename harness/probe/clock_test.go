package probe

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheProbesClockIsFoundByTheHosts(t *testing.T) {
	f := newFarEnd(1, 20*mean, testHello())
	f.device = NewDevice(DeviceConfig{Hello: *testHello(), PPM: 80, FirstTick: 0xff00_0000})
	c := attach(t, f, Options{})
	f.run(t, c, 20*time.Second, discard{})
	fit := c.Clock()
	assert.InDelta(t, 80, fit.PPM, 1)
	assert.Greater(t, fit.Points, 30)
	assert.Less(t, fit.U, 30., "round trips of a millisecond")
	assert.InDelta(t, 20*time.Second, fit.Span, 2e9)
	p, err := c.Sync(t.Context())
	require.NoError(t, err)
	assert.InDelta(t, p.Sent, fit.Host(p.Probe), 2e6)
	assert.InDelta(t, fit.Probe(p.Sent), p.Probe, 2e6)
}

func TestTheScatterOfExchangesIsInTheUncertainty(t *testing.T) {
	var s syncPoints
	for i := range 1000 {
		host := time.Duration(i) * time.Second
		late := time.Duration(i*7919%1000) * time.Microsecond // where in the round trip of 1 ms the probe was asked
		s.add(SyncPoint{Sent: host, Received: host + time.Millisecond, Probe: time.Duration(float64(host+late) * 1.00002)})
	}
	fit := s.fit()
	assert.LessOrEqual(t, fit.Points, mostPoints)
	assert.InDelta(t, 20, fit.PPM, fit.U)
	assert.Less(t, fit.U, 0.3)
	assert.InDelta(t, 999*time.Second, fit.Span, 20e9)
}
