package practice

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"ridgerule/measure/quantity"
)

func marksOf(t *testing.T, k *Key, code string, s student, sittings int, seed uint64) *Marks {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 5))
	var all [][]Reading
	for range sittings {
		all = append(all, s.reads(k, r))
	}
	m, err := MarkReadings([]*Key{k}, all, code, Usual())
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// marks.csv is read as it was written, to its four decimals; only the drawn line is not in it.
func TestMarksAreReadAsWritten(t *testing.T) {
	m := marksOf(t, smallSet(t).Key, "r01", student{bias: 0.4, sd: 0.3, blunders: 2}, 1, 1)
	m.List = append(m.List, Mark{Reader: "r01", Sitting: 2, Item: m.List[0].Item, Site: m.List[0].Site, Question: m.List[0].Question,
		Unit: m.List[0].Unit, Truth: 1, Tolerance: 0.5, Note: "not answered", Kind: m.List[0].Kind, Level: Easy})
	var b bytes.Buffer
	if err := m.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	again, err := ReadMarks(bytes.NewReader(b.Bytes()), Usual())
	if err != nil {
		t.Fatal(err)
	}
	round := func(x *float64) *float64 {
		if x == nil {
			return nil
		}
		y := math.Round(*x*1e4) / 1e4
		return &y
	}
	for i := range m.List {
		want, got := m.List[i], again[0].List[i]
		want.Line, want.Question.To = nil, ""
		want.Frame, want.Edge, want.Lean, want.Value = round(want.Frame), round(want.Edge), round(want.Lean), round(want.Value)
		want.Error, want.Truth, want.Tolerance = *round(&want.Error), *round(&want.Truth), *round(&want.Tolerance)
		if fmt.Sprintf("%+v", deref(want)) != fmt.Sprintf("%+v", deref(got)) {
			t.Fatalf("mark %d: wrote %+v, read %+v", i, deref(want), deref(got))
		}
	}
	for _, text := range []string{"", "a,b\n", strings.Replace(b.String(), "within", "fine", 1), strings.Replace(b.String(), "r01,", ",", 1)} {
		if _, err := ReadMarks(strings.NewReader(text), Usual()); !errors.Is(err, ErrOptions) {
			t.Errorf("read %.40q: %v", text, err)
		}
	}
}

// deref puts numbers in the place of pointers, so that two marks can be compared as text.
func deref(k Mark) map[string]any {
	out := map[string]any{}
	v := reflect.ValueOf(k)
	for i := range v.NumField() {
		f := v.Field(i)
		if f.Kind() == reflect.Pointer && !f.IsNil() {
			f = f.Elem()
		}
		text := fmt.Sprint(f.Interface())
		if text == "-0" {
			text = "0"
		}
		out[v.Type().Field(i).Name] = text
	}
	return out
}

// A reader of bias 0 and SD 0.2 meets the criterion, one of bias 0.5 or SD 0.6 does not, ten readings are too few.
func TestCriterionOfACalibration(t *testing.T) {
	k := smallSet(t).Key
	few := &Key{Items: k.Items[:10]}
	for _, c := range []struct {
		key *Key
		student
		want Criterion
	}{{k, student{sd: 0.2}, MeetsCriterion}, {k, student{bias: 0.5, sd: 0.2}, FailsCriterion}, {k, student{sd: 0.6}, FailsCriterion}, {few, student{sd: 0.2}, TooFew}} {
		s, err := Summarise(marksOf(t, c.key, "r", c.student, 1, 3))
		if err != nil {
			t.Fatal(err)
		}
		if s.Criterion != c.want {
			t.Errorf("%+v: %s, want %s", c.student, s.Criterion, c.want)
		}
	}
}

// Below 15 repeats no repeatability is told, from 15 on it is; below 20 readings there is no curve.
func TestTooFewToTell(t *testing.T) {
	k := smallSet(t).Key
	one, err := Summarise(marksOf(t, &Key{Items: k.Items[:16]}, "r", student{sd: 0.2}, 1, 3))
	if err != nil {
		t.Fatal(err)
	}
	two, err := Summarise(marksOf(t, k, "r", student{sd: 0.2}, 2, 3))
	if err != nil {
		t.Fatal(err)
	}
	if one.Lengths.Dahlberg != nil || one.Curve != nil {
		t.Errorf("told of %d repeats and %d readings", len(one.Lengths.Repeats), one.Lengths.Readings)
	}
	if d := two.Lengths.Dahlberg; d == nil || math.Abs(float64(d.Dahlberg.Value)-0.2) > 0.06 || len(two.Curve) == 0 {
		t.Errorf("two sittings of SD 0.2: Dahlberg %v, %d points of a curve", d, len(two.Curve))
	}
}

