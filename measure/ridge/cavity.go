package ridge

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// ErrNoCavity says that no air-filled cavity was found along the axis.
var ErrNoCavity = errors.New("ridge: no cavity found along the axis")

// ErrFloor says that air was met along the axis, but that the edge of the bone before it cannot be told.
var ErrFloor = errors.New("ridge: floor of the cavity not found")

// Where air ends, in steps from the series' soft tissue to cortex. Where grey values resemble Hounsfield units (air −1000,
// soft tissue 50, cortex 1600) air lies 0.7 of a step below soft tissue: the bound is nearly half-way. Where marrow lies more
// than half a step over what was learnt as soft, that was air, and soft tissue lies 0.4 of the step above it. Our choice; it
// decides whether there is a cavity, and moves no fitted floor.
const (
	marrowOverAir  = 0.5
	airUnderMarrow = 0.25
	airUnderSoft   = 0.3
)

// AirLevel returns the grey value (as the series has them) below which there is air, and false when no wall of the series was
// fitted, or bone stands no more out of what lies on it than noise does. Where bone borders on air itself, the tissue learnt as soft is air.
func (t ImageModel) AirLevel() (float64, bool) {
	step := t.Cortex - t.Soft
	if !(step > 0 && step > leastContrast*t.Noise) {
		return 0, false
	}
	if t.Marrow-t.Soft > marrowOverAir*step {
		return t.Soft + airUnderMarrow*step, true
	}
	return t.Soft - airUnderSoft*step, true
}

// core returns the mean grey value in a disc of 0.4 mm about the axis point at depth.
func (o *Outline) core(a Axis, depth float64) float64 {
	const r = 0.4
	p, side := a.At(depth), a.Side()
	sum := o.field.Grey(p, 0) + o.field.Grey(p, r) + o.field.Grey(p, -r)
	return (sum + o.field.Grey(add(p, scale(r, side)), 0) + o.field.Grey(add(p, scale(-r, side)), 0)) / 5
}

// How a cavity's air is looked for: at these steps from this far below the crest, and for so long on end that no marrow space
// is as long. Our choice; they move no fitted floor.
const (
	coreStep  = 0.1 // mm
	firstAir  = 1.0 // mm below the crest
	airStays  = 1.5 // mm
	leastRise = 0.5 // mm below the crest: no floor lies nearer
)

// lumen returns the depth, from 1 mm to most mm, at which air begins along the axis and stays for 1.5 mm;
// false when there is none.
func (o *Outline) lumen(a Axis, most float64) (float64, bool) {
	level, ok := o.model.AirLevel()
	if !ok {
		return 0, false
	}
	run := 0
	for d := firstAir; d < most; d += coreStep {
		g := o.core(a, d)
		if !(g < level) {
			run = 0
			continue
		}
		if run++; float64(run)*coreStep >= airStays {
			return d - float64(run-1)*coreStep, true
		}
	}
	return 0, false
}

// farthestFloor is how far coronal of the air the bone of the cavity's floor may lie: mucosa
// between the two, mm. Twice what is usually seen; our choice.
const farthestFloor = 10.0

// Floor is where a line leaves the bone into an air-filled cavity. The floor's cortex belongs to the bone,
// the mucosa on it does not.
type Floor struct {
	At     reformat.UV        // section mm
	Depth  float64            // of At below the line's crest point, mm
	Budget uncertainty.Budget // of the edge itself, mm: what places the line is not in it

	wall *SurfacePatch
	edge crossing
}

// Floor returns where the line of a meets the floor of a cavity. It returns [ErrNoCavity] where no air is met
// within 40 mm, and [ErrFloor] where air is met whose floor cannot be told.
func (o *Ridge) Floor(a Axis) (Floor, error) {
	air, ok := o.lumen(a, farthestLumen)
	if !ok {
		return Floor{}, ErrNoCavity
	}
	depth, ok := o.floorAbove(a, air)
	if !ok {
		return Floor{}, fmt.Errorf("%w: air but no bony floor before it", ErrFloor)
	}
	w, err := FitPatch(o.field, a.At(depth), scale(-1, a.Dir), depth, o.model)
	if err != nil {
		return Floor{}, fmt.Errorf("%w: %w", ErrFloor, err)
	}
	c, ok := w.outer(a.At(depth), a.Dir)
	if !ok || math.Abs(dot(sub(c.at, a.At(depth)), a.Dir)) > farOff*fitScale(o.field) {
		return Floor{}, fmt.Errorf("%w: %w", ErrFloor, ErrNoEdge)
	}
	_, voxel := o.field.Voxel()
	return Floor{At: c.at, Depth: dot(sub(c.at, a.Crest), a.Dir), wall: w, edge: c, Budget: uncertainty.Budget{
		{Name: "edge noise, floor", Std: c.sd},
		{Name: "edge rule, floor", Std: o.ruleTerm(w, c)},
		{Name: "lining too thin to be told", Std: w.liningTerm(o.model, voxel)}}}, nil
}

