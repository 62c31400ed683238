package ridge

import (
	"errors"
	"fmt"
	"math"

	"ridgerule/measure/fit"
)

// What the image does not support is not said. A fit explains the voxels by layers, blur and
// noise. What is left over and is correlated over a millimetre, as noise is not, is a
// disturbance d of the grey values: streaks, rings, doubled edges, a neighbour. It moves an edge of
// step S under a blur σ by about
//
//	shift = d / (S/(σ·√(2π)))
//
// the disturbance over the steepest slope of the blurred edge. While that is small, it joins the
// budget as a part of the edge rule; when it is not, there is no number.

// ErrDisturbed says that the image near an edge is not what bone, blur and noise make: metal
// streaks, rings, motion or another body. The message says by how much.
var ErrDisturbed = errors.New("the image is disturbed")

// hidden is by how much a disturbance is larger than what it leaves in the residuals of a fit, the
// rest having been taken for layers and shape. From the runs of docs/accuracy-hard.md.
const hidden = 1.5

// grossShift is the shift of an edge, mm, past which no number is given. Our choice: twice that is
// the uncertainty at which a width of two such edges no longer tells one implant size from the next.
const grossShift = 0.2

// disturbance returns what the residuals hold that is correlated over farLag, as an SD in grey
// values.
func (l *lags) disturbance(noise float64) float64 {
	far := 0.0
	for a := range l.product {
		if l.rho(a, 0) > 0 {
			far = math.Max(far, l.rho(a, lagMost))
		}
	}
	return noise * math.Sqrt(far)
}

func (w *SurfacePatch) disturbance() float64 { return w.lags.disturbance(w.noise) }

// misfit returns what the residuals hold beyond the series' noise, as an SD in grey values: layers that
// are not as the model has them, as where the sinus' floor meets the wall.
func (w *SurfacePatch) misfit(t ImageModel) float64 {
	if !t.known() {
		return 0
	}
	return beyond(w.noise, noiseVaries*t.Noise)
}

// noiseVaries is by how many times the noise at a place may exceed the series' by itself. Our choice.
const noiseVaries = 1.3

// shift returns how far a disturbance of the wall's grey values may have moved its edge, in mm:
// the wall's own, or the site's where that is larger.
func (o *Ridge) shift(w *SurfacePatch) float64 {
	step := w.p[pG1] - w.p[pG0]
	if t := o.model; t.known() {
		step = math.Min(step, 1.5*(t.Cortex-t.Soft)) // a brighter edge is no steeper one: metal; our choice
	}
	d := max(w.disturbance(), w.misfit(o.model), o.site.disturbance)
	return math.Hypot(hidden*d*w.p[pSigma]*math.Sqrt(2*math.Pi)/step, smearTerm*o.site.smear)
}

// trusted returns [ErrDisturbed] (wrapped) where the edge of w cannot be believed, and [ErrNoEdge] where soft tissue lies on
// both sides of it, or air outside.
func (o *Ridge) trusted(w *SurfacePatch) error {
	if w.p[pG1] < o.model.leastBone() {
		return fmt.Errorf("%w: (%.1f, %.1f) mm: what begins there is no brighter than soft tissue", ErrNoEdge, w.at.U, w.at.V)
	}
	if s := o.shift(w); s > grossShift {
		return fmt.Errorf("%w near (%.1f, %.1f) mm: the edge may be off by %.1f mm or more (streaks, rings, motion, or another body)", ErrDisturbed, w.at.U, w.at.V, s)
	}
	return nil
}

// siteTrust is what the sampled walls of one site say about its image.
type siteTrust struct {
	disturbance float64 // grey values
	smear       float64 // how much farther edges are drawn apart one way than another, mm
	wide        int     // walls whose blur is far above the sharpest
	sampled     int
}

// Of a site's sampled walls. From the runs of docs/accuracy-hard.md: an image moved by more than
// about half a millimetre shows as doubled edges, and what a fit makes of two edges is arbitrary.
const (
	grossSmear = 0.6  // mm
	grossWide  = 3    // walls
	smearTerm  = 0.05 // of the smear, in an edge's U
)

// sample fits walls at a few places of the ridge without measuring anything: both sides at 3, 5 and 7 mm
// below the crest, and the crest.
func (o *Ridge) sample() {
	a, err := o.coarseAxis(down, false)
	if err != nil {
		return
	}
	if h, err := o.top(a.At(0.5), a.Dir); err == nil {
		_, _, _ = o.edge(a.At(0.5), a.Dir, h)
	}
	for _, d := range []float64{3, 5, 7} {
		if d < 0.8*o.reach(a) { // above where the outline turns under the ridge; our choice
			_, _ = o.chord(a.At(d), a.Side())
		}
	}
}

