package practice

import (
	"crypto/sha256"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
)

// Mark is one reading held against its truth. Lengths mm, angles deg: Unit says which.
type Mark struct {
	Reader    string
	Sitting   int // from 1: which file of readings
	Item      string
	Question  Question
	Unit      string
	Value     *float64 // nil: not answered
	Truth     float64
	Error     float64  // value − truth, definition of section and axis included
	Frame     *float64 // of it, what the reader's own line accounts for; nil: the line is not known
	Edge      *float64 // the rest: where the edges were put on that line
	Lean      *float64 // angle of the reader's line against the one asked for, deg, on the sheet
	Tolerance float64
	Certainty int // 0: not said
	Verdict   Verdict
	Unsafe    bool // outside, on the side on which an implant would be planned into what is not there
	Kind      string
	Level     Level
	Ample     bool
	Site      string // the item, or the one that it repeats: what was really read
	Note      string // which side is unsafe; the probable cause; what there is to say of the line
	Why       string // what misleads at such a site; told where the reading was not within

	Line *[2]UV // the reader's own line on the sheet, mm; nil: not known, or not in this section
}

// Marks are all readings of one reader.
type Marks struct {
	Reader string
	Rules  Rules
	List   []Mark
}

// CodeOf returns a code for a reader who gave none: it follows from the readings alone.
func CodeOf(data []byte) string {
	sum := sha256.Sum256(data)
	return fmt.Sprintf("reader-%x", sum[:3])
}

// RowError is a reading that cannot be marked, and where it stands. It wraps [ErrOptions].
type RowError struct {
	Sitting int // whose list, from 1
	Row     int // of its file, from 1
	Reason  string
}

// Error says where the reading stands and what is wrong with it.
func (e *RowError) Error() string {
	return fmt.Sprintf("%v: readings %d, row %d: %s", ErrOptions, e.Sitting, e.Row, e.Reason)
}

// Unwrap returns [ErrOptions].
func (e *RowError) Unwrap() error { return ErrOptions }

// MarkReadings holds the readings of one reader, one list a sitting, against the keys in which their items stand.
// A reader's line given in patient coordinates more than 0.5 mm off the sheet's section is taken as another
// section: truth is then found in that one, on the jaw's own shape.
//
// Its error wraps [ErrOptions] and names the sitting, the row and the item that no key holds, or of which
// something else was asked.
func MarkReadings(keys []*Key, sittings [][]Reading, reader string, rules Rules) (*Marks, error) {
	if err := rules.Check(); err != nil {
		return nil, err
	}
	items := map[string]*Sealed{}
	m := marker{rules: rules, home: map[*Sealed]*Key{}}
	for _, k := range keys {
		for i := range k.Items {
			it := &k.Items[i]
			items[it.Sheet.Item], m.home[it] = it, k
		}
	}
	out := &Marks{Reader: reader, Rules: rules}
	for s, list := range sittings {
		for _, r := range list {
			it := items[r.Item]
			switch {
			case it == nil:
				return nil, &RowError{s + 1, r.Row, fmt.Sprintf("item %q is in no key given; name the key of its set with --key", r.Item)}
			case !it.Sheet.Question.same(r.Question):
				q := it.Sheet.Question
				return nil, &RowError{s + 1, r.Row, fmt.Sprintf("item %s was asked for %s, not %s; leave item, quantity and at_mm as they were", r.Item, q, r.Question)}
			}
			out.List = append(out.List, m.mark(it, r, reader, s+1))
		}
	}
	return out, nil
}

// marker marks readings.
type marker struct {
	rules Rules
	home  map[*Sealed]*Key // the key of each item
}

func (m marker) mark(it *Sealed, r Reading, reader string, sitting int) Mark {
	q := it.Sheet.Question
	k := Mark{Reader: reader, Sitting: sitting, Item: r.Item, Question: q, Unit: q.Unit(), Value: r.Value, Truth: it.Truth,
		Certainty: r.Certainty, Kind: it.Kind, Level: it.Level, Ample: it.Ample, Site: it.Sheet.Item,
		Tolerance: m.rules.tolerance(q.Unit(), it.U)}
	if it.Repeats != "" {
		k.Site = it.Repeats
	}
	if r.Value == nil {
		r.Value = lineValue(it.Sheet, r.Line)
	}
	if k.Value = r.Value; r.Value == nil {
		k.Note = "not answered"
		if r.Unreadable {
			k.Note = "said to be unreadable"
		}
		return k
	}
	k.Error = *r.Value - it.Truth
	k.Verdict = m.rules.verdict(k.Unit, k.Error, k.Tolerance)
	k.Unsafe = k.Error*measurands[q.Quantity].unsafe > 0 && (k.Verdict == Outside || k.Verdict == Blundered)
	said := ""
	if r.Line != nil {
		said = m.line(it, r, &k)
	}
	m.explain(it, &k, said)
	return k
}

// lineValue is the answer of a reader who gave a line and no value: its length in mm, or for a tilt its angle in deg; nil
// where no one line answers.
func lineValue(s Sheet, l *Line) *float64 {
	q := s.Question
	if l == nil || q.Quantity == quantity.LingualUndercut {
		return nil
	}
	v := r3.Norm(r3.Sub(l.B, l.A))
	if q.Quantity == quantity.RidgeTilt {
		d := UV{U: l.B.X - l.A.X, V: l.B.Y - l.A.Y}
		if !l.OnSheet {
			a, _ := s.Frame.Section(l.A)
			b, _ := s.Frame.Section(l.B)
			d = UV{U: b.U - a.U, V: b.V - a.V}
		}
		v = leanOf(down(d))
	}
	return &v
}

