package suites_test

import (
	"strings"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A station that claims and declares little is asked little, and is neither failed nor left in doubt for the rest.
func TestAStationThatClaimsLittleConforms(t *testing.T) {
	both, main := []station.Track{station.Main, station.Programming}, []station.Track{station.Main}
	declares := reference(t).Declares
	for name, c := range map[string]struct {
		claims   station.Claims
		declares station.Declares
	}{
		"20 addresses, no functions": {station.Claims{Tracks: both, SpeedSteps: []dcc.Steps{dcc.Steps28},
			ShortAddresses: station.Between(1, 20), ServiceMethods: []station.Method{station.Direct}, Lacks: []string{"bit write", "address-only mode"}}, declares},
		"nothing declared": {station.Claims{Tracks: both, SpeedSteps: []dcc.Steps{dcc.Steps28}, ShortAddresses: station.Between(1, 20),
			ServiceMethods: []station.Method{station.Direct, station.AddressOnly}, BitWrite: true}, station.Declares{}},
		"one locomotive": {station.Claims{Tracks: main, SpeedSteps: []dcc.Steps{dcc.Steps28}, ShortAddresses: station.Between(3, 3),
			Functions: station.Between(0, 0)}, station.Declares{}},
		"one long address": {station.Claims{Tracks: main, SpeedSteps: []dcc.Steps{dcc.Steps28}, LongAddresses: station.Between(10239, 10239),
			Functions: station.Between(13, 14), ProgrammingOnMain: true, BitWriteOnMain: true, Consist: true}, station.Declares{}},
		"the main track":        {station.Claims{Tracks: main}, station.Declares{}},
		"the programming track": {station.Claims{Tracks: both[1:], ServiceMethods: []station.Method{station.Direct, station.AddressOnly}, BitWrite: true}, declares},
		"two accessories":       {station.Claims{Tracks: main, Accessories: station.Between(2, 3)}, station.Declares{}},
		"one locomotive at a time": {station.Claims{Tracks: main, SpeedSteps: []dcc.Steps{dcc.Steps28}, ShortAddresses: station.Between(1, 127),
			Functions: station.Between(0, 12)}, station.Declares{ActiveLocomotives: 1}},
	} {
		t.Run(name, func(t *testing.T) {
			file := reference(t)
			c.claims.PowerOffKeepsState, c.claims.Numbering = true, file.Claims.Numbering
			file.Claims, file.Declares = c.claims, c.declares
			run, err := suites.Run(t.Context(), rigWith(t, simulated.Options{Seed: 5}), file, suites.Options{})
			require.NoError(t, err)
			want := verdict.Conforms
			if len(c.claims.Lacks) > 0 { // what a standard makes mandatory
				want = verdict.ConformsWithObservations
			}
			assert.Equal(t, want, run.Outcome)
			for _, r := range run.Results {
				assert.Contains(t, []verdict.Verdict{verdict.Pass, verdict.ConditionalPass, verdict.NotClaimed}, r.Verdict, "%s on %s: %s %v", r.ID, r.Track, r.Reason, r.Failures)
			}
		})
	}
}

// Many stations power the programming track for as long as an operation takes, and have no command for it.
func TestAProgrammingTrackWithoutAPowerCommandIsNotAskedForOne(t *testing.T) {
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	everything, err := station.ParseDialect("words", text)
	require.NoError(t, err)
	file := reference(t)
	file.Dialect, err = station.ParseDialect("no power", []byte(strings.Replace(string(text), "programming = \"bench\"\n", "", 1)))
	require.NoError(t, err)
	results := asked(t, rigWith(t, simulated.Options{Seed: 2, Dialect: everything}), file, "SIG-010", "SIG-020", "OVL-005", "OVL-007", "SRV-002", "SRV-008")
	for id, want := range map[string]verdict.Verdict{"OVL-005": verdict.NotClaimed, "OVL-007": verdict.NotClaimed, "SIG-010": verdict.NotClaimed,
		"SIG-020": verdict.NotClaimed, "SRV-002": verdict.Pass, "SRV-008": verdict.Pass} {
		assert.Equal(t, want, results[id].Verdict, "%s: %s", id, results[id].Reason)
	}
}

// without leaves operations out of the dialect in words, and its examples with them.
func withoutOperations(t *testing.T, operations ...string) *station.Dialect {
	t.Helper()
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	var kept strings.Builder
	for _, table := range strings.Split("\n"+string(text), "\n[") {
		left := strings.HasPrefix(table, "[example]]")
		for _, o := range operations {
			left = left || strings.HasPrefix(table, "operation."+o+"]") || strings.HasPrefix(table, "[operation."+o+".")
		}
		if !left {
			kept.WriteString("\n[" + table)
		}
	}
	d, err := station.ParseDialect("words", []byte(strings.TrimPrefix(kept.String(), "\n[")))
	require.NoError(t, err)
	return d
}

// A station whose list of locomotives is long, and empties at a reset only, has as many as it has; that the list is full is no fault.
func TestAStationWithoutReleaseIsWalkedAsFarAsItsListGoes(t *testing.T) {
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	everything, err := station.ParseDialect("words", text)
	require.NoError(t, err)
	file := reference(t)
	file.Dialect = withoutOperations(t, "release")
	for id, r := range asked(t, rigWith(t, simulated.Options{Seed: 1, Dialect: everything}), file, "OPS-003", "OPS-004", "OPS-005", "OPS-009", "OPS-011", "LNK-002") {
		want := verdict.Pass
		if id == "OPS-011" {
			want = verdict.NotClaimed
		}
		assert.Equal(t, want, r.Verdict, "%s: %s %v", id, r.Reason, r.Failures)
	}
}

func TestAStationWithoutResetOrCurrentIsNotAskedForThem(t *testing.T) {
	text, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	everything, err := station.ParseDialect("words", text)
	require.NoError(t, err)
	file := reference(t)
	file.Dialect = withoutOperations(t, "reset", "current")
	results := asked(t, rigWith(t, simulated.Options{Seed: 1, Dialect: everything}), file, "SIG-018", "CUR-001", "OPS-001")
	assert.Equal(t, verdict.NotClaimed, results["SIG-018"].Verdict)
	assert.Equal(t, verdict.NotClaimed, results["CUR-001"].Verdict, results["CUR-001"].Reason)
	assert.Equal(t, verdict.Pass, results["OPS-001"].Verdict)
}
