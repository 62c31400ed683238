package align

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// Comparison is two sets of positions held against each other.
type Comparison struct {
	First, Second Set
	Names         []string       // of the implants that both sets have, in the first's order
	Fits          []PositionFit  // best, one end, then each implant dropped
	Pairs         []PositionPair // every two implants
	Cautions      []string       // what a reader of the numbers must know
	Limits        []Limit
	Repeats       *Repeats // repeated recordings; nil: none given
}

// The fits, as the tables call them.
const (
	FitBest   = "best"
	FitOneEnd = "one_end"
	FitDrop   = "drop:" // and the name of the implant that was left out
)

// PositionFit is one way in which the first set was laid on the second.
type PositionFit struct {
	Name       string    // one of the constants
	Transform  Transform // from the first set's frame to the second's
	Gaps       []Gap     // in the order of [Comparison.Names]
	Left       int       // place of the implant that was left out; −1: none
	End, Next  int       // of [FitOneEnd]: the implant brought together, and the one that fixes the turn; else −1
	RMS        float64   // of the gaps that the fit looked at, mm; [FitOneEnd]: of all but its end
	Largest    int       // place of the largest gap
	MirrorRMS  float64   // of [FitBest]: what is left where the first set is mirrored, platforms and axes 10 mm long together, mm; else NaN
	ProperRMS  float64   // of [FitBest]: the same without mirroring, mm; else NaN
	ScaleFound float64   // of [FitBest]: lengths of the second frame over those of the first; else NaN
	ScaleStd   float64   // its standard uncertainty; NaN: not known
	Reason     string    // why there is no such fit; "": there is
}

// PositionPair is two implants, without any fit.
type PositionPair struct {
	A, B          string
	First, Second uncertainty.Length // distance between the platforms in each set, mm
	Change        uncertainty.Length // second less first, mm
	Lean          uncertainty.Angle  // angle between the axes in the second set less that in the first, deg
}

// CompareOptions say what is asked of two sets.
type CompareOptions struct {
	End     string  // the implant of the one-end fit; "": the first along the arch
	Limits  []Limit // a laboratory's own
	Repeats []Set   // further recordings of the second set, each in a frame of its own
}

const (
	axisLength    = 10.0 // how far along its axis an implant counts in the mirror check, mm: an implant's usual length; the check asks which of two fits leaves less, and any length of that order gives the same answer
	mostApart     = 5.0  // a distance between two platforms that differs by more, mm, is no misfit but another case, other names or another unit: planned and placed differ by 1 to 2 mm. Our choice; smaller refuses badly placed implants
	doubtfulApart = 1.0  // beyond it, mm, a caution asks whether the names are right. Our choice
)

// Compare holds the second set against the first. It returns [ErrPoints] where fewer than two implants are in both, where
// the second set is mirrored or its axes point to the platform, and where the two are not of one case; [ErrSource] where
// a set's source says CT.
func Compare(first, second Set, o CompareOptions) (*Comparison, error) {
	for _, s := range append([]Set{first, second}, o.Repeats...) {
		if err := CheckSource(s.Source); err != nil && !s.Planned {
			return nil, err
		}
	}
	from, to, only := common(first, second)
	if len(from) < 2 {
		return nil, fmt.Errorf("%w: %d implants have the same name in both sets, at least 2 are needed; name them alike in the column implant", ErrPoints, len(from))
	}
	from = exact(from, first.Planned)
	c := &Comparison{First: first, Second: second, Limits: o.Limits}
	for _, p := range from {
		c.Names = append(c.Names, p.Name)
	}
	if len(only) > 0 {
		c.caution("Not compared, because only one set has them: %s.", strings.Join(only, ", "))
	}
	c.pairs(from, to)
	if err := c.oneCase(); err != nil {
		return nil, err
	}
	if err := c.fits(from, to, o.End); err != nil {
		return nil, err
	}
	c.warn(from, to)
	if len(o.Repeats) > 0 {
		r, err := repeated(append([]Set{second}, o.Repeats...))
		if err != nil {
			return nil, err
		}
		c.Repeats = r
	}
	return c, nil
}

func (c *Comparison) caution(format string, args ...any) {
	c.Cautions = append(c.Cautions, fmt.Sprintf(format, args...))
}

// exact returns the positions with those of a plan exact where nothing else is said.
func exact(list []Position, planned bool) []Position {
	out := slices.Clone(list)
	for i := range out {
		if planned && out[i].U != out[i].U {
			out[i].U = 0
		}
		if planned && out[i].UAxis != out[i].UAxis {
			out[i].UAxis = 0
		}
	}
	return out
}

