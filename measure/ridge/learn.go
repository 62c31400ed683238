package ridge

import (
	"math"
	"slices"
)

// Learn estimates what the series has in common from walls already fitted without that knowledge: its
// blur, the grey values of cortex, soft tissue and marrow, and its noise. Only walls that tell blur
// from cortex count.
//
// The result is known only when at least three walls could teach it. Where none could, the grey values
// are those of all walls: enough to tell air from tissue and bone, which is all they are used for.
func Learn(outlines []*Outline) Tissue {
	var all, telling []*Wall
	var noise []float64
	var together lags
	for _, o := range outlines {
		for _, w := range o.walls {
			noise = append(noise, w.noise)
			together.add(w.lags)
			all = append(all, w)
			if w.tells() {
				telling = append(telling, w)
			}
		}
	}
	edges := len(telling)
	if edges == 0 {
		telling = all
	}
	var blur, cortex, soft, marrow, blurSD, cortexSD []float64
	for _, w := range telling {
		blurSD, cortexSD = append(blurSD, w.spread(only(pSigma))), append(cortexSD, w.spread(only(pG1)))
		blur = append(blur, w.p[pSigma])
		cortex = append(cortex, w.p[pG1])
		soft = append(soft, w.p[pG0])
		if w.plate {
			marrow = append(marrow, w.p[pG2])
		}
	}
	t := Tissue{Edges: edges, Noise: median(noise), clump: together.correlation()}
	t.Blur, t.BlurSD = middle(blur)
	t.Cortex, t.CortexSD = middle(cortex)
	t.Soft, t.SoftSD = middle(soft)
	t.bone = lowerKind(cortex, t.Soft)
	t.Marrow = t.Soft
	if len(marrow) > 0 {
		t.Marrow = median(marrow)
	}
	step := t.Cortex - t.Soft
	t.BlurSD, t.CortexSD = math.Hypot(t.BlurSD, median(blurSD)), math.Hypot(t.CortexSD, median(cortexSD))
	few := 1 + 1/float64(max(1, t.Edges)) // a spread seen in a few is believed less
	t.BlurSD = few * math.Max(t.BlurSD, leastSpread*t.Blur)
	t.CortexSD = few * math.Max(t.CortexSD, leastSpread*step)
	t.SoftSD = few * math.Max(t.SoftSD, leastSpread*step)
	return t
}

// tells reports whether the fit tells how wide the blur is and how bright the cortex: a thin plate in
// noise may be bright and thin or dim and thick. From phantoms with plates of 0.7 to 1 mm: plates of 3.5
// sigma show their grey value; thinner ones do where the fit says so.
func (w *Wall) tells() bool {
	if w.spread(only(pSigma)) > 0.25*w.p[pSigma] {
		return false
	}
	return !w.plate || w.p[pTau] >= 3.5*w.p[pSigma] || w.spread(only(pG1)) < 0.1*(w.p[pG1]-w.p[pG0])
}

// lowerKind returns the median of the grey values before the first gap of a quarter of their step
// above soft: what is brighter by that much is a tooth or metal, not cortical bone. Our choice.
func lowerKind(values []float64, soft float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	for i := 1; i < len(sorted); i++ {
		if sorted[i]-sorted[i-1] > 0.25*(sorted[i-1]-soft) && i >= 2 {
			return median(sorted[:i])
		}
	}
	return median(sorted)
}

// leastSpread is the smallest edge-to-edge spread that is believed, as a share: a handful of
// agreeing walls does not make a series uniform. Our choice.
const leastSpread = 0.05

// only returns the derivative vector of a single parameter.
func only(param int) (by params) {
	by[param] = 1
	return by
}

// middle returns the median of x and its spread about it, in x's unit.
func middle(x []float64) (mid, spread float64) {
	mid = median(x)
	off := make([]float64, len(x))
	for i, v := range x {
		off[i] = math.Abs(v - mid)
	}
	return mid, scatter(off)
}

// Use sets what the series has taught and forgets the walls fitted without it.
func (o *Outline) Use(t Tissue) {
	o.weigh()
	o.tissue, o.walls, o.looked = t, nil, false
	o.redraw()
}

// Sample fits the walls at a few places of the ridge for [Learn], without measuring anything:
// both sides at 3, 5 and 7 mm below the crest, and the crest.
func (o *Outline) Sample() {
	a, err := o.coarseAxis(down, false)
	if err != nil {
		return
	}
	if h, err := o.top(a.At(0.5), a.Dir); err == nil {
		_, _, _ = o.edge(a.At(0.5), a.Dir, h)
	}
	for _, d := range []float64{3, 5, 7} {
		if d < 0.8*o.reach(a) {
			_, _ = o.chord(a.At(d), a.Side())
		}
	}
}
