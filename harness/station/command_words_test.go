package station_test

import (
	"strconv"
	"strings"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func atoi(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		panic(err)
	}
	return n
}

func itoa(n int) string { return strconv.Itoa(n) }

// dccAddress is the address that a command speaks to.
func dccAddress(c station.Command) (dcc.Address, bool) {
	if c.Value("address") == "" {
		return dcc.Address{}, false
	}
	return dcc.Address{Number: uint16(atoi(c.Value("address"))), Long: c.Value("kind") == "long"}, true
}

func TestEveryCommandReadsBackFromItsWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCommand(t)
		again, err := station.ParseCommand(c.Words())
		require.NoError(t, err)
		require.Equal(t, c, again)
		loud, err := station.ParseCommand("  " + strings.ToUpper(strings.ReplaceAll(c.Words(), " ", " \t ")) + " ")
		require.NoError(t, err)
		require.Equal(t, c, loud)
	})
}

func TestCommandsInPlainWords(t *testing.T) {
	for text, want := range map[string]station.Command{
		"identify":                        station.IdentifyCommand(),
		"reset":                           station.ResetCommand(),
		"power main on":                   station.SetPowerCommand(station.Main, true),
		"power programming":               station.PowerCommand(station.Programming),
		"current main":                    station.CurrentCommand(station.Main),
		"speed 3 forward 10 of 128":       station.SetSpeedCommand(dcc.Short(3), dcc.Steps128, dcc.Forward, 10),
		"speed long 1000 reverse 0 of 28": station.SetSpeedCommand(dcc.Long(1000), dcc.Steps28, dcc.Reverse, 0),
		"function 3 0 on":                 station.SetFunctionCommand(dcc.Short(3), 0, true),
		"release long 3":                  station.ReleaseCommand(dcc.Long(3)),
		"stop 3":                          station.StopCommand(dcc.Short(3)),
		"stop all":                        station.StopAllCommand(),
		"accessory 12 1":                  station.SetAccessoryCommand(12, 1),
		"aspect 12 5":                     station.SetAspectCommand(12, 5),
		"read cv 29":                      station.ReadCVCommand(29, ""),
		"read cv 29 by direct":            station.ReadCVCommand(29, station.Direct),
		"write cv 29 6":                   station.WriteCVCommand(29, 6, ""),
		"verify cv 29 6 by register":      station.VerifyCVCommand(29, 6, station.Register),
		"write bit 29 5 1":                station.WriteBitCommand(29, 5, true),
		"write main long 1000 29 6":       station.WriteOnMainCommand(dcc.Long(1000), 29, 6),
		"write main bit long 1000 29 5 1": station.WriteBitOnMainCommand(dcc.Long(1000), 29, 5, true),
		"clear accessory 12 1":            station.ClearAccessoryCommand(12, 1),
		"consist 3 34 normal":             station.SetConsistCommand(dcc.Short(3), 34, false),
		"consist long 1000 127 reversed":  station.SetConsistCommand(dcc.Long(1000), 127, true),
		"leave consist 3":                 station.ClearConsistCommand(dcc.Short(3)),
	} {
		c, err := station.ParseCommand(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, c, text)
		assert.Equal(t, text, c.Words())
	}
}

func TestEveryOperationHasAFormOfWords(t *testing.T) {
	assert.Len(t, station.CommandForms(), len(station.Operations()))
	assert.Contains(t, station.CommandForms(), "read cv CV [by METHOD]")
	assert.Empty(t, station.Command{}.Words())
}

func TestNearMissesOfCommandsAreExplained(t *testing.T) {
	for text, want := range map[string]string{
		"":                         `"", column 1: got the end, want identify, or reset`,
		"raed cv 29":               `column 1: got "raed", want identify`,
		"rea cv 29":                `(hint: did you mean read?)`,
		"read vc 29":               `column 6: got "vc", want cv (hint: read cv CV [by METHOD])`,
		"read cv":                  `column 8: got the end, want the number of a CV, from 1 (hint: read cv CV [by METHOD])`,
		"read cv x":                `column 9: got "x", want the number of a CV`,
		"read cv -1":               `column 9: got "-1"`,
		"read cv 29 by":            `column 14: got the end, want direct, paged, register or address`,
		"read cv 29 by dirct":      `(hint: did you mean direct?)`,
		"read cv 29 direct":        `column 12: got "direct", want by`,
		"write cv 29 256":          `column 13: got "256", want a value of 0 to 255`,
		"power main of":            `column 12: got "of", want on or off`,
		"power man on":             `(hint: did you mean main?)`,
		"stop 1000":                `hint: a short address is at most 127; long 1000 is a long one`,
		"stop long 10240":          `hint: the largest long address is 10239`,
		"stop 0":                   `hint: address 0 is all locomotives: stop all`,
		"speed 3 forward 10":       `column 19: got the end, want of (hint: speed ADDRESS DIRECTION STEP of STEPS)`,
		"speed 3 forward 10 of 14": `column 23: got "14", want 28 or 128`,
		"identify now":             `column 10: got "now", want the end`,
		"write 29 6":               `column 7: got "29", want cv, or bit, or main`,
	} {
		_, err := station.ParseCommand(text)
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), want, text)
		var told *station.CommandError
		require.ErrorAs(t, err, &told)
		assert.Equal(t, text, told.Text)
	}
}

func FuzzParseCommand(f *testing.F) {
	for _, text := range append(station.CommandForms(), "speed long 1000 forward 10 of 128", "read cv 29 by direct", "stop all", "\xff 0") {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := station.ParseCommand(text)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		again, err := station.ParseCommand(c.Words())
		require.NoError(t, err)
		require.Equal(t, c, again)
	})
}