// pairs measures every two implants in both sets.
func (c *Comparison) pairs(from, to []Position) {
	for i := range from {
		for j := i + 1; j < len(from); j++ {
			p := PositionPair{A: from[i].Name, B: from[j].Name, First: apart(from[i], from[j], doubts[0]), Second: apart(to[i], to[j], doubts[2])}
			p.Change.Value = p.Second.Value - p.First.Value
			if p.First.Budget != nil && p.Second.Budget != nil {
				p.Change.Budget = append(append(uncertainty.Budget{}, p.First.Budget...), p.Second.Budget...)
			}
			p.Lean.Value = angleBetween(to[i].Axis, to[j].Axis) - angleBetween(from[i].Axis, from[j].Axis)
			if _, leans := allKnown([]Position{from[i], from[j]}, []Position{to[i], to[j]}); leans {
				p.Lean.Budget = uncertainty.Budget{{Name: doubts[1], Std: math.Hypot(from[i].UAxis, from[j].UAxis)}, {Name: doubts[3], Std: math.Hypot(to[i].UAxis, to[j].UAxis)}}
			}
			c.Pairs = append(c.Pairs, p)
		}
	}
}

// apart returns the distance between two platforms of one set, mm.
func apart(a, b Position, name string) uncertainty.Length {
	d := uncertainty.Length{Value: r3.Norm(r3.Sub(a.At, b.At))}
	if u := math.Hypot(a.U, b.U); u == u {
		d.Budget = uncertainty.Budget{{Name: name, Std: u}}
	}
	return d
}

// oneCase returns [ErrPoints] where the distances between platforms say that the sets are not of one case.
func (c *Comparison) oneCase() error {
	worst := slices.MaxFunc(c.Pairs, func(a, b PositionPair) int {
		return int(math.Copysign(1, math.Abs(a.Change.Value)-math.Abs(b.Change.Value)))
	})
	switch off := math.Abs(worst.Change.Value); {
	case off > mostApart:
		return fmt.Errorf("%w: implants %s and %s stand %.2f mm apart in the first set and %.2f mm in the second: another case, names exchanged, or not millimetres",
			ErrPoints, worst.A, worst.B, worst.First.Value, worst.Second.Value)
	case off > doubtfulApart:
		c.caution("Implants %s and %s stand %.2f mm farther apart or nearer in one set than in the other: make sure that no names are exchanged.", worst.A, worst.B, off)
	}
	return nil
}

// fits lays the sets on each other in every way.
func (c *Comparison) fits(from, to []Position, end string) error {
	best := PositionFit{Name: FitBest, Left: -1, End: -1, Next: -1, MirrorRMS: math.NaN(), ProperRMS: math.NaN(), ScaleFound: math.NaN(), ScaleStd: math.NaN()}
	if f, err := FitPoints(places(from), places(to)); err != nil {
		best.Reason = reasonOf(err)
	} else {
		if best.ProperRMS, best.MirrorRMS, err = mirrored(from, to); err != nil {
			return err
		}
		best.ScaleFound, best.ScaleStd = f.ScaleFound, f.ScaleStd
		best.lay(bestFit, false, from, to)
		best.Transform.Spread = f.Spread
	}
	c.Fits = append(c.Fits, best)
	one, err := c.oneEnd(from, to, end)
	if err != nil {
		return err
	}
	c.Fits = append(c.Fits, one)
	for i := range from {
		f := PositionFit{Name: FitDrop + from[i].Name, Left: i, End: -1, Next: -1, MirrorRMS: math.NaN(), ProperRMS: math.NaN(), ScaleFound: math.NaN(), ScaleStd: math.NaN()}
		f.lay(dropFit(i), false, from, to)
		c.Fits = append(c.Fits, f)
	}
	for i := range c.Fits {
		c.Fits[i].Transform.From, c.Fits[i].Transform.To = c.First.Frame, c.Second.Frame
	}
	return nil
}

// lay lays the sets on each other by fit and keeps what is left, or the reason why it cannot.
func (f *PositionFit) lay(fit fitter, axes bool, from, to []Position) {
	t, gaps, err := gapsOf(fit, axes, from, to)
	if err != nil {
		f.Reason = reasonOf(err)
		return
	}
	f.Transform, f.Gaps = t, gaps
	sum, n := 0.0, 0
	for i, g := range gaps {
		if i != f.Left && i != f.End {
			sum, n = sum+r3.Norm2(g.D), n+1
		}
		if r3.Norm2(g.D) > r3.Norm2(gaps[f.Largest].D) {
			f.Largest = i
		}
	}
	f.RMS = math.Sqrt(sum / float64(n))
}

