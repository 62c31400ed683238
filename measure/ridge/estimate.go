package ridge

import (
	"math"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// beyondReach is the depth of a layer that is not there, mm: no voxel of a patch comes near it.
const beyondReach = 50

// estimate is where a fit begins: first guesses read off the mean profile along the normal, which
// layers there are, and how far along the normal the model can be trusted.
type estimate struct {
	p         params
	plate     bool // an inner surface of the plate is in reach
	mucosa    bool // air behind thin soft tissue is in reach
	low, high float64
	noise     float64 // SD of the voxels where the profile is flat, grey values
	most      int     // voxels that the fit may see

	seen profile // the mean profile it was read off
	edge int     // the bin of the edge
}

// softShare is where the grey value of soft tissue lies between air and cortical bone: about 0 of
// −1000 and 1600 in an image whose grey values resemble Hounsfield units. Only where a fit begins.
const softShare = 0.4

// withMucosa is the same start with a layer of soft tissue and air beyond it, where the profile
// shows only one edge: its lower part is then taken for the soft tissue's edge, its upper part for
// the bone's.
func (o *estimate) withMucosa(t ImageModel) *estimate {
	out := *o
	out.mucosa = true
	air, cortex := o.p[pG0], o.p[pG1]
	soft := air + softShare*(cortex-air)
	if t.known() && t.Soft > air+0.2*(cortex-air) && t.Soft < air+0.7*(cortex-air) {
		soft = t.Soft
	}
	out.p[pGA], out.p[pG0] = air, soft
	out.p[pE] = o.seen.crossing(o.edge, (soft+cortex)/2)
	out.p[pGamma] = math.Max(0.3, out.p[pE]-o.seen.crossing(o.edge, (air+soft)/2))
	if !t.known() {
		out.p[pSigma] = 0.6 * o.p[pSigma]
	}
	return &out
}

// active returns the parameters that the fit moves.
func (o *estimate) active() []int {
	a := []int{pE, pSX, pST, pCXX, pCXT, pCTT, pCub, pG0, pG1, pSigma}
	if o.plate {
		a = append(a, pG2, pTau, pTauX, pTauXX)
	}
	if o.mucosa {
		a = append(a, pGA, pGamma)
	}
	return a
}

// rounding keeps what lies exactly on the border between two bins in the same one however the
// patient lies: voxels of 0.4 mm and steps of half a voxel make such borders.
const rounding = 1e-6

// profile is the mean grey value in bins along the normal.
type profile struct {
	low, step float64
	grey      []float64 // NaN where a bin is empty
}

func (p profile) at(i int) float64 { return p.low + (float64(i)+0.5)*p.step }
func (p profile) bin(n float64) int {
	return max(0, min(len(p.grey)-1, int((n-p.low)/p.step+rounding)))
}

// average bins the samples by N; empty bins lie between their neighbours.
func average(all []reformat.VoxelSample, low, high, step float64) profile {
	n := int((high - low) / step)
	p := profile{low, step, make([]float64, n)}
	count := make([]float64, n)
	for _, g := range all {
		if i := int((g.N-low)/step + rounding); g.N >= low && i < n {
			p.grey[i] += g.Grey
			count[i]++
		}
	}
	for i := range p.grey {
		p.grey[i] /= count[i]
	}
	p.bridge()
	return p.smooth()
}

// bridge fills empty bins on the straight line between their neighbours, and beyond the first and
// the last full bin with its value.
func (p profile) bridge() {
	last := -1
	for i, g := range p.grey {
		if g != g {
			continue
		}
		for j := last + 1; j < i; j++ {
			p.grey[j] = g
			if last >= 0 {
				p.grey[j] = p.grey[last] + (g-p.grey[last])*float64(j-last)/float64(i-last)
			}
		}
		last = i
	}
	for j := last + 1; j < len(p.grey) && last >= 0; j++ {
		p.grey[j] = p.grey[last]
	}
}

// smooth applies the binomial filter 1-2-1 once: enough to tame single bins, narrow against any
// scanner's blur.
func (p profile) smooth() profile {
	out := make([]float64, len(p.grey))
	for i := range p.grey {
		out[i] = (p.grey[max(0, i-1)] + 2*p.grey[i] + p.grey[min(len(p.grey)-1, i+1)]) / 4
	}
	p.grey = out
	return p
}

// initialEstimate reads the layers off the mean profile of the samples near the normal. It reports false where
// grey values do not rise inward as at a bone surface.
//
// The fractions in it decide only where a fit starts and which voxels it sees, not what it says: our choice, and start_test.go
// shakes what comes of them.
func initialEstimate(all []reformat.VoxelSample, depth, s float64, t ImageModel) (*estimate, bool) {
	if len(all) < 30 {
		return nil, false
	}
	p := average(all, -patchOutside*s, patchInside*s, 0.12*s)
	edge := p.steepest(-1.1*s, 1.1*s)
	if edge < 0 {
		return nil, false
	}
	peak := p.climb(edge, +1, 1.8*s)
	foot := p.descend(edge, -1, 1.6*s)
	rise := p.grey[peak] - p.grey[foot]
	if !(rise > 0) {
		return nil, false
	}
	half := p.crossing(edge, p.grey[foot]+rise/2)
	out := &estimate{seen: p, edge: edge}
	out.p[pE] = half
	out.p[pG0], out.p[pG1], out.p[pG2] = p.grey[foot], p.grey[peak], p.grey[peak]
	out.p[pGA] = p.grey[foot]
	out.p[pTau], out.p[pGamma] = beyondReach, beyondReach // until a layer is seen
	out.p[pSigma] = math.Max(0.08, math.Min(0.45*(p.at(peak)-half), 0.6*s))
	if t.known() {
		out.p[pSigma], out.p[pG1] = t.Blur, math.Max(t.Cortex, p.grey[peak])
	}
	out.inside(p, peak, half, rise, s)
	out.opposite(half+depth, half, s)
	out.outside(p, foot, half, rise, s)
	out.noise = p.noise(all)
	return out, true
}

// inside looks for the inner surface of the plate and sets how far inward the model holds.
func (o *estimate) inside(p profile, peak int, half, rise, s float64) {
	low := peak
	for i := peak; i < len(p.grey) && p.at(i) < half+4*s; i++ {
		if p.grey[i] < p.grey[low] {
			low = i
		}
		if p.grey[i] > p.grey[low]+0.25*rise { // the next plate or trabecula
			break
		}
	}
	if p.grey[peak]-p.grey[low] < 0.15*rise {
		o.high = half + plateauReach*s
		return
	}
	o.plate = true
	inner := peak
	for inner < low && p.grey[inner] > (p.grey[peak]+p.grey[low])/2 {
		inner++
	}
	o.p[pG2] = p.grey[low]
	o.p[pTau] = math.Max(0.15*s, p.at(inner)-half)
	o.high = math.Min(p.at(inner)+0.9*s, p.at(min(len(p.grey)-1, low+2)))
	o.high = math.Max(o.high, p.at(inner)+0.35*s)
}

// How far behind the outer surface a fit without an inner one looks, mm, for voxels up to 0.45 mm, and how many sigma of
// the blur farther an inner surface has to be not to show there. Our choice.
const (
	plateauReach = 1.3
	untouched    = 3.0
)

// deep reports whether an inner surface as far behind the outer one as p has it does not show where the outer one is seen.
func (p *params) deep(s float64) bool { return p[pTau] > plateauReach*s+untouched*p[pSigma] }

// leaveInner takes an inner surface that lies deep out of the fit.
func (o *estimate) leaveInner(s float64) {
	if o.plate && o.p.deep(s) {
		o.plate = false
		o.p[pTau], o.p[pG2] = beyondReach, o.p[pG1]
		o.high = math.Min(o.high, o.p[pE]+plateauReach*s)
	}
}

// opposite keeps the fit off the bone's opposite surface, far mm along the normal: in a thin ridge
// the profile falls there too, but that fall is no inner surface of a plate.
func (o *estimate) opposite(far, half, s float64) {
	if o.plate && half+o.p[pTau] > far-0.6*s {
		o.plate = false
		o.p[pTau], o.p[pG2] = beyondReach, o.p[pG1]
	}
	o.high = math.Min(o.high, math.Max(far-2*o.p[pSigma], half+o.p[pSigma]))
}

// outside looks for where the tissue outside stops being one layer: air behind thin soft tissue
// becomes a layer of its own, anything else cuts the window short.
func (o *estimate) outside(p profile, foot int, half, rise, s float64) {
	o.low = p.low
	g0 := p.grey[foot]
	for i := foot; i >= 0; i-- {
		switch d := p.grey[i] - g0; {
		case d > 0.2*rise: // another bone or a tooth
			o.low = p.at(i) + 0.25*s
			return
		case d < -0.2*rise:
			o.beyond(p, i, foot, half, rise, s)
			return
		}
	}
}

// beyond decides what to do about darker tissue that begins at bin i.
func (o *estimate) beyond(p profile, i, foot int, half, rise, s float64) {
	if half-p.at(i) > 2.6*o.p[pSigma]+0.5*s { // far enough: end the window before it
		o.low = p.at(i) + 1.2*o.p[pSigma]
		return
	}
	dark := p.descend(i, -1, 1.5*s)
	o.mucosa = true
	o.p[pGA] = p.grey[dark]
	middle := (p.grey[foot] + p.grey[dark]) / 2
	at := i
	for at > dark && p.grey[at] > middle {
		at--
	}
	o.p[pGamma] = math.Max(0.1*s, half-p.at(at))
	o.low = math.Max(p.low, p.at(dark)-0.4*s)
}

// steepest returns the bin in low…high mm where the profile rises most over three bins, −1 when it
// rises nowhere.
func (p profile) steepest(low, high float64) int {
	best, at := 0.0, -1
	for i := max(1, p.bin(low)); i <= min(len(p.grey)-2, p.bin(high)); i++ {
		// an edge a little further from where it was expected must be steeper to be believed
		if d := (p.grey[i+1] - p.grey[i-1]) * (1 - 0.25*math.Abs(p.at(i))/high); d > best {
			best, at = d, i
		}
	}
	return at
}

// climb follows the profile uphill from bin i in direction dir for at most reach mm and returns
// the first top that is not followed by a higher one within the reach.
func (p profile) climb(i, dir int, reach float64) int {
	return p.extreme(i, dir, reach, func(a, b float64) bool { return a > b })
}

// descend is climb downhill, stopping where the fall has levelled out.
func (p profile) descend(i, dir int, reach float64) int {
	return p.extreme(i, dir, reach, func(a, b float64) bool { return a < b })
}

func (p profile) extreme(i, dir int, reach float64, better func(a, b float64) bool) int {
	best := i
	first := math.Abs(p.grey[min(len(p.grey)-1, i+1)] - p.grey[max(0, i-1)])
	for j := i; j >= 0 && j < len(p.grey) && math.Abs(p.at(j)-p.at(i)) <= reach+rounding; j += dir {
		if better(p.grey[j], p.grey[best]) {
			if j != i && math.Abs(p.grey[j]-p.grey[best]) < 0.04*first {
				return best // levelled out: what follows is another layer
			}
			best = j
		} else if math.Abs(p.grey[j]-p.grey[best]) > 0.3*first {
			break
		}
	}
	return best
}

// crossing returns where the profile passes level nearest to bin i, in mm.
func (p profile) crossing(i int, level float64) float64 {
	for d := range len(p.grey) {
		for _, j := range [2]int{i - d, i + d} {
			if j < 0 || j+1 >= len(p.grey) {
				continue
			}
			a, b := p.grey[j], p.grey[j+1]
			if a <= level && b > level {
				return p.at(j) + p.step*(level-a)/(b-a)
			}
		}
	}
	return p.at(i)
}

// noise returns the SD of the samples about the profile where it is flat, in grey values: the fifth
// of its bins with the smallest slope.
func (p profile) noise(all []reformat.VoxelSample) float64 {
	slope := make([]float64, len(p.grey))
	for i := range slope {
		slope[i] = math.Abs(p.grey[min(len(p.grey)-1, i+1)] - p.grey[max(0, i-1)])
	}
	flat := fit.Quantile(slope, 0.2)
	var off []float64
	for _, g := range all {
		if i := p.bin(g.N); slope[i] <= flat {
			off = append(off, math.Abs(g.Grey-p.grey[i]))
		}
	}
	return fit.Scatter(off)
}
