package plan

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// Whatever the bytes, Read returns a plan that keeps its promises or a Errors whose places
// lie in the file. It never panics.
func FuzzRead(f *testing.F) {
	f.Add([]byte(goodPlan))
	f.Add([]byte(voxelPlan))
	f.Add([]byte(smallPlan))
	f.Add([]byte(levelPlan))
	f.Add([]byte(`{"format": 1, "case": "a", "jaw": "maxilla", "arch": {"file": "arch.csv"}, "sites": [{"tooth": 11, "arc_mm": 0}]}`))
	f.Add([]byte("format: 1\ncase: |\n  a\n- - - -\n? !!binary &a *a <<: {[}\n%YAML 1.2\n---\n...\n"))
	for _, c := range planFaults {
		f.Add([]byte(strings.Replace(goodPlan, c.old, c.new, 1)))
	}
	dir := fstest.MapFS{"arch.csv": {Data: []byte("x,y,z\n-25,20,0\n-20,0,0\n20,0,0\n25,20,0\n")}}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, source, err := Read("plan.yaml", data, dir)
		if err != nil {
			checkFaults(t, err, bytes.Count(data, []byte("\n"))+bytes.Count(data, []byte("\r"))+1)
			return
		}
		before := p.Clone()
		placed, err := p.Place(testGrid, source)
		switch {
		case err == nil:
			checkPromises(t, placed)
		case !errors.Is(err, reformat.ErrCurve):
			checkFaults(t, err, math.MaxInt)
		}
		if !reflect.DeepEqual(before, p) {
			t.Fatalf("Place changed the plan: %+v, was %+v", p, before)
		}
	})
}

func checkFaults(t *testing.T, err error, lines int) {
	t.Helper()
	var all Errors
	if !errors.As(err, &all) || len(all) == 0 {
		t.Fatalf("error of type %T: %v", err, err)
	}
	for _, e := range all {
		if e.Line < 0 || e.Column < 0 || e.File == "plan.yaml" && e.Line > lines || e.What == "" || e.Remedy == "" {
			t.Fatalf("fault without a place or a remedy: %+v", e)
		}
		if s := e.Error(); strings.ContainsAny(s, "\n\r\x00\x1b") || !utf8.ValidString(s) {
			t.Fatalf("message is not one line of text: %q", s)
		}
	}
}

// checkPromises holds a plan against what its doc comments say.
func checkPromises(t *testing.T, p *Placed) {
	t.Helper()
	unit := func(v r3.Vec) bool { return math.Abs(r3.Norm(v)-1) < 1e-9 }
	if !unit(p.Occlusal) || len(p.Arch) < minArch || len(p.Sites) == 0 || badFileName(p.Case) != "" {
		t.Fatalf("half a plan: %+v", p)
	}
	for _, s := range p.Sites {
		if (s.At == nil) == (s.ArcMM == nil) || badID(s.ID) != "" || len(s.Depths) == 0 || !slices.IsSorted(s.Depths) {
			t.Fatalf("half a site: %+v", s)
		}
		if s.Axis == AxisGiven && !unit(s.AxisVec) {
			t.Fatalf("axis is no unit vector: %+v", s)
		}
	}
	for _, s := range p.Structures {
		if len(s.Path) != len(s.Radii) || (len(s.Path) == 0) == (s.Surface == nil) || !(s.SD >= 0) {
			t.Fatalf("half a structure: %+v", s)
		}
	}
}

// Bombs: files that would take a careless parser minutes, gigabytes or its stack.
func TestHostilePlansAreRefusedFast(t *testing.T) {
	for name, text := range map[string]string{
		"brackets":    strings.Repeat("[", 100_000),
		"braces":      "a: " + strings.Repeat("{a: ", 100_000),
		"dashes":      strings.Repeat("- ", 100_000),
		"questions":   strings.Repeat("? ", 100_000),
		"tags":        "a: " + strings.Repeat("!a ", 100_000),
		"anchors":     "a: " + strings.Repeat("&a ", 100_000),
		"quotes":      strings.Repeat(`"`, 100_000),
		"many keys":   strings.Repeat("ab: 1\n", 20_000),
		"many in one": "{" + strings.Repeat("a: 1, ", 20_000) + "}",
		"commas":      "[" + strings.Repeat(", ", 100_000),
		"colons":      strings.Repeat(": ", 100_000),
		"deep":        "a:\n b:\n" + strings.Repeat(" ", 40) + strings.Join(strings.Fields(strings.Repeat("c ", 100)), ":\n"+strings.Repeat(" ", 41)),
		"too many":    "[" + strings.Repeat("1, ", maxTokens/2) + "]",
		"too large":   strings.Repeat("#", maxPlanBytes+1),
		"no text":     strings.Repeat("\x00", 1000),
	} {
		_, _, err := Read("plan.yaml", []byte(text), nil)
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		checkFaults(t, err, 700000)
	}
}