// reasonOf returns what a fit's error says, without its sentinel.
func reasonOf(err error) string {
	return strings.TrimPrefix(err.Error(), ErrPoints.Error()+": ")
}

// oneEnd brings together one end implant: the one named, or the first along the arch. The turn about its axis comes from
// its neighbour along the arch, or from the nearest where the order is not known.
func (c *Comparison) oneEnd(from, to []Position, name string) (PositionFit, error) {
	f := PositionFit{Name: FitOneEnd, Left: -1, MirrorRMS: math.NaN(), ProperRMS: math.NaN(), ScaleFound: math.NaN(), ScaleStd: math.NaN()}
	order, known := alongArch(from)
	if known {
		f.End = order[0]
	}
	if name != "" {
		if f.End = slices.Index(c.Names, name); f.End < 0 {
			return f, fmt.Errorf("%w: no implant %q is in both sets; they have %s", ErrPoints, name, strings.Join(c.Names, ", "))
		}
	}
	f.Next = -1
	for i := range from {
		if i != f.End && (f.Next < 0 || r3.Norm(r3.Sub(from[i].At, from[f.End].At)) < r3.Norm(r3.Sub(from[f.Next].At, from[f.End].At))) {
			f.Next = i
		}
	}
	if at := slices.Index(order, f.End); known {
		if f.Next = order[max(at-1, 0)]; at == 0 {
			f.Next = order[1]
		}
	}
	f.lay(oneEndFit(f.End, f.Next), true, from, to)
	return f, nil
}

// mirrored asks whether the second set is the first as a mirror shows it. Platforms of an even arch lie nearly in a plane,
// and nearly alike on both sides: they alone cannot tell. With the axes, 10 mm long, they can.
func mirrored(from, to []Position) (proper, mirror float64, err error) {
	f, err := FitPoints(axisEnds(from), axisEnds(to))
	if err != nil {
		return 0, 0, err
	}
	if f.MirrorRMS < f.RMS {
		return f.RMS, f.MirrorRMS, fmt.Errorf("%w: the second set fits the first better as its mirror image (%.2f mm left instead of %.2f mm): it was mirrored "+
			"on the way, as by a program with another handedness, or its axes point from the apex to the platform; mend that where it was written",
			ErrPoints, f.MirrorRMS, f.RMS)
	}
	return f.RMS, f.MirrorRMS, nil
}

// axisEnds returns the platforms, then the ends of axes 10 mm long.
func axisEnds(list []Position) []r3.Vec {
	out := places(list)
	for _, p := range list {
		out = append(out, r3.Add(p.At, r3.Scale(axisLength, p.Axis)))
	}
	return out
}

// warn says what the numbers do not say themselves.
func (c *Comparison) warn(from, to []Position) {
	platforms, axes := allKnown(from, to)
	switch {
	case !platforms:
		c.caution("No uncertainty of the platforms is given (column u_mm): there are values without U, and no verdict.")
	case !axes:
		c.caution("No uncertainty of the axes is given (column u_deg): angles, and what rests on axes, have no U.")
	}
	if c.Second.Source == "" {
		c.caution("How the second set was recorded is not stated (column source, or --source): make sure that it was not measured in a CT; verdicts are at best uncertain.")
	}
	best := c.Fits[0]
	if best.Reason != "" {
		c.caution("No best fit: %s. Whether the second set is mirrored could not be checked.", best.Reason)
	} else if k := math.Abs(best.ScaleFound - 1); k > 0.002 && !(k <= 2*best.ScaleStd) {
		c.caution("The second set is %.4f times as large as the first; lengths were not scaled. A size error of one device spreads over all gaps.", best.ScaleFound)
	}
	if len(from) == 3 {
		c.caution("Of three implants none can be left out of the fit: which of them is off cannot be told.")
	}
}

// Hidden returns the share of the true error of the positions that the residual of a best fit of n implants shows, no
// unit: √(1 − 2/n) where the errors of all coordinates are equal and independent.
//
// Source: Fitzpatrick JM, West JB. IEEE Trans Med Imaging 2001;20:917–927: ⟨FRE²⟩ = (1 − 2/N)⟨FLE²⟩.
func Hidden(n int) float64 { return math.Sqrt(1 - 2/float64(n)) }
