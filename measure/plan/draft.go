package plan

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"reflect"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// Plans on their way: read before they are whole, and held against what they were.

// ReadDraft reads a plan that is still being made: what can be read of it, where it stands, and every fault that [Read]
// would name, of which what is missing is one. The plan is nil where nothing of the text can be read.
func ReadDraft(name string, data []byte, dir fs.FS) (p *Plan, source *Source, missing Errors) {
	r := &reader{file: filepath.Base(name), source: &Source{filepath.Base(name), map[string]Position{}}}
	p = r.read(data, dir)
	errors.As(r.err(), &missing)
	return p, r.source, missing
}

// Lay settles the direction and lays the arch curve of a plan in patient coordinates, whatever else it lacks, for those
// who draw it: nothing is checked, and no scan takes what comes back for a plan of its own. Without an arch the error wraps
// [reformat.ErrCurve], and what there is of the plan comes with it.
func (p *Plan) Lay() (*Placed, error) {
	f := &faults{}
	out := p.settle(f, nil)
	if len(p.Arch) < minArch || out.Occlusal == (r3.Vec{}) {
		return out, fmt.Errorf("%w: %d points; at least %d are needed", reformat.ErrCurve, len(p.Arch), minArch)
	}
	if err := f.err(); err != nil {
		return out, err
	}
	return out, out.lay()
}

// Tooth returns the tooth that usually stands at arc length s (mm) of this jaw's arch; ok is false where the midline is
// not known, or no tooth stands there. It is a proposal.
func (l Landmarks) Tooth(jaw Jaw, s float64) (t Tooth, ok bool) {
	off := l.FromMidline(s)
	best := farthestTooth
	for number := 1; number <= 8; number++ {
		if away := math.Abs(math.Abs(off) - toothPlaces[jaw][number].usual); away < best {
			best, t.Number = away, number
		}
	}
	right, upper := off < 0, jaw == Maxilla
	switch {
	case upper && right:
		t.Quadrant = 1
	case upper:
		t.Quadrant = 2
	case right:
		t.Quadrant = 4
	default:
		t.Quadrant = 3
	}
	return t, best < farthestTooth
}

// farthestTooth is how far from its usual place a tooth is still proposed, mm: a molar's width. Our choice.
const farthestTooth = 11.0

// Differences returns the paths of the values in which two texts of a plan differ: of whole lists where elements were
// added or taken out. A text that is not readable is an [Errors].
func Differences(a, b []byte) ([]string, error) {
	before, err := openText(a)
	if err != nil {
		return nil, err
	}
	after, err := openText(b)
	if err != nil {
		return nil, err
	}
	return differences(treeOf(before.root), treeOf(after.root), "", nil), nil
}

func differences(a, b any, path string, all []string) []string {
	if m, ok := a.(Map); ok {
		if n, ok := b.(Map); ok {
			return mapDifferences(m, n, path, all)
		}
	}
	l, isList := a.(List)
	k, areLists := b.(List)
	switch {
	case isList && areLists && len(l) == len(k):
		for i := range l {
			all = differences(l[i], k[i], fmt.Sprintf("%s[%d]", path, i), all)
		}
	case !reflect.DeepEqual(a, b):
		all = append(all, path)
	}
	return all
}

func mapDifferences(a, b Map, path string, all []string) []string {
	var keys []string
	for _, e := range slices.Concat(a, b) {
		if !slices.Contains(keys, e.Key) {
			keys = append(keys, e.Key)
		}
	}
	for _, key := range keys {
		inner := key
		if path != "" {
			inner = path + "." + key
		}
		all = differences(a.value(key), b.value(key), inner, all)
	}
	return all
}

// value returns the value of a key; nil for none.
func (m Map) value(key string) any {
	for _, e := range m {
		if e.Key == key {
			return e.Value
		}
	}
	return nil
}

// At returns the value at a path as it stands in a text, on one line; "" where there is none.
func At(text []byte, path string) string {
	d, err := openText(text)
	if err != nil {
		return ""
	}
	steps, err := parsePath(path)
	if err != nil {
		return ""
	}
	at, err := d.find(steps)
	if err != nil || at.node == nil {
		return ""
	}
	return string(d.text[d.start(at.node):d.end(at.node)])
}
