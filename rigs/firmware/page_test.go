package firmware

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// keysOf lists the keys of a table of TOML, as a struct has them.
func keysOf(table reflect.Type, above string) (keys []string) {
	for i := range table.NumField() {
		field := table.Field(i)
		if field.Anonymous {
			keys = append(keys, keysOf(field.Type, above)...)
			continue
		}
		key := above + field.Tag.Get("toml")
		inner := field.Type
		if inner.Kind() == reflect.Slice {
			inner = inner.Elem()
		}
		if inner.Kind() == reflect.Struct && hasKeys(inner) {
			keys = append(keys, keysOf(inner, key+".")...)
			continue
		}
		keys = append(keys, key)
	}
	return keys
}

func hasKeys(table reflect.Type) bool {
	return table.NumField() > 0 && table.Field(0).Tag.Get("toml") != ""
}

var row = regexp.MustCompile("(?m)^\\| `([a-z_.]+)` \\|.*\\| (.*) \\|$")

// rows are the keys on the page, with what stands for their default.
func rows(t *testing.T) (keys []string, defaults map[string]string) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	defaults = map[string]string{}
	for _, found := range row.FindAllStringSubmatch(string(page), -1) {
		keys = append(keys, found[1])
		defaults[found[1]] = found[2]
	}
	return keys, defaults
}

func TestThePageHasEveryKeyOfARigFile(t *testing.T) {
	keys, _ := rows(t)
	assert.ElementsMatch(t, keysOf(reflect.TypeFor[contents](), ""), keys)
}

// A file that says all the defaults of the page means the same as one that leaves them out.
func TestTheDefaultsOnThePageAreThoseOfTheReader(t *testing.T) {
	keys, defaults := rows(t)
	needed := `kind = "firmware"
station.file = "my.station.toml"
firmware.image = "station.elf"
firmware.mcu = "atmega328p"
firmware.clock = "16MHz"
firmware.output = [{ track = "main", direction = "PB1" }]
`
	said, written := needed, 0
	for _, key := range keys {
		if value, ok := strings.CutPrefix(defaults[key], "`"); ok {
			said += key + " = " + strings.TrimSuffix(value, "`") + "\n"
			written++
		}
		if defaults[key] == "needed" && !strings.HasPrefix(key, "firmware.output") {
			_, err := Parse("my.rig.toml", []byte(strings.Replace(needed, key+" ", "# "+key+" ", 1)))
			assert.Error(t, err, "%s is left out", key)
		}
	}
	assert.Greater(t, written, 15)
	short, err := Parse("my.rig.toml", []byte(needed))
	require.NoError(t, err)
	long, err := Parse("my.rig.toml", []byte(said))
	require.NoError(t, err)
	short.document, long.document = nil, nil
	assert.Equal(t, long, short)
}
