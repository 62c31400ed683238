package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func resultBytes(t *testing.T) []byte {
	t.Helper()
	var out bytes.Buffer
	c := sampleCase()
	require.NoError(t, WriteJSON(&out, c.Result, c.Provenance))
	return out.Bytes()
}

func TestResultFileComesBackExactly(t *testing.T) {
	first := resultBytes(t)
	r, p, err := ReadJSON(bytes.NewReader(first))
	require.NoError(t, err)
	require.Len(t, p.Content, 64)
	told := sampleCase().Provenance
	told.Content = p.Content // what the file says of itself
	require.Equal(t, told, p)
	var second bytes.Buffer
	require.NoError(t, WriteJSON(&second, r, p))
	require.Equal(t, string(first), second.String())

	// %#v spells every bit of a float64 and takes NaN as equal to itself, which Equal does not.
	want := sampleResult()
	require.Equal(t, fmt.Sprintf("%#v", want.Sites[3].Outline), fmt.Sprintf("%#v", r.Sites[3].Outline))
	require.Equal(t, want.Sites[3].Findings, r.Sites[3].Findings)
	require.Equal(t, want.Sites[2].Implant, r.Sites[2].Implant)
	require.Equal(t, want.Sites[3].SizesTried, r.Sites[3].SizesTried)
	require.Equal(t, want.Structures, r.Structures)
	require.Equal(t, want.Arch, r.Arch)
	require.Equal(t, want.Sites[3].Rows[:12], r.Sites[3].Rows[:12])
	require.Equal(t, want.Margins, r.Margins)
}

// Every property that is written is one the schema describes: no field ships undocumented.
func TestSchemaDescribesEveryProperty(t *testing.T) {
	var schema, doc map[string]any
	require.NoError(t, json.Unmarshal(Schema, &schema))
	require.NoError(t, json.Unmarshal(resultBytes(t), &doc))
	described(t, "", schema, schema["$defs"].(map[string]any), doc)
}

func described(t *testing.T, path string, schema, defs map[string]any, value any) {
	if ref, is := schema["$ref"].(string); is {
		schema = defs[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)
	}
	switch v := value.(type) {
	case map[string]any:
		properties, open := schema["properties"].(map[string]any)
		if !open && schema["additionalProperties"] != nil {
			return
		}
		for name, inner := range v {
			about, known := properties[name].(map[string]any)
			if !known {
				t.Errorf("%s.%s is written but not in the schema", path, name)
				continue
			}
			described(t, path+"."+name, about, defs, inner)
		}
	case []any:
		items, _ := schema["items"].(map[string]any)
		for _, inner := range v {
			described(t, path+"[]", items, defs, inner)
		}
	}
}

func TestBudgetsStandTermByTerm(t *testing.T) {
	text := string(resultBytes(t))
	require.Contains(t, text, `"name": "edge noise"`)
	require.Contains(t, text, `"expanded_uncertainty": `)
	require.Contains(t, text, `"sha256": "b1946ac9`)
}

func TestWhatIsNoResultIsRefused(t *testing.T) {
	for name, text := range map[string]string{
		"empty": "", "not JSON": "{", "other": `{"format": 2}`, "list": `[]`,
		"broken number": strings.Replace(string(resultBytes(t)), `"length_mm": 74.6`, `"length_mm": "74.6"`, 1),
		"broken date":   strings.Replace(string(resultBytes(t)), `2026-03-01T09:30:00Z`, `yesterday`, 1),
	} {
		_, _, err := ReadJSON(strings.NewReader(text))
		require.Truef(t, errors.Is(err, ErrResult), "%s: %v", name, err)
	}
}

// What reads, as it was written or changed since, is written and reads the same; what does not read fails with our error.
func FuzzReadJSON(f *testing.F) {
	var seed bytes.Buffer
	c := sampleCase()
	c.Result.Sites, c.Result.Arch.Curve = c.Result.Sites[:1], nil
	c.Result.Structures, c.Result.Arch.Rows = c.Result.Structures[1:], c.Result.Arch.Rows[:1]
	if err := WriteJSON(&seed, c.Result, c.Provenance); err != nil {
		f.Fatal(err)
	}
	f.Add(seed.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		r, p, err := ReadJSON(bytes.NewReader(data))
		if err != nil && !errors.Is(err, ErrChanged) {
			require.ErrorIs(t, err, ErrResult)
			return
		}
		var first, second bytes.Buffer
		require.NoError(t, WriteJSON(&first, r, p))
		again, p2, err := ReadJSON(&first)
		require.NoError(t, err)
		require.NoError(t, WriteJSON(&second, again, p2))
		require.NoError(t, WriteJSON(&first, r, p))
		require.Equal(t, first.String(), second.String())
	})
}
