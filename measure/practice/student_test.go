package practice

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// student is how a simulated reader errs.
type student struct {
	bias, sd float64 // of edges, mm
	turn     float64 // of lines, deg, whichever way
	blunders int     // of 3 mm and more
}

// reads lays a line on every item and reads along it, to 0.1 mm.
func (s student) reads(k *Key, r *rand.Rand) []Reading {
	out := make([]Reading, 0, len(k.Items))
	var lengths []int
	for i := range k.Items {
		it := &k.Items[i]
		q := it.Sheet.Question
		line := it.trueLine()
		// 2° is how well a line is laid
		angle := (2*r.NormFloat64() + s.turn*math.Copysign(1, r.NormFloat64())) * math.Pi / 180
		a, b := about(line[0], line[1], angle)
		if q.Quantity != "ridge_height" && q.Quantity != "ridge_tilt" { // widths turn about their middle
			a, b = turned(line, angle, 0)
		}
		truth, err := it.Profile.along(q, a, b)
		reading := Reading{Item: it.Sheet.Item, Question: q, Certainty: 1 + r.IntN(3)}
		if err != nil {
			truth = it.Truth
		} else {
			reading.Line = &Line{A: r3.Vec{X: tenth(a.U), Y: tenth(a.V)}, B: r3.Vec{X: tenth(b.U), Y: tenth(b.V)}, OnSheet: true}
		}
		value := truth
		if q.Unit() == "mm" {
			value += s.bias + s.sd*r.NormFloat64()
			lengths = append(lengths, i)
		}
		value = tenth(value)
		reading.Value = &value
		out = append(out, reading)
	}
	for n, i := range r.Perm(len(lengths)) {
		if n < s.blunders {
			*out[lengths[i]].Value += tenth(math.Copysign(3+r.Float64(), r.NormFloat64()))
		}
	}
	return out
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

// about turns b about a by angle (radians).
func about(a, b UV, angle float64) (UV, UV) {
	c, s := math.Cos(angle), math.Sin(angle)
	du, dv := b.U-a.U, b.V-a.V
	return a, UV{U: a.U + c*du - s*dv, V: a.V + s*du + c*dv}
}

// 200 students of five sorts, 40 readings each: a bias of 0.5 mm, an SD of 0.6 mm against 0.2, lines turned by 10°,
// two blunders of 3 mm, and nothing. 95 % must be told for what they are and for nothing else.
func TestStudentsAreToldApart(t *testing.T) {
	wrong, missed := toldWrongly(t, smallSet(t), rand.New(rand.NewPCG(7, 8)))
	t.Logf("%d of %d told wrongly: %v", wrong, students, missed)
	if wrong > students/20 {
		t.Errorf("%d of %d students told wrongly, at most %d may be: %v", wrong, students, students/20, missed)
	}
}

// The same in each of ten sets, so that no luck of one set is taken for the rule.
func TestStudentsAreToldApartInManySets(t *testing.T) {
	if os.Getenv("RIDGERULE_LONG") == "" {
		t.Skip("a minute of drawing; set RIDGERULE_LONG=1 to run it")
	}
	all := 0
	for seed := uint64(100); seed < 110; seed++ {
		set := draw(t, Options{Items: 40, Seed: seed, Repeats: 0.25})
		wrong, missed := toldWrongly(t, set, rand.New(rand.NewPCG(seed, 9)))
		t.Logf("set %d: %d of %d told wrongly: %v", seed, wrong, students, missed)
		if all += wrong; wrong > students/20 {
			t.Errorf("set %d: %d of %d students told wrongly: %v", seed, wrong, students, missed)
		}
	}
	t.Logf("%d of %d told wrongly in all", all, 10*students)
}

const students = 200

// toldWrongly counts the students of a set who are told for something that they are not, by what they are and are told for.
func toldWrongly(t *testing.T, set *Set, r *rand.Rand) (wrong int, missed map[string]int) {
	t.Helper()
	sorts := []struct {
		kind string
		student
	}{
		{"bias", student{bias: 0.5, sd: 0.2}}, {"bias", student{bias: -0.5, sd: 0.2}}, {"scatter", student{sd: 0.6}},
		{"line", student{sd: 0.2, turn: 10}}, {"blunders", student{sd: 0.2, blunders: 2}}, {"", student{sd: 0.2}},
	}
	missed = map[string]int{}
	for n := range students {
		sort := sorts[n%len(sorts)]
		m, err := MarkReadings([]*Key{set.Key}, [][]Reading{sort.reads(set.Key, r)}, fmt.Sprint(n), Usual())
		if err != nil {
			t.Fatal(err)
		}
		s, err := Summarise(m)
		if err != nil {
			t.Fatal(err)
		}
		told := ""
		for _, f := range s.Kinds {
			told += f.Kind
		}
		if told != sort.kind {
			wrong++
			missed[sort.kind+" told as "+told]++
		}
	}
	return wrong, missed
}

// The chance that a reader without or with a bias stays within T. Source: closed form, Φ((T−b)/s) − Φ((−T−b)/s), to
// two decimals. 20 000 draws leave 4·√(p(1−p)/20000) ≤ 0.014, and the table is rounded by 0.005.
func TestToleranceTableBySimulation(t *testing.T) {
	const draws = 20000
	tolerances := []float64{0.3, 0.5, 0.7, 1.0}
	r := rand.New(rand.NewPCG(3, 4))
	for _, row := range []struct {
		sd, bias float64
		want     [4]float64
	}{
		{0.15, 0, [4]float64{0.95, 1, 1, 1}}, {0.25, 0, [4]float64{0.77, 0.95, 1, 1}}, {0.35, 0, [4]float64{0.61, 0.85, 0.95, 1}},
		{0.50, 0, [4]float64{0.45, 0.68, 0.84, 0.95}}, {0.25, 0.3, [4]float64{0.49, 0.79, 0.95, 1}}, {0.35, 0.3, [4]float64{0.46, 0.71, 0.87, 0.98}},
	} {
		for i, T := range tolerances {
			rules := Usual()
			rules.Least, rules.Reader, rules.Guard = T, 0, 0
			within := 0
			for range draws {
				if rules.verdict("mm", row.bias+row.sd*r.NormFloat64(), rules.tolerance("mm", 0)) == Within {
					within++
				}
			}
			got := float64(within) / draws
			if math.Abs(got-row.want[i]) > 0.005+4*math.Sqrt(row.want[i]*(1-row.want[i])/draws)+1e-9 {
				t.Errorf("SD %g, bias %g within %g mm: %.3f, want %.2f", row.sd, row.bias, T, got, row.want[i])
			}
		}
	}
}

// The verdict has a guard band on both sides of T, and a blunder is beyond 3 T and 2 mm.
func TestVerdictHasAGuardBand(t *testing.T) {
	r := Usual()
	for _, c := range []struct {
		unit string
		e, T float64
		want Verdict
	}{
		{"mm", 0.44, 0.5, Within}, {"mm", -0.44, 0.5, Within}, {"mm", 0.45, 0.5, CannotTell}, {"mm", -0.55, 0.5, CannotTell},
		{"mm", 0.57, 0.5, Outside}, {"mm", 2.0, 0.5, Outside}, {"mm", -2.01, 0.5, Blundered}, {"mm", 2.3, 0.8, Outside}, {"mm", 2.5, 0.8, Blundered},
		{"deg", 2.4, 3, Within}, {"deg", 3.5, 3, CannotTell}, {"deg", -9, 3, Outside}, {"deg", 10.1, 3, Blundered},
	} {
		if got := r.verdict(c.unit, c.e, c.T); got != c.want {
			t.Errorf("verdict(%s, %g, T %g) = %q, want %q", c.unit, c.e, c.T, got, c.want)
		}
	}
}

// A line of another section, given in patient coordinates, is marked in that section; one on the sheet given in
// patient coordinates is the same as given on the rulers.
func TestALineOfThePatientIsTheSheets(t *testing.T) {
	k := smallSet(t).Key
	for i := range k.Items {
		it := &k.Items[i]
		q := it.Sheet.Question
		if q.Quantity == "lingual_undercut" {
			continue
		}
		line, v := it.trueLine(), it.Truth
		f := it.Sheet.Frame
		flat := Reading{Item: it.Sheet.Item, Question: q, Value: &v, Line: &Line{A: r3.Vec{X: line[0].U, Y: line[0].V}, B: r3.Vec{X: line[1].U, Y: line[1].V}, OnSheet: true}}
		solid := flat
		solid.Line = &Line{A: f.Patient(line[0]), B: f.Patient(line[1])}
		m, err := MarkReadings([]*Key{k}, [][]Reading{{flat}, {solid}}, "r", Usual())
		if err != nil {
			t.Fatal(err)
		}
		one, other := m.List[0], m.List[1]
		if one.Frame == nil || other.Frame == nil || math.Abs(*one.Frame-*other.Frame) > 1e-9 {
			t.Fatalf("%s %v: frame errors %v and %v", it.Kind, q, one.Frame, other.Frame)
		}
		// the true line has the true length, but for the profile's 0.002 mm
		if math.Abs(*one.Frame) > 0.005 || math.Abs(*one.Lean) > 0.05 {
			t.Errorf("%s %v: the true line is off by %.4f mm, leans %.3f°", it.Kind, q, *one.Frame, *one.Lean)
		}
	}
}

// Who gives the true line and no value is answered by the line; an undercut is of no one line, and stays open.
func TestALineAloneIsAnAnswer(t *testing.T) {
	k := smallSet(t).Key
	for i := range k.Items {
		it := &k.Items[i]
		line := it.trueLine()
		r := Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Line: &Line{A: r3.Vec{X: line[0].U, Y: line[0].V}, B: r3.Vec{X: line[1].U, Y: line[1].V}, OnSheet: true}}
		m, err := MarkReadings([]*Key{k}, [][]Reading{{r}}, "r", Usual())
		if err != nil {
			t.Fatal(err)
		}
		got := m.List[0]
		if it.Sheet.Question.Quantity == "lingual_undercut" {
			if got.Value != nil || got.Note != "not answered" {
				t.Errorf("an undercut answered by a line: %v", got.Value)
			}
			continue
		}
		if got.Value == nil || math.Abs(got.Error) > 0.005 { // the profile's own 0.002 mm
			t.Errorf("%s %v: %v, error %.4f", it.Kind, it.Sheet.Question, got.Value, got.Error)
		}
	}
}