// offSection is how far an end of a line may stand off the sheet's section and still be drawn in it, mm.
const offSection = 0.5

// line splits the error by the reader's own line, and returns what there is to say of that line.
func (m marker) line(it *Sealed, r Reading, k *Mark) string {
	f := it.Sheet.Frame
	a, b := UV{U: r.Line.A.X, V: r.Line.A.Y}, UV{U: r.Line.B.X, V: r.Line.B.Y}
	length := math.Hypot(b.U-a.U, b.V-a.V)
	own := false
	if !r.Line.OnSheet {
		var offA, offB float64
		a, offA = f.Section(r.Line.A)
		b, offB = f.Section(r.Line.B)
		length, own = r3.Norm(r3.Sub(r.Line.B, r.Line.A)), max(math.Abs(offA), math.Abs(offB)) > offSection
	}
	var truth float64
	var err error
	if own {
		truth, err = m.elsewhere(it, r.Line.A, r.Line.B)
	} else {
		k.Line = &[2]UV{a, b}
		truth, err = it.Profile.along(k.Question, a, b)
	}
	if err != nil {
		if k.Question.Quantity == quantity.LingualUndercut {
			return ""
		}
		return "the line given misses what was asked"
	}
	frame := truth - k.Truth
	edge := k.Error - frame
	k.Frame, k.Edge = &frame, &edge
	if !own {
		lean := it.leanFrom(a, b)
		k.Lean = &lean
	}
	said := ""
	if own {
		said = "measured in another section than the sheet's"
	}
	if k.Unit == "mm" && math.Abs(length-*k.Value) > 0.2 {
		said = fmt.Sprintf("the value is not the length of the line, which is %.1f mm", length)
	}
	return said
}

// leanFrom is the angle of a line on the sheet against the one asked for, deg, −90 to 90.
func (it *Sealed) leanFrom(a, b UV) float64 {
	want := it.Profile.Axis
	switch it.Sheet.Question.Quantity {
	case quantity.RidgeHeight, quantity.RidgeTilt:
	case quantity.Clearance:
		line := it.trueLine()
		want = UV{U: line[1].U - line[0].U, V: line[1].V - line[0].V}
	default:
		want = it.Profile.across()
	}
	d := UV{U: b.U - a.U, V: b.V - a.V}
	if d.U*want.U+d.V*want.V < 0 {
		d = UV{U: -d.U, V: -d.V}
	}
	return math.Atan2(want.U*d.V-want.V*d.U, d.U*want.U+d.V*want.V) * 180 / math.Pi
}

// elsewhere is the truth along a line from a to b (patient, mm) in the section through it that is turned least
// from the sheet's.
func (m marker) elsewhere(it *Sealed, a, b r3.Vec) (float64, error) {
	jaw, err := m.home[it].jaw(it)
	if err != nil {
		return 0, err
	}
	f, q := it.Sheet.Frame, it.Sheet.Question
	if r3.Norm(r3.Sub(b, a)) == 0 {
		return 0, errOffBone
	}
	d := r3.Unit(r3.Sub(b, a))
	n := r3.Sub(f.T, r3.Scale(r3.Dot(f.T, d), d))
	if r3.Norm(n) < 0.2 {
		return 0, fmt.Errorf("practice: the line runs along the arch")
	}
	n = r3.Unit(n)
	up := r3.Unit(r3.Sub(f.V, r3.Scale(r3.Dot(f.V, n), n)))
	side := r3.Cross(up, n)
	if r3.Dot(side, f.U) < 0 {
		side = r3.Scale(-1, side)
	}
	return alongIn(jaw, phantom.Section{Origin: a, Buccal: side, Up: up}, q, a, b)
}

// alongIn is the truth along the line from a to b (patient, mm) in a section of a jaw, in the question's unit.
func alongIn(jaw *phantom.Jaw, sec phantom.Section, q Question, a, b r3.Vec) (float64, error) {
	d, mid := r3.Unit(r3.Sub(b, a)), r3.Scale(0.5, r3.Add(a, b))
	if q.Unit() == "deg" || q.Quantity == quantity.RidgeHeight {
		if r3.Dot(d, sec.Up) > 0 {
			d = r3.Scale(-1, d)
		}
	} else if r3.Dot(d, sec.Buccal) < 0 {
		d = r3.Scale(-1, d)
	}
	switch q.Quantity {
	case quantity.RidgeTilt:
		return math.Atan2(r3.Dot(d, sec.Buccal), -r3.Dot(d, sec.Up)) * 180 / math.Pi, nil
	case quantity.RidgeWidth:
		near, far, err := jaw.Chord(mid, d, lineReach)
		return far - near, err
	case quantity.BuccalPlate, quantity.LingualPlate:
		near, far, err := jaw.Plates(mid, d, lineReach)
		if q.Quantity == quantity.BuccalPlate {
			near = far
		}
		if err == nil && math.IsNaN(near) {
			err = errOffBone
		}
		return near, err
	case quantity.RidgeHeight:
		_, heights, err := jaw.Limits(sec, mid, d)
		i := slices.IndexFunc(heights, func(h phantom.HeightTrue) bool { return h.To == q.To })
		if err != nil || i < 0 {
			return 0, errOffBone
		}
		return heights[i].Height, nil
	}
	return 0, errOffBone
}