// weigh sums up the sampled walls.
//
// A scan that is the mean of two copies D apart along a direction has the blur √(σ² + D²/4) there:
// D = 2·√(σ₁² − σ₀²) between a wide and a sharp edge. Chance and the model's own error, 5 % of a
// blur, are taken off first.
func (o *Ridge) weigh() {
	_, most := o.field.Voxel()
	o.site = siteTrust{disturbance: o.shared(), sampled: len(o.walls)}
	alike := o.alike()
	low, high := blurs(alike)
	if len(low) == 0 {
		return
	}
	sharp := math.Inf(1)
	for _, w := range alike {
		sharp = math.Min(sharp, w.p[pSigma]+w.spread(only(pSigma)))
	}
	sharp = math.Max(sharp, 0.5*most)
	for _, w := range alike {
		if w.p[pSigma]-w.spread(only(pSigma)) > 1.7*sharp { // copies 2.7 σ apart; our choice
			o.site.wide++
		}
	}
	if len(low) < 3 {
		return
	}
	sharp = math.Max(fit.Quantile(high, 0), 0.5*most)
	// either most edges are wide and one is sharp, or one is wide and most are sharp
	for _, pair := range [2][2]float64{{sharp, fit.Quantile(low, 0.5)}, {math.Max(fit.Quantile(high, 0.5), 0.5*most), fit.Quantile(low, 1)}} {
		if pair[1] > pair[0] {
			o.site.smear = math.Max(o.site.smear, 2*math.Sqrt(pair[1]*pair[1]-pair[0]*pair[0]))
		}
	}
}

// shared returns the disturbance of the site, in grey values: what the sampled walls have in common. A
// wall that is fitted worse than the others, beside a sinus or at a sharp crest, has no say: that is its
// own misfit.
func (o *Ridge) shared() float64 {
	noise := make([]float64, len(o.walls))
	for i, w := range o.walls {
		noise[i] = w.noise
	}
	usual := fit.Median(noise)
	var all lags
	for _, w := range o.walls {
		if w.noise <= noiseVaries*usual {
			all.add(w.lags)
		}
	}
	return all.disturbance(usual)
}

// tooBright is the share of the step to cortex by which a wall may be brighter than the others' median. Our choice.
const tooBright = 0.25

// alike returns the sampled walls that tell of motion. A plate far brighter than the others' does not: a thin one before
// textured marrow fits as a bright one in a wide blur too, and motion makes no plate brighter. Nor does a wall that
// borders on air where others border on soft tissue: the mucosa between is a wide edge by itself.
func (o *Ridge) alike() (out []*SurfacePatch) {
	plate, beside := make([]float64, len(o.walls)), make([]float64, len(o.walls))
	for i, w := range o.walls {
		plate[i], beside[i] = w.p[pG1], w.p[pG0]
	}
	bright := fit.Median(plate) + tooBright*(fit.Median(plate)-fit.Median(beside))
	dark := fit.Quantile(beside, 1) - twoTissues*(fit.Median(plate)-fit.Quantile(beside, 1))
	for _, w := range o.walls {
		if w.p[pG1] <= bright && w.p[pG0] >= dark {
			out = append(out, w)
		}
	}
	return out
}

// blurs returns the least and the largest blur that each well-determined wall may have, mm.
func blurs(walls []*SurfacePatch) (low, high []float64) {
	for _, w := range walls {
		sigma, sd := w.p[pSigma], w.spread(only(pSigma))
		if sd < 0.25*sigma { // else it tells nothing; our choice
			off := math.Max(3*sd, leastSpread*sigma)
			low, high = append(low, sigma-off), append(high, sigma+off)
		}
	}
	return low, high
}

// Trusted returns [ErrDisturbed] (wrapped) where the image at the site does not support any number:
// edges drawn apart as by motion.
func (o *Ridge) Trusted() error {
	if o.site.wide >= grossWide || o.site.smear > grossSmear {
		return fmt.Errorf("%w at this site: its edges are doubled or drawn apart (%d of %d edges far wider than the sharpest), as when the patient moved; scan again, or measure elsewhere", ErrDisturbed, o.site.wide, o.site.sampled)
	}
	return nil
}

// Cautions returns what a reader of the site's numbers must know about its image; empty: nothing.
func (o *Ridge) Cautions() []string {
	var out []string
	if s := o.site.smear; s > 0.2 {
		out = append(out, fmt.Sprintf("edges are drawn apart by about %.1f mm in one direction, as by a small movement or thick slices: uncertainties are larger here", s))
	}
	if t := o.model; t.known() && o.site.disturbance > 0.02*(t.Cortex-t.Soft) { // a misfit that asks for no explanation, see misfitFloor
		out = append(out, "streaks, rings or the like disturb the image here: uncertainties are larger here")
	}
	return out
}
