package propose

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// From the trail to the arch: sections are laid along it, and the ridge's middle and crest are taken from the
// bone's outline in each, at the scan's own resolution; what the sections say is smoothed along the arch.

// work is one proposal in the making.
type work struct {
	*Proposal
	v     *volume.Volume
	cells *cells
	whole bool
	curve *reformat.Curve
	cuts  []cut // along the curve, even

	tissue ridge.ImageModel // what the sections teach about the series
	marks  plan.Landmarks   // of the final curve
}

const (
	cutStep   = 3.0  // mm between the sections
	underTop  = 5.0  // mm below the crest at which the arch runs: inside the bone, above what may be planned
	rounds    = 4    // of laying sections
	grow      = 4    // sections by which each round but the last tries to lengthen each end
	keepAxis  = 3.0  // degrees: up to here the scan's own axis is kept as occlusal; about what the crest's plane is off by
	levelTo   = 50.0 // mm from the arch's middle: farther back the crest rises to the ramus or falls with the tuberosity
	mostTilt  = 25.0 // degrees: beyond it no occlusal plane is believed
	offPlane  = 6.0  // mm: where the crest leaves the crest's plane by more, at an end, the arch ends
	halfArch  = 69.0 // mm from the front to either end at most: past the third molar
	wanders   = 1.5  // mm: by which the ridge's middle may leave the smooth curve in nine of ten sections
	leastCuts = 0.7  // share of the sections that must show a ridge
	thinnest  = 3.0  // mm: what is thinner in half of the sections is a plate, a cavity's wall, and takes no implant
)

// archOf finds the arch along the trail that was chosen; of a piece in a field whose jaw is known, along the next best one where
// that shows none.
func (w *work) archOf(ctx context.Context, t *trail, all []trail) error {
	err := w.arch(ctx, t)
	for i := range all {
		if err == nil || ctx.Err() != nil || t.fan || w.Voted {
			return err
		}
		if &all[i] != t && w.arch(ctx, &all[i]) == nil {
			return nil
		}
	}
	return err
}

// arch finds the arch and the occlusal direction, or returns a [*Refusal].
func (w *work) arch(ctx context.Context, t *trail) error {
	w.whole = t.fan
	sign := 1.0
	if w.Jaw == plan.Maxilla {
		sign = -1
	}
	axis := r3.Vec{Z: sign}
	w.Occlusal, w.OcclusalWhy = r3.Scale(sign, t.up), "the scan's own axis"
	w.tissue = learn(w.v, t)
	points := t.points()
	for round := range rounds {
		if err := w.lay(points); err != nil {
			return err
		}
		if round < rounds-1 {
			w.lengthen()
		}
		if err := w.look(ctx); err != nil {
			return err
		}
		if round == rounds-1 {
			break
		}
		points = w.middles()
		if err := w.level(axis); err != nil {
			return err
		}
	}
	return w.judge()
}

// points returns the trail's places from the patient's right to the left, smoothed.
func (t *trail) points() []r3.Vec {
	from, to := t.stretch()
	n := to - from
	at, weight := make([]float64, n), make([]float64, n)
	for i := range n {
		at[i] = t.at[from+i]
		if t.met(from + i) {
			weight[i] = 1
		}
	}
	at = smooth(at, weight, 4, 1)
	out := make([]r3.Vec, n)
	for i := range out {
		r := t.rays[from+i]
		out[i] = r3.Add(r.from, r3.Scale(at[i], r.dir))
	}
	if n > 0 && out[0].X > out[n-1].X {
		slices.Reverse(out)
	}
	return out
}

// lay lays the curve through points and even sections along it.
func (w *work) lay(points []r3.Vec) error {
	if len(points) < 4 {
		return noArch("the ridge is seen at %d places only", len(points))
	}
	c, err := reformat.NewCurve(points, w.Occlusal)
	if err == nil {
		n := max(4, int(math.Round(c.Length()/cutStep))+1)
		even := make([]r3.Vec, n)
		for i := range even {
			even[i] = c.At(c.Length() * float64(i) / float64(n-1))
		}
		c, err = reformat.NewCurve(even, w.Occlusal)
	}
	if err != nil {
		return noArch("the curve through the bone turns back on itself")
	}
	w.curve, w.cuts = c, nil
	n := max(4, int(math.Round(c.Length()/cutStep))+1)
	for i := range n {
		w.cuts = append(w.cuts, cut{frame: c.Frame(c.Length() * float64(i) / float64(n-1))})
	}
	return nil
}

