package ridge

import (
	"errors"
	"fmt"
	"math"
)

// What the image does not support is not said. A fit explains the voxels by layers, blur and
// noise. What is left over and goes together over a millimetre, as noise does not, is a
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

// disturbance returns what the residuals hold that goes together over farLag, as an SD in grey
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

func (w *Wall) disturbance() float64 { return w.lags.disturbance(w.noise) }

// shift returns how far a disturbance of the wall's grey values may have moved its edge, in mm:
// the wall's own, or the site's where that is larger.
func (o *Outline) shift(w *Wall) float64 {
	step := w.p[pG1] - w.p[pG0]
	if t := o.tissue; t.known() {
		step = math.Min(step, 1.5*(t.Cortex-t.Soft))
	}
	d := math.Max(w.disturbance(), o.site.disturbance)
	return hidden * d * w.p[pSigma] * math.Sqrt(2*math.Pi) / step
}

// trusted returns [ErrDisturbed] (wrapped) where the edge of w cannot be believed.
func (o *Outline) trusted(w *Wall) error {
	if s := o.shift(w); s > grossShift {
		return fmt.Errorf("%w near (%.1f, %.1f) mm: the edge may be off by %.1f mm or more (streaks, rings, motion, or another body)", ErrDisturbed, w.at.U, w.at.V, s)
	}
	return nil
}

// siteTrust is what the sampled walls of one site say about its image.
type siteTrust struct {
	disturbance float64 // grey values
	sharpest    float64 // least and largest blur of its walls, mm
	widest      float64
}

// weigh sums up the sampled walls.
func (o *Outline) weigh() {
	var all lags
	var noise, blur []float64
	for _, w := range o.walls {
		all.add(w.lags)
		noise = append(noise, w.noise)
		if w.spread(only(pSigma)) < 0.25*w.p[pSigma] {
			blur = append(blur, w.p[pSigma])
		}
	}
	o.site.disturbance = all.disturbance(median(noise))
	o.site.sharpest, o.site.widest = quantile(blur, 0), quantile(blur, 1)
}