func TestAClassIsByCodeUnlessRanked(t *testing.T) {
	k := smallSet(t).Key
	all := []*Marks{marksOf(t, k, "r02", student{sd: 0.2}, 1, 1), marksOf(t, k, "r01", student{bias: 0.9, sd: 0.2}, 1, 2), marksOf(t, k, "r03", student{sd: 0.3}, 1, 3)}
	c, err := Classify(all, Usual(), ClassOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if c.Readers[0].Reader != "r01" || c.Readers[2].Reader != "r03" {
		t.Errorf("not by code: %s first", c.Readers[0].Reader)
	}
	ranked, err := Classify(all, Usual(), ClassOptions{Rank: true})
	if err != nil {
		t.Fatal(err)
	}
	if ranked.Readers[2].Reader != "r01" {
		t.Errorf("ranked: %s last", ranked.Readers[2].Reader)
	}
	n := 0
	for _, s := range c.Sites {
		n += s.Within.Of
	}
	if n != 3*len(k.Items) {
		t.Errorf("%d readings of sites, want %d", n, 3*len(k.Items))
	}
	// the bias of r01 against r02 is the difference of their biases against the truth
	ref, err := Classify(all[:2], Usual(), ClassOptions{Reference: "r02"})
	if err != nil {
		t.Fatal(err)
	}
	if len(ref.Readers) != 1 || math.Abs(float64(ref.Readers[0].Lengths.Pair.Bias.Value)-0.9) > 0.2 {
		t.Errorf("against r02: %d readers, bias %v", len(ref.Readers), ref.Readers[0].Lengths.Pair.Bias.Value)
	}
	for _, o := range []ClassOptions{{Reference: "nobody"}} {
		if _, err := Classify(all, Usual(), o); !errors.Is(err, ErrOptions) {
			t.Errorf("Classify(%+v) = %v", o, err)
		}
	}
	if _, err := Classify(nil, Usual(), ClassOptions{}); !errors.Is(err, ErrOptions) {
		t.Errorf("a class of nobody: %v", err)
	}
}

// What is told of a reading: its unsafe side first, then the cause; a trap is named when its answer was given.
func TestCausesAreNamed(t *testing.T) {
	k := smallSet(t).Key
	for i := range k.Items {
		it := &k.Items[i]
		for _, trap := range it.Traps {
			v := trap.Value
			m, err := MarkReadings([]*Key{k}, [][]Reading{{{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: &v}}}, "r", Usual())
			if err != nil {
				t.Fatal(err)
			}
			got := m.List[0]
			same := func(words string) bool { return strings.Contains(got.Note, words) }
			near := false // another trap within 0.05 mm may be named as well
			for _, other := range it.Traps {
				near = near || same(other.Words) && math.Abs(other.Value-v) < 0.05
			}
			if got.Verdict != Within && got.Verdict != CannotTell && !near {
				t.Errorf("%s: %.2f for %.2f (%s) is told as %q", it.Kind, v, it.Truth, trap.Words, got.Note)
			}
		}
	}
}

func TestAReadingThatIsNoItemsIsRefused(t *testing.T) {
	k := smallSet(t).Key
	v := 3.0
	for _, c := range []struct {
		r    Reading
		want string
	}{
		{Reading{Item: "nobody", Question: width(3), Value: &v, Row: 4}, `row 4: item "nobody" is in no key`},
		{Reading{Item: k.Items[0].Sheet.Item, Question: width(9), Value: &v, Row: 5}, "row 5: item " + k.Items[0].Sheet.Item + " was asked for"},
	} {
		_, err := MarkReadings([]*Key{k}, [][]Reading{{c.r}}, "r", Usual())
		if !errors.Is(err, ErrOptions) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	bad := Usual()
	bad.Least = 0.05
	if _, err := MarkReadings([]*Key{k}, nil, "r", bad); !errors.Is(err, ErrOptions) {
		t.Errorf("a tolerance inside its own guard band: %v", err)
	}
}

// The safety rule of practice: bone that is read and is not there is unsafe, and so is an undercut or a loop that is there and
// is not read; an angle has no such side. What is within T, or nobody can tell, is not called unsafe.
func TestTheUnsafeSideIsCalledByName(t *testing.T) {
	k := smallSet(t).Key
	over := map[quantity.Name]bool{quantity.RidgeHeight: true, quantity.RidgeWidth: true, quantity.BuccalPlate: true, quantity.LingualPlate: true, quantity.Clearance: true}
	under := map[quantity.Name]bool{quantity.LingualUndercut: true, AnteriorLoop: true}
	seen := map[quantity.Name]bool{}
	for _, it := range append(k.Items, undercut(t)) {
		q := it.Sheet.Question
		seen[q.Quantity] = true
		key := &Key{Items: []Sealed{it}}
		for _, e := range []float64{-12, -1, -0.45, -0.3, 0.3, 0.45, 1, 12} {
			v := it.Truth + e
			m, err := MarkReadings([]*Key{key}, [][]Reading{{{Item: it.Sheet.Item, Question: q, Value: &v}}}, "r", Usual())
			if err != nil {
				t.Fatal(err)
			}
			got := m.List[0]
			want := math.Abs(e) >= 1 && (e > 0 && over[q.Quantity] || e < 0 && under[q.Quantity])
			if got.Unsafe != want || want != strings.HasPrefix(got.Note, "unsafe side: ") {
				t.Errorf("%s read %+g off: unsafe %v, %q", q.Quantity, e, got.Unsafe, got.Note)
			}
		}
	}
	for _, q := range []quantity.Name{"ridge_height", "ridge_width", "buccal_plate", "lingual_undercut", "ridge_tilt", "clearance", "anterior_loop"} {
		if !seen[q] {
			t.Errorf("no item asks for %s", q)
		}
	}
}
