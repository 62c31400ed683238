package report

import (
	"bytes"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
)

// Every exported field of a result survives result.json, whatever is added to the types later: a
// field that is forgotten comes back empty and fails here.
func TestNoFieldOfAResultIsForgotten(t *testing.T) {
	want := &measure.Result{}
	n := 0.0
	fill(t, reflect.ValueOf(want).Elem(), "", &n)
	want.Plan.Review = nil // it has the result's own digest, and stays with the plan
	var out bytes.Buffer
	require.NoError(t, WriteJSON(&out, want, Provenance{Tool: "test"}))
	got, _, err := ReadJSON(&out)
	require.NoError(t, err)
	require.Equal(t, want, got)
	require.Greater(t, n, 100.0)
}

// fill gives every exported field under v a value of its own; words that the schema restricts get
// an allowed one.
func fill(t *testing.T, v reflect.Value, name string, n *float64) {
	*n++
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				fill(t, v.Field(i), f.Name, n)
			}
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem(), name, n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range 2 {
			fill(t, v.Index(i), name, n)
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(t, v.Index(i), name, n)
		}
	case reflect.String:
		v.SetString(wordFor(v.Type(), name))
	case reflect.Float64:
		v.SetFloat(*n + 1.0/3)
	case reflect.Int:
		v.SetInt(int64(*n))
	case reflect.Bool:
		v.SetBool(true)
	default:
		t.Fatalf("field %s: a %s cannot be filled yet", name, v.Kind())
	}
}

func wordFor(kind reflect.Type, name string) string {
	switch {
	case kind == reflect.TypeFor[measure.Jaw]():
		return "maxilla"
	case kind == reflect.TypeFor[measure.Verdict]():
		return "not held"
	case kind == reflect.TypeFor[measure.Severity]():
		return "at best uncertain"
	case kind == reflect.TypeFor[measure.Side]():
		return "left"
	case kind == reflect.TypeFor[measure.Limit]():
		return "border"
	case name == "Unit":
		return "deg"
	}
	return "word of " + name
}
