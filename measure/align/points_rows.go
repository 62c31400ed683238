package align

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"ridgerule/measure/cells"
	"ridgerule/measure/uncertainty"
)

// Measure is what is told of an implant, of a pair or of a whole fit, as positions.csv calls it.
type Measure string

// The measures, in the order of the table.
const (
	GapDistance Measure = "distance"             // between the platforms, mm
	GapHeight   Measure = "height"               // along the first set's axis, mm
	GapLateral  Measure = "lateral"              // across it, mm
	GapMesial   Measure = "lateral_mesial"       // of it toward the midline, mm
	GapBuccal   Measure = "lateral_buccal"       // of it outward, mm
	GapAngle    Measure = "axis_angle"           // between the axes, deg
	GapTiltM    Measure = "tilt_mesial"          // of it in the mesio-distal direction, deg
	GapTiltB    Measure = "tilt_buccal"          // of it in the bucco-lingual direction, deg
	FitRMS      Measure = "rms"                  // of a fit, mm
	MirrorRMS   Measure = "mirror_rms"           // of a fit that mirrors, mm
	ScaleFound  Measure = "scale_found"          // second over first, no unit
	PairFirst   Measure = "pair_distance_first"  // between two platforms of the first set, mm
	PairSecond  Measure = "pair_distance_second" // of the second set, mm
	PairChange  Measure = "pair_distance_change" // second less first, mm
	PairAngle   Measure = "pair_angle_change"    // between two axes, second less first, deg
	RepeatSD    Measure = "repeat_sd"            // of repeated recordings, mm
	wholeArch           = "arch"                 // the implant of a row about all of them
	fitRepeats          = "repeat"               // the fit of a row about repeated recordings
)

// unit returns the unit of a measure: "mm", "deg" or "1".
func (m Measure) unit() string {
	switch m {
	case GapAngle, GapTiltM, GapTiltB, PairAngle:
		return "deg"
	case ScaleFound:
		return "1"
	}
	return "mm"
}

// limited are the measures that a limit may be set for.
var limited = []Measure{GapDistance, GapHeight, GapLateral, GapAngle, PairChange, PairAngle}

// Limit is a laboratory's own bound on the size of a measure.
type Limit struct {
	Of     Measure
	Most   float64 // mm or deg
	Source string  // who set it, and where it stands
}

// NewLimit returns a limit, or an error that names what it may be set for.
func NewLimit(of string, most float64, source string) (Limit, error) {
	l := Limit{Measure(of), most, strings.TrimSpace(source)}
	switch {
	case !slices.Contains(limited, l.Of):
		return l, fmt.Errorf("align: no limit can be set for %q; one of %v", of, limited)
	case !(most > 0 && !math.IsInf(most, 0)):
		return l, fmt.Errorf("align: the limit of %s is %g; give a number above 0", of, most)
	case l.Source == "":
		return l, fmt.Errorf("align: the limit of %s has no source: say whose it is and where it stands", of)
	}
	return l, nil
}

// The verdicts of a limit, with the value's U as the guard band.
const (
	limitHeld        = "held"
	limitUncertain   = "uncertain"
	limitNotHeld     = "not held"
	limitNotAssessed = "not assessed"
)

// judge holds the size of a value against the limit:
//
//	held if |v| + U ≤ limit, not held if |v| − U > limit, otherwise uncertain; not assessed without a U
//
// Where it is not known how the positions were recorded, nothing is held.
func (l Limit) judge(value float64, b uncertainty.Budget, sourced bool) string {
	v := math.Abs(value)
	switch {
	case b == nil || v != v:
		return limitNotAssessed
	case v-b.U() > l.Most:
		return limitNotHeld
	case v+b.U() <= l.Most && sourced:
		return limitHeld
	}
	return limitUncertain
}

// PositionRow is one number of positions.csv.
type PositionRow struct {
	Implant string // a name, two joined by "|", or "arch"
	Measure Measure
	Fit     string             // "" where it rests on none
	Value   *float64           // in the measure's unit; nil: no number, and Note says why
	Budget  uncertainty.Budget // nil: not known
	Note    string
	Limit   *float64 // the laboratory's own; nil: none
	Verdict string
}

// Unit returns the row's unit: "mm", "deg" or "1".
func (r *PositionRow) Unit() string { return r.Measure.unit() }

// Rows returns every number of the comparison: fits in their order, then the pairs, then the repeats.
func (c *Comparison) Rows() []PositionRow {
	var out []PositionRow
	for i := range c.Fits {
		out = append(out, c.fitRows(&c.Fits[i])...)
	}
	for _, p := range c.Pairs {
		name := p.A + "|" + p.B
		out = append(out, number(name, PairFirst, "", p.First.Value, p.First.Budget), number(name, PairSecond, "", p.Second.Value, p.Second.Budget),
			number(name, PairChange, "", p.Change.Value, p.Change.Budget), number(name, PairAngle, "", p.Lean.Value, p.Lean.Budget))
	}
	out = append(out, c.repeatRows()...)
	for i := range out {
		c.limit(&out[i])
	}
	return out
}

func number(implant string, m Measure, fit string, value float64, b uncertainty.Budget) PositionRow {
	return PositionRow{Implant: implant, Measure: m, Fit: fit, Value: &value, Budget: b}
}

