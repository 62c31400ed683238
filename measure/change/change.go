// Package change holds two scans of one jaw against each other: what the bone was, what it is, and whether a change is shown.
//
// What goes in are two volumes, the plan of the first and the alignment that takes the first into the second; what comes
// out is a [Result]. The sections of the first scan are carried into the second, and the axes and crests found in
// the first with them, so that each number is taken at the same place.
//
// Frames: what has no other name is in the first scan's patient coordinates (LPS, mm); [Result.After] is in the second's.
package change

import (
	"context"
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// ErrAlignment is the fault of an alignment that does not belong to the two scans, or whose uncertainty is not known.
var ErrAlignment = errors.New("change: the alignment cannot be used")

// Shown says whether a change is shown.
type Shown string

// What may be shown. A change within its U is none that this pair of scans can show; it is not proof that none took place.
const (
	Change   Shown = "change"
	NoChange Shown = "no change shown"
	Unsure   Shown = "uncertain" // the alignment was accepted by nobody, or metal stands in the section
	NoNumber Shown = ""

	NotAssessed Shown = "not assessed" // of bone beside an implant: the note says why
)

// Number reports whether there is a change with its uncertainty.
func (s Shown) Number() bool { return s != NoNumber && s != NotAssessed }

// CrestLevel is how much lower the crest lies along the first scan's axis, + lost: the one quantity here that no scan has by
// itself.
const CrestLevel quantity.Name = "crest_level"

// Row is one quantity at one site, before and after.
type Row struct {
	Site          string
	Quantity      quantity.Name
	At            *float64 // depth below the first scan's crest, mm; nil: does not apply
	To            string
	Before, After *float64           // in mm; nil: no number
	Change        uncertainty.Length // after less before, mm; without a number its budget is empty
	Shown         Shown
	Note          string
}

// Site is one site in both scans.
type Site struct {
	ID, Tooth string
	Rows      []Row
	Placed    *Placed // nil: not asked for, or none found
	NotPlaced string  // why no placed implant was found; "": one was, or none was asked for
	Err       string  // why it could not be compared; "": it was
}

// Placed is an implant found in the second scan, held against its plan.
type Placed struct {
	Found     align.FoundImplant // in the second scan
	Planned   align.Implant
	Deviation align.Deviation
	Unsure    bool // the alignment was accepted by nobody
}

// Result is a whole comparison.
type Result struct {
	Before, After *measure.Result // After is in the second scan's frame, with the first's axes
	Sites         []Site
	Cautions      []string
	Alignment     align.File
}

// Scan is one of the two.
type Scan struct {
	Volume *volume.Volume
	Facts  measure.Scan
}

// Options tune a comparison; the zero value is ready.
type Options struct {
	Placed   bool                  // also find the planned implants in the second scan
	Progress func(done, total int) // nil: silent
}

// Compare measures both scans by the plan of the first, and tells the change at each site with its uncertainty:
//
//	u² = u(before)² + u(after)² + u(alignment at the place)² + (u(size)·value)²
//
// the alignment where a length crosses the frames, and as the section's place where it does not. What both have in common cancels: the
// marks of structures and the place of the sections are carried over.
//
// It returns an error wrapping [ErrAlignment] for an alignment of other scans, and those of [measure.Run].
func Compare(ctx context.Context, before, after Scan, p *plan.Plan, source *plan.Source, f align.File, o Options) (*Result, error) {
	if err := belongs(f, before.Facts, after.Facts); err != nil {
		return nil, err
	}
	c := &comparison{before: before, after: after, file: f, t: f.Transform, o: o}
	if err := c.measure(ctx, p, source); err != nil {
		return nil, err
	}
	c.metal = c.newMetal()
	out := &Result{Before: c.first, After: c.second, Alignment: f, Cautions: c.cautions()}
	for i := range c.first.Sites {
		out.Sites = append(out.Sites, c.site(i))
	}
	return out, nil
}

// belongs refuses an alignment of other scans.
func belongs(f align.File, before, after measure.Scan) error {
	const again = "make one of these two: ridgerule align BEFORE AFTER --mask PLAN -o align.json"
	switch {
	case f.Kind != align.KindScans:
		return fmt.Errorf("%w: it is one of kind %s, not of two scans; %s", ErrAlignment, f.Kind, again)
	case f.Transform.Spread == nil:
		return fmt.Errorf("%w: its uncertainty is not known; %s", ErrAlignment, again)
	case f.First.Series == after.SeriesHash && f.Second.Series == before.SeriesHash:
		return fmt.Errorf("%w: it takes the second scan into the first; give the scans in its order, or align them again", ErrAlignment)
	case f.First.Series != before.SeriesHash:
		return fmt.Errorf("%w: it was made from another first scan (series %.12s…, this is %.12s…); %s", ErrAlignment, f.First.Series, before.SeriesHash, again)
	case f.Second.Series != after.SeriesHash:
		return fmt.Errorf("%w: it was made from another second scan (series %.12s…, this is %.12s…); %s", ErrAlignment, f.Second.Series, after.SeriesHash, again)
	}
	return nil
}

// comparison is one on its way.
type comparison struct {
	before, after Scan
	file          align.File
	t             align.Transform
	o             Options
	placed        *plan.Placed    // the plan on the first scan
	first         *measure.Result // with its own axes
	second        *measure.Result // along the first's axes, its own crests
	level         *measure.Result // of the second: along the first's axes, from the first's crests
	metal         []align.Bright  // of the second scan alone, in the first's frame
}

// measure measures the first scan as it is, and the second along the axes of the first: once from its own crests, once from
// the first's.
func (c *comparison) measure(ctx context.Context, p *plan.Plan, source *plan.Source) error {
	in, err := p.InPatient(c.before.Volume.Grid, source)
	if err != nil {
		return err
	}
	in = alike(in)
	if c.placed, err = in.Place(c.before.Volume.Grid, source); err != nil {
		return err
	}
	known := 0.0 // the sections of the first scan are where they are: both scans are cut there
	if c.first, err = measure.Run(ctx, c.before.Volume, c.placed, c.before.Facts, measure.Options{Other: true, PlacedBy: &known, Progress: c.o.Progress}); err != nil {
		return err
	}
	known = c.alignedAlong()
	cache := &measure.Cache{}
	for _, run := range []struct {
		to    **measure.Result
		crest bool
	}{{&c.second, false}, {&c.level, true}} {
		carried := c.carried(in, run.crest)
		placed, err := carried.Place(c.after.Volume.Grid, source)
		if err != nil {
			return err
		}
		if *run.to, err = measure.Run(ctx, c.after.Volume, placed, c.after.Facts, measure.Options{Other: true, PlacedBy: &known, Cache: cache, Progress: c.o.Progress}); err != nil {
			return err
		}
	}
	return nil
}

// alike returns the plan without what both scans have in common, whose uncertainty cancels: how well structures were marked, and
// the scale, in whose place stands the difference in size.
func alike(p *plan.Plan) *plan.Plan {
	out := p.Clone()
	out.ScaleHalfWidth = 0
	for i := range out.Structures {
		out.Structures[i].SD = 0
	}
	return out
}

// alignedAlong returns how well the alignment places the sections along the arch, standard, mm: the most of all sites.
func (c *comparison) alignedAlong() (most float64) {
	for _, s := range c.first.Sites {
		most = max(most, c.t.Std(c.t.Apply(s.Frame.Origin), c.t.Turn(s.Frame.T)))
	}
	return most
}

// carried returns the plan in the second scan's frame, with the axes of the first scan and, if asked, its crests.
func (c *comparison) carried(p *plan.Plan, crest bool) *plan.Plan {
	out := p.Clone()
	out.OcclusalGiven, out.OcclusalPlane = c.placed.Occlusal, nil
	if out.OrientationNote == "" {
		out.OrientationNote = "carried over from the first scan"
	}
	for i := range out.Sites {
		s, found := &out.Sites[i], c.first.Sites[i]
		if found.Err != "" {
			continue
		}
		s.Axis, s.AxisVec = plan.AxisGiven, found.Frame.Direction(found.Axis)
		if crest {
			at := found.Frame.Patient(found.Crest)
			s.Crest = &at
		}
	}
	moved := out.Moved(c.t.Apply, c.t.Turn)
	for i := range moved.Structures {
		if s := moved.Structures[i].Surface; s != nil {
			moved.Structures[i].Surface = movedSurface(s, c.t)
		}
	}
	return moved
}

// movedSurface returns the surface in frame To of t.
func movedSurface(s *solid.Surface, t align.Transform) *solid.Surface {
	out := &solid.Surface{Triangles: s.Triangles, Points: make([]r3.Vec, len(s.Points))}
	for i, p := range s.Points {
		out.Points[i] = t.Apply(p)
	}
	return out
}

// cautions say what a reader of the changes must know.
func (c *comparison) cautions() []string {
	out := append([]string{}, c.file.Cautions...)
	if c.file.Accepted == nil {
		out = append(out, "the alignment was accepted by nobody: every change is at best uncertain")
	}
	if why := c.unlike(); why != "" {
		out = append(out, why)
	}
	out = append(out, c.unplannedMetal()...)
	return append(out, "no change per year is given: two scans show a change, not its course")
}

// unlike says what two scans of other voxels, or as sharp as two devices are not, do to U; "": they are alike.
func (c *comparison) unlike() string {
	const differ = 1.1 // our choice
	ratio := func(a, b float64) float64 { return max(a, b) / min(a, b) }
	a, b, words := c.before.Facts.Spacing, c.after.Facts.Spacing, ""
	for i := range a {
		if ratio(a[i], b[i]) > differ {
			words = fmt.Sprintf("the voxels differ (%.3g and %.3g mm)", a[i], b[i])
			break
		}
	}
	one, other := edgeOf(c.first), edgeOf(c.second)
	if sharp := ratio(one, other) > 2*differ-1; words == "" && sharp {
		words = fmt.Sprintf("one scan is sharper than the other (blur %.2f and %.2f mm), as two devices are", blurOf(c.first), blurOf(c.second))
	}
	if words == "" {
		return ""
	}
	return words + fmt.Sprintf(": an edge of bone is known to %.2f mm in the first and %.2f mm in the second, and the U of each change holds both; but thin plates and sharp crests are lost in the coarser one, and read as a change", one, other)
}

// place returns where a point of the second scan lies in the first, mm.
func (c *comparison) place(p r3.Vec) r3.Vec { return c.t.Inverse().Apply(p) }