// RoughFloor is [Ridge.Floor] without its fit, which steep and narrow floors refuse: good to a voxel or so.
func (o *Outline) RoughFloor(a Axis) (at reformat.UV, depth float64, ok bool) {
	air, ok := o.lumen(a, farthestLumen)
	if !ok {
		return reformat.UV{}, 0, false
	}
	depth, ok = o.floorAbove(a, air)
	return a.At(depth), depth, ok
}

// farthestLumen is how far from the crest the air of a cavity is looked for, mm.
const farthestLumen = 40.0

// Cavity returns where the axis line leaves the bone into an air-filled cavity (maxillary sinus,
// nasal cavity), and the height from the crest to it, in mm; errors as of [Ridge.Floor].
func (o *Ridge) Cavity(a Axis, h Placement) (reformat.UV, uncertainty.Length, error) {
	f, err := o.Floor(a)
	if err != nil {
		return reformat.UV{}, uncertainty.Length{}, err
	}
	budget := append(o.HeightBudget(a, f.Depth, a.farOn(f.wall, f.edge), h), f.Budget...)
	return f.At, uncertainty.Length{Value: f.Depth, Budget: budget}, nil
}

// liningShape is what a lining as thick as the blur's sigma leaves in the residuals of a fit without
// it, as a share of the step from air to bone; it grows with the square of the thickness. From the
// linings that fits found: 0.3 mm at 0.2 mm voxels, not 0.5 mm at 0.4 mm and a blur of 0.3 mm.
const liningShape = 0.005

// liningTerm returns the standard uncertainty of the edge, mm, for a lining that may be there and is not in the fit,
// or is in the fit and may not be there. A lining of unseen thickness moves the edge by about half of that. The same
// doubt stays with a lining that the fit has, the less the thicker that is beside what noise may hide and what voxels
// share between two tissues (voxel: the coarsest spacing, mm): nothing changes at once where one fit is taken for the
// other. 0 where no air is in the fit's reach.
func (w *SurfacePatch) liningTerm(t ImageModel, voxel float64) float64 {
	level, _ := t.AirLevel()
	air, thick := w.p[pG0], 0.0
	if slices.Contains(w.active, pGamma) {
		air, thick = w.p[pGA], w.p[pGamma]
	}
	if !(air < level) {
		return 0
	}
	unseen := w.unseenLining(air)
	share := thick / (unseen + leastMucosa*voxel)
	return uncertainty.Rectangular(unseen/2) * math.Exp(-share*share/2)
}

// unseenLining returns how thick a lining between air (its grey value) and bone may be without standing out of the
// noise, four standard deviations, mm.
func (w *SurfacePatch) unseenLining(air float64) float64 {
	seen := 4 * w.noise / math.Sqrt(float64(w.count)/3) / (w.p[pG1] - air) // a third of the voxels are at the edge
	return w.Blur() * math.Sqrt(seen/liningShape)
}

// floorAbove walks from the air at depth back toward the crest to the bone of the floor and
// returns the depth of its cavity-side edge: the last place brighter than soft tissue by a share
// of the step to cortex. A thin floor under blur shows only part of its contrast.
func (o *Outline) floorAbove(a Axis, air float64) (float64, bool) {
	t := o.model
	soft := t.Soft
	if level, _ := t.AirLevel(); t.Soft < level {
		soft = level
	}
	for _, share := range []float64{0.4, 0.25, 0.15} { // the brightest that is there: our choice, only where the fit begins
		level := soft + share*(t.Cortex-soft)
		for d := air; d > math.Max(leastRise, air-farthestFloor); d -= coreStep {
			if o.core(a, d) > level {
				return d, true
			}
		}
	}
	return 0, false
}
