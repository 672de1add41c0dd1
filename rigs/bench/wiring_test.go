package bench_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/require"
)

// The circuits of the wiring page, made of the very values that its figures and lists have, are tried on the circuit
// simulator ngspice: wiring_front_end_test.go and its neighbours. Semiconductors are models of a kind and not of a type
// (wiringModels), as good as the page asks for and no better; where they are taken from memory they say so.

var bothTracks = []struct {
	name  string
	track figures.Track
}{{"main", figures.Main}, {"programming", figures.Programming}}

// trackVolts are the voltages that are tried: the ends of S-9.1 C, Table 3 (2020), and a common one. A short pass tries that alone.
func trackVolts() []float64 {
	if testing.Short() {
		return []float64{16}
	}
	return []float64{8.5, 16, 22}
}

// wiringModels are the semiconductors. All of it from memory of what data sheets of such parts say, except where the page
// itself sets the figure.
const wiringModels = `
* small Schottky diode: 0.25 V at 1 mA; power Schottky: 0.55 V at 5 A; rectifier; suppressor in breakdown
.model small D(IS=1e-7 N=1.05 RS=2 CJO=8p)
.model power D(IS=2e-6 N=1.05 RS=20m CJO=400p)
* N-channel FET of the load: threshold 3 V, 10 S at 5 A; and of the switch: threshold 2 V, 10 mOhm at 6 V
.model linear NMOS(LEVEL=1 VTO=3 KP=10 RD=20m)
.model switch NMOS(LEVEL=1 VTO=2 KP=40 RD=4m)
.model pnp PNP(BF=100 CJE=10p CJC=8p TF=0.5n)
.model npn NPN(BF=100 CJE=10p CJC=8p TF=0.5n)

* op-amp of the page: 10 MHz, 8 V/us, output from 5 mV to 50 mV below its supply, 60 Ohm
.subckt opamp p n out vcc
B1 0 x I = 8m*tanh(V(p,n)*62.8/8)
C1 x 0 1n
R1 x 0 3meg
B2 x 0 I = (V(x)>V(vcc)+0.3) ? (V(x)-V(vcc)-0.3)*0.1 : ((V(x)<-0.3) ? (V(x)+0.3)*0.1 : 0)
B3 o 0 V = min(max(V(x),0.005),V(vcc)-0.05)
R2 o out 60
.ends

* comparator: gain 10 mV wide, then its delay as a line; push-pull of 5 V, with the delay that the page asks for
.subckt sign p n out
B1 x 0 V = tanh(V(p,n)*1000)
R1 x y 50
T1 y 0 z 0 Z0=50 TD=50n
R2 z 0 50
B2 out 0 V = 2.5+2.5*tanh(V(z)*20)
C1 p 0 5p
C2 n 0 5p
.ends

* open collector, low when p is below n; 6 mA at most, 0.7 us
.subckt collector p n out d=0.7u
B1 x 0 V = tanh(V(n,p)*1000)
R1 x y 50
T1 y 0 z 0 Z0=50 TD={d}
R2 z 0 50
B2 out 0 I = 6m*tanh(V(out)/0.1)*(0.5+0.5*tanh(V(z)*20))
R3 out 0 100meg
C1 p 0 5p
C2 n 0 5p
.ends
`

// partValue gives a value of the list of parts as ngspice reads it.
func partValue(name string, track figures.Track) string {
	return strconv.FormatFloat(figures.Value(name, track), 'g', -1, 64)
}

// withParts replaces each {R101} in a netlist by the value of that part.
func withParts(netlist string, track figures.Track) string {
	return regexp.MustCompile(`\{([A-Z]\d+)\}`).ReplaceAllStringFunc(netlist, func(name string) string {
		return partValue(name[1:len(name)-1], track)
	})
}

var measuredLine = regexp.MustCompile(`(?m)^([a-z_0-9]+)\s*=\s*(\S+)`)

// spice runs a netlist, with its .measure lines, and gives what was measured by name.
func spice(t *testing.T, track figures.Track, netlist string) map[string]float64 {
	t.Helper()
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed: ", err)
	}
	directory := t.TempDir()
	file := filepath.Join(directory, "wiring.cir")
	text := "wiring\n" + wiringModels + withParts(netlist, track) + "\n.end\n"
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	command := exec.Command(ngspice, "-b", file)
	command.Dir = directory
	out, err := command.CombinedOutput()
	require.NoError(t, err, "%s", out)
	results := map[string]float64{}
	for _, found := range measuredLine.FindAllStringSubmatch(string(out), -1) {
		if value, err := strconv.ParseFloat(found[2], 64); err == nil {
			results[found[1]] = value
		}
	}
	for _, asked := range regexp.MustCompile(`(?im)^\.meas(?:ure)?\s+\S+\s+(\S+)`).FindAllStringSubmatch(netlist, -1) {
		require.Contains(t, results, strings.ToLower(asked[1]), "%s", out)
	}
	return results
}

// reversing is the two rails of a full bridge with 0.3 Ohm and 0.5 uH in each lead, from before to behind the probe's own
// parts, reversing every 58 us with edges of a given time.
func reversing(volts, edge float64) string {
	return fmt.Sprintf(`
VA a0 0 PULSE(0 %[1]g 1u %[2]g %[2]g %[3]g 116u)
VB b0 0 PULSE(%[1]g 0 1u %[2]g %[2]g %[3]g 116u)
RA a0 a1 0.3
LA a1 a 0.5u
RB b0 b1 0.3
LB b1 b 0.5u
`, volts, edge, 58e-6-edge)
}
