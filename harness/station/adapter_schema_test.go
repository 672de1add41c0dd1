package station

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// adapterSchema is a part of the schema that those who write adapters have.
func adapterSchema(t testing.TB, part string) *jsonschema.Schema {
	t.Helper()
	data, err := os.ReadFile("../../rigs/adapters/schema.json")
	require.NoError(t, err)
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("urn:bufferstop:adapter:1", document))
	compiled, err := compiler.Compile("urn:bufferstop:adapter:1#/$defs/" + part)
	require.NoError(t, err)
	return compiled
}

func valid(schema *jsonschema.Schema, text string) bool {
	value, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	return err == nil && schema.Validate(value) == nil
}

// TestTheSchemaAllowsWhatIsUnderstood holds the published schema and the parser against each other. What a value has to
// be depends on the operation; the schema allows any of the five kinds.
func TestTheSchemaAllowsWhatIsUnderstood(t *testing.T) {
	schema := adapterSchema(t, "message")
	kinds := []answerKind{identity, powerState, amount, byteValue, truth}
	details := []string{"true", "false", "null", `""`, `"on"`, `"off"`, `"tripped"`, `"x"`, "0", "255", "7.0", "2.5", "-1", "1e7", "1e8", "[]", "{}",
		`{"maker":"m"}`, `{"text":""}`, `{"text":1}`, `{"code":"1","text":"x"}`, `{"code":1}`,
		`{"version":1,"name":"n","operations":["identify","read_cv"]}`, `{"version":1.0,"name":"n","operations":["stop"],"tells_restarts":true}`,
		`{"version":2,"name":"n","operations":["identify"]}`, `{"version":1,"name":"","operations":["identify"]}`,
		`{"version":1,"name":"n","operations":[]}`, `{"version":1,"name":"n","operations":["fly"]}`, `{"version":1,"name":"n"}`,
		`{"version":1,"name":"n","operations":["stop"],"tells_restarts":1}`}
	keys := []string{"note", "text", "event"}
	for _, o := range outcomes {
		keys = append(keys, string(o))
	}
	for _, o := range outcomes {
		fitting := 0
		for _, detail := range details {
			if _, wrong := parseAdapterMessage([]byte(`{"id":1,"` + string(o) + `":` + detail + `}`)); wrong == nil {
				fitting++
			}
		}
		require.Positive(t, fitting, "%s is never understood", o)
	}
	rapid.Check(t, func(t *rapid.T) {
		parts := []string{}
		if id := rapid.SampledFrom([]string{"", "1", "1", "1", "2.0", "9007199254740992", "9007199254740994", "0", "-1", "1.5", `"1"`, "true"}).Draw(t, "id"); id != "" {
			parts = append(parts, `"id":`+id)
		}
		for _, key := range rapid.SliceOfNDistinct(rapid.SampledFrom(keys), 0, 2, rapid.ID).Draw(t, "keys") {
			parts = append(parts, `"`+key+`":`+rapid.SampledFrom(details).Draw(t, key))
		}
		text := "{" + strings.Join(parts, ",") + "}"
		m, wrong := parseAdapterMessage([]byte(text))
		fits := wrong == nil
		if fits && m.outcome == outcomeValue {
			fits = false
			for _, kind := range kinds {
				_, want := adapterValue(kind, m.detail)
				fits = fits || want == ""
			}
		}
		require.Equal(t, valid(schema, text), fits, text)
		if fits {
			require.True(t, valid(schema, string(m.text)), "as it is shown: %s", m.text)
			again, wrong := parseAdapterMessage(m.text)
			require.Nil(t, wrong)
			require.Equal(t, m.text, again.text, "it is written in one way")
		}
	})
}

func TestWhatIsAskedOfAnAdapterFitsTheSchema(t *testing.T) {
	schema := adapterSchema(t, "question")
	f, err := ParseFile("a", []byte("name = \"a\"\n[adapter]\ncommand = [\"x\"]\n[claims]\ntracks = [\"main\"]\n"), nil)
	require.NoError(t, err)
	l := newAdapterLanguage(f.Adapter)
	texts := []string{l.manners().start[0].send, l.query().send}
	for _, o := range Operations() {
		values := map[valueName]string{}
		for _, name := range operations[o].values {
			values[name] = "1"
			if v, isWord := vocabularies[name]; isWord {
				values[name] = v.may[0]
			}
		}
		_, text, err := l.render(Command{operation: o, values: values})
		require.NoError(t, err)
		texts = append(texts, text)
	}
	require.Len(t, texts, len(questions()))
	for _, text := range texts {
		require.True(t, valid(schema, text), text)
		for _, key := range []string{`"id":`, `"within_ms":`, `"track":`, `"cv":`, `"versions":`} {
			if strings.Contains(text, key) {
				require.False(t, valid(schema, strings.Replace(text, key, `"other":`, 1)), "without %s: %s", key, text)
			}
		}
	}
}