// lengthen adds sections straight on beyond both ends of the curve.
func (w *work) lengthen() {
	first, last := w.cuts[0].frame, w.cuts[len(w.cuts)-1].frame
	for i := 1.0; i <= grow; i++ {
		w.cuts = slices.Insert(w.cuts, 0, cut{frame: first.Along(-i * cutStep)})
		w.cuts = append(w.cuts, cut{frame: last.Along(i * cutStep)})
	}
}

func noArch(format string, args ...any) error {
	return &Refusal{ErrArch, fmt.Sprintf(format, args...), "mark the arch by hand"}
}

// look finds the ridge in each section. Grey values are the series' and not the round's: those that most of the bone's edges
// told are kept, for a curve that runs among crowns sees few.
func (w *work) look(ctx context.Context) error {
	if t := learnAlong(w.v, w.curve); t.Edges >= w.tissue.Edges {
		w.tissue = t
	}
	for i := range w.cuts {
		if err := ctx.Err(); err != nil {
			return err
		}
		w.cuts[i].look(w.v, w.tissue)
	}
	return nil
}

// overCrest is what a section counts whose crest lies over its neighbours', against one whose crest lies under them: a
// crown that is not seen as one, at a contact or blurred, always lifts the crest, and nothing lowers it so often. Our choice.
const overCrest = 0.1

// heights returns the smoothed height at which the arch runs in each section, v in mm.
func (w *work) heights() []float64 {
	y, weight := make([]float64, len(w.cuts)), make([]float64, len(w.cuts))
	for i, k := range w.cuts {
		if !math.IsNaN(k.crest) {
			y[i], weight[i] = k.crest-underTop, 1
		}
	}
	return smooth(y, weight, 8, overCrest)
}

// offsets returns the ridge's middle at the given heights, u in mm, smoothed, and as seen (NaN: not seen).
func (w *work) offsets(heights []float64) (smoothed, seen []float64) {
	seen, weight := make([]float64, len(w.cuts)), make([]float64, len(w.cuts))
	y := make([]float64, len(w.cuts))
	for i := range w.cuts {
		seen[i] = math.NaN()
		if r, ok := w.cuts[i].at(heights[i]); ok {
			seen[i], y[i], weight[i] = r.middle, r.middle, 1
		}
	}
	return smooth(y, weight, 1, 1), seen
}

// middles returns the ridge's middles a little below the crest, ends that are no ridge cut off.
func (w *work) middles() []r3.Vec {
	h := w.heights()
	u, seen := w.offsets(h)
	from, to := w.ends(seen)
	var out []r3.Vec
	for i := from; i < to; i++ {
		out = append(out, w.cuts[i].frame.Patient(reformat.UV{U: u[i], V: h[i]}))
	}
	return out
}

// ends returns the sections [from, to) between the outermost ones whose neighbours show a ridge too.
func (w *work) ends(seen []float64) (from, to int) {
	good := func(i int) bool { return !math.IsNaN(seen[i]) }
	to = len(seen)
	for from < to-1 && !(good(from) && good(from+1)) {
		from++
	}
	for to > from+1 && !(good(to-1) && good(to-2)) {
		to--
	}
	return from, to
}

// level takes the occlusal direction from the crest where it plainly leans against the scan's axis, and cuts
// off the ends where the crest leaves its plane.
func (w *work) level(axis r3.Vec) error {
	if !w.whole {
		w.Occlusal = axis
		return nil
	}
	var crest []r3.Vec
	h := w.heights()
	for i, k := range w.cuts {
		if math.Abs(k.frame.Arc-w.curve.Length()/2) > levelTo {
			continue
		}
		if r, ok := k.at(h[i]); ok && !math.IsNaN(k.crest) {
			crest = append(crest, k.frame.Patient(reformat.UV{U: r.middle, V: h[i] + underTop}))
		}
	}
	if len(crest) < 8 {
		return noArch("the crest is seen at %d places only", len(crest))
	}
	n, spread := planeOf(crest, axis)
	angle := math.Acos(math.Min(1, r3.Dot(n, axis))) * 180 / math.Pi
	switch {
	case spread > offPlane/2:
		w.Occlusal, w.OcclusalWhy = axis, "the scan's own axis: the crest lies in no plane"
	case angle > mostTilt:
		return noArch("the crest's plane leans by %.0f° against the scan's axis", angle)
	case angle > keepAxis:
		w.Occlusal, w.OcclusalWhy = n, fmt.Sprintf("the plane through the crest, which leans by %.0f° against the scan's axis", angle)
	default:
		w.Occlusal, w.OcclusalWhy = axis, fmt.Sprintf("the scan's own axis, from which the crest's plane leans by %.0f°", angle)
	}
	return nil
}
