package rails

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestTheCircuitAgreesWithNgspice compares operating points with the circuit simulator ngspice. There the supply is a
// current source of the limit that a diode clamps to the supply voltage, which is another way to say the same.
func TestTheCircuitAgreesWithNgspice(t *testing.T) {
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed: ", err)
	}
	c := Circuit{}.WithDefaults().circuit()
	for _, point := range []struct {
		name               string
		sinks, conductance float64
	}{
		{"nothing but a decoder", 0.020, 0},
		{"no-trip current", 1.5, 0},
		{"trip current", 2.5, 0},
		{"inrush on a load", 4.4, 0},
		{"short of 10 ohms and a decoder", 0.3, 0.1},
		{"short of 3 ohms", 0, 1.0 / 3},
		{"short of 1 ohm, at the limit", 0, 1},
		{"dead short, at the limit", 0, 10},
		{"short of 2 ohms and a load, at the limit", 1, 0.5},
	} {
		netlist := fmt.Sprintf(`%s
* supply: current limit, clamped to its voltage
I1 0 s DC %g
D1 s clamp ideal
V1 clamp 0 DC %g
.model ideal D(IS=1e-14 N=0.01)
* bridge drop, then bridge, sense and wiring
V2 s a DC %g
R1 a b %g
R2 b c %g
R3 c rail %g
* what lies across the rails
I2 rail 0 DC %g
R4 rail 0 %g
.control
op
print v(rail)
print i(v2)
quit
.endc
.end
`, point.name, c.limit, c.supply, c.drop, c.bridge, c.sense, c.wiring, point.sinks, 1/max(point.conductance, 1e-9))
		file := filepath.Join(t.TempDir(), "track.cir")
		require.NoError(t, os.WriteFile(file, []byte(netlist), 0o600))
		command := exec.Command(ngspice, "-b", file)
		command.Dir = t.TempDir()
		out, err := command.CombinedOutput()
		require.NoError(t, err, "%s", out)
		voltage, amperes := c.solve(point.sinks, point.conductance)
		assert.InEpsilon(t, spice(t, out, "v(rail)"), voltage, 0.01, "voltage: %s", point.name)
		assert.InEpsilon(t, spice(t, out, "i(v2)"), amperes, 0.01, "current: %s", point.name)
	}
}

// spice finds a result in what ngspice printed.
func spice(t *testing.T, out []byte, name string) float64 {
	found := regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name) + ` = (\S+)`).FindSubmatch(out)
	require.NotNil(t, found, "no %s in %s", name, out)
	value, err := strconv.ParseFloat(string(found[1]), 64)
	require.NoError(t, err)
	return value
}

func TestTheCircuitKeepsItsLimits(t *testing.T) {
	c := Circuit{}.WithDefaults().circuit()
	rapid.Check(t, func(t *rapid.T) {
		sinks := rapid.Float64Range(0, 30).Draw(t, "sinks")
		g := rapid.Float64Range(0, 100).Draw(t, "conductance")
		v, i := c.solve(sinks, g)
		assert.GreaterOrEqual(t, v, 0.0)
		assert.LessOrEqual(t, v, c.supply-c.drop)
		assert.GreaterOrEqual(t, i, 0.0)
		assert.LessOrEqual(t, i, c.limit)
		// More load never gives more voltage.
		w, _ := c.solve(sinks+0.1, g)
		assert.LessOrEqual(t, w, v)
		w, _ = c.solve(sinks, g+0.1)
		assert.LessOrEqual(t, w, v+1e-12)
		if g == 0 && sinks < c.plenty {
			assert.GreaterOrEqual(t, v, sufficient)
		}
	})
}