// A section 4 mm further along the arch has another height; the reader who measured that one perfectly has no edge
// error. The phantom is the only one who knows that height.
func TestAnotherSectionIsAFrameError(t *testing.T) {
	k := smallSet(t).Key
	seen := 0
	for i := range k.Items {
		it := &k.Items[i]
		if it.Sheet.Question.Quantity != "ridge_height" || seen == 3 {
			continue
		}
		jaw, sec, err := it.place()
		if err != nil {
			t.Fatal(err)
		}
		there, _ := jaw.SectionAt(r3.Add(sec.Origin, r3.Scale(4, it.Sheet.Frame.T)))
		axis := r3.Scale(-1, there.Up)
		truth, err := jaw.TruthIn(there, there.Origin, &axis)
		if err != nil {
			t.Fatal(err)
		}
		v := 0.0
		for _, h := range truth.Heights {
			if h.To == it.Sheet.Question.To {
				v = h.Height
			}
		}
		if v == 0 {
			continue
		}
		seen++
		a := truth.Crest
		m, err := MarkReadings([]*Key{k}, [][]Reading{{{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: &v, Line: &Line{A: a, B: r3.Add(a, r3.Scale(v, axis))}}}}, "r", Usual())
		if err != nil {
			t.Fatal(err)
		}
		if got := m.List[0]; got.Edge == nil || math.Abs(*got.Edge) > 0.2 || math.Abs(*got.Frame-(v-it.Truth)) > 0.2 {
			t.Errorf("%s: error %.3f, frame %v, edge %v: %s", it.Kind, got.Error, got.Frame, got.Edge, got.Note)
		}
	}
	if seen == 0 {
		t.Error("no height was looked at")
	}
}