// limit fills in a laboratory's own limit. What a dropped implant leaves is not judged: no framework is fitted so. Nor is
// the end implant of a one-end fit: the fit brings it together, whatever was recorded.
func (c *Comparison) limit(r *PositionRow) {
	for _, l := range c.Limits {
		if l.Of == r.Measure && r.Value != nil && !strings.HasPrefix(r.Fit, FitDrop) {
			if r.Fit == FitOneEnd && r.Implant == c.Names[c.Fits[1].End] {
				r.Limit, r.Verdict = &l.Most, limitNotAssessed
				r.Note = cells.Note(r.Note, "brought together, so no verdict")
				continue
			}
			r.Limit, r.Verdict = &l.Most, l.judge(*r.Value, r.Budget, c.Second.Source != "")
			if r.Verdict == limitNotAssessed {
				r.Note = cells.Note(r.Note, "no U, no verdict")
			}
		}
	}
}

func (c *Comparison) fitRows(f *PositionFit) []PositionRow {
	if f.Reason != "" {
		name := wholeArch
		if f.Left >= 0 {
			name = c.Names[f.Left]
		}
		return []PositionRow{{Implant: name, Measure: GapDistance, Fit: f.Name, Note: "no fit: " + f.Reason}}
	}
	var out []PositionRow
	for i := range f.Gaps {
		if f.Left >= 0 && i != f.Left {
			continue
		}
		rows := gapRows(&f.Gaps[i], f.Name)
		switch {
		case i == f.End:
			rows[0].Note = "the end implant: brought together, 0 by definition"
		case i == f.Next:
			rows[0].Note = "its direction from the end implant fixes the turn about the axis"
		case i == f.Left:
			rows[0].Note = "left out of the fit"
		}
		out = append(out, rows...)
	}
	out = append(out, number(wholeArch, FitRMS, f.Name, f.RMS, nil))
	last := &out[len(out)-1]
	switch f.Name {
	case FitBest:
		last.Note = fmt.Sprintf("no error of the fit: residuals of %d implants show %.0f %% of the true error of the positions on average", len(f.Gaps), 100*Hidden(len(f.Gaps)))
		scale := number(wholeArch, ScaleFound, f.Name, f.ScaleFound, nil)
		if scale.Note = "a check only: nothing was scaled"; f.ScaleStd == f.ScaleStd {
			scale.Budget = uncertainty.Budget{{Name: "residuals of the fit", Std: f.ScaleStd}}
		}
		mirror := number(wholeArch, MirrorRMS, f.Name, f.MirrorRMS, nil)
		mirror.Note = fmt.Sprintf("a check: platforms with axes of %g mm; %.4f mm without mirroring", axisLength, f.ProperRMS)
		out = append(out, mirror, scale)
	case FitOneEnd:
		last.Note = "of all implants but the end"
	default:
		last.Note = "of those that were fitted"
	}
	return out
}

func gapRows(g *Gap, fit string) []PositionRow {
	length := func(m Measure, l uncertainty.Length) PositionRow { return number(g.Implant, m, fit, l.Value, l.Budget) }
	angle := func(m Measure, a uncertainty.Angle) PositionRow { return number(g.Implant, m, fit, a.Value, a.Budget) }
	out := []PositionRow{length(GapDistance, g.Distance()), length(GapHeight, g.Height()), length(GapLateral, g.Lateral())}
	if d := g.Directions; d != nil {
		return append(out, length(GapMesial, g.Part(d.Mesial)), length(GapBuccal, g.Part(d.Buccal)), angle(GapAngle, g.Angle()),
			angle(GapTiltM, g.Tilt(d.Mesial)), angle(GapTiltB, g.Tilt(d.Buccal)))
	}
	return append(out, angle(GapAngle, g.Angle()))
}

func (c *Comparison) repeatRows() []PositionRow {
	if c.Repeats == nil {
		return nil
	}
	var out []PositionRow
	for _, p := range c.Second.Positions {
		r := number(p.Name, RepeatSD, fitRepeats, c.Repeats.Implants[p.Name], nil)
		r.Note = "distance from the mean place, root mean square; what all recordings have wrong alike is not in it"
		out = append(out, r)
	}
	all := number(wholeArch, RepeatSD, fitRepeats, c.Repeats.SD, nil)
	all.Note = fmt.Sprintf("SD of one coordinate, %d recordings, %d degrees of freedom", c.Repeats.Recordings, c.Repeats.Freedom)
	return append(out, all)
}

// PositionColumns are the columns of positions.csv, in order.
var PositionColumns = []string{"implant", "quantity", "fit", "value", "unit", "u", "U", "note", "limit", "verdict"}

// WriteCSV writes positions.csv: one number a row.
func (c *Comparison) WriteCSV(w io.Writer) error {
	rows := [][]string{PositionColumns}
	for _, r := range c.Rows() {
		u, U := "", ""
		if r.Value != nil && r.Budget != nil {
			u, U = cells.Number(r.Budget.Std()), cells.Number(r.Budget.U())
		}
		rows = append(rows, []string{cells.Text(r.Implant), string(r.Measure), cells.Text(r.Fit), cells.Optional(r.Value), r.Unit(), u, U, cells.Text(r.Note), cells.Optional(r.Limit), r.Verdict})
	}
	return cells.Write(w, rows)
}