// The whole way of a class but for its files: 100 forms are read, marked and summarised, their table is written and read, and
// the class is put together. At most 5 s are allowed.
func BenchmarkMark100Readers200Items(b *testing.B) {
	set, err := Draw(Options{Items: 200, Seed: 3, Salt: []byte("sixteen bytes..."), Repeats: 0.25})
	if err != nil {
		b.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 1))
	forms := make([][]byte, 100)
	for i := range forms {
		var form bytes.Buffer
		if err := WriteReadings(&form, student{sd: 0.25}.reads(set.Key, r)); err != nil {
			b.Fatal(err)
		}
		forms[i] = form.Bytes()
	}
	for b.Loop() {
		var all []*Marks
		for i, form := range forms {
			list, err := ReadReadings(bytes.NewReader(form))
			if err != nil {
				b.Fatal(err)
			}
			m, err := MarkReadings([]*Key{set.Key}, [][]Reading{list}, fmt.Sprint(i), Usual())
			if err != nil {
				b.Fatal(err)
			}
			if _, err := Summarise(m); err != nil {
				b.Fatal(err)
			}
			all = append(all, m)
		}
		var table bytes.Buffer
		if err := WriteMarks(&table, all); err != nil {
			b.Fatal(err)
		}
		again, err := ReadMarks(&table, Usual())
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Classify(again, Usual(), ClassOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// The same of readers who all measured in sections of their own, 4 mm further along the arch: truth is found there on the
// jaw's own shape, which is made once for all of them.
func BenchmarkMark10ReadersInSectionsOfTheirOwn(b *testing.B) {
	set, err := Draw(Options{Items: 20, Seed: 3, Salt: []byte("sixteen bytes...")})
	if err != nil {
		b.Fatal(err)
	}
	list := student{}.reads(set.Key, rand.New(rand.NewPCG(1, 1)))
	for i := range list {
		if l := list[i].Line; l != nil {
			f := set.Sheets[i].Frame.Along(4)
			list[i].Line = &Line{A: f.Patient(UV{U: l.A.X, V: l.A.Y}), B: f.Patient(UV{U: l.B.X, V: l.B.Y})}
		}
	}
	for b.Loop() {
		for range 10 {
			if _, err := MarkReadings([]*Key{set.Key}, [][]Reading{list}, "r", Usual()); err != nil {
				b.Fatal(err)
			}
		}
	}
}
