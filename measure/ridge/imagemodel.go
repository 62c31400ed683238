package ridge

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/fit"
)

// EstimateImage puts together what stations along the arch teach about the series: its blur, the grey values of
// cortex, soft tissue and marrow, and its noise. Only walls that tell blur from cortex count, and of
// those only the walls of cortical bone, however many roots, crowns or pieces of metal were met.
//
// The result is known only when at least three walls could teach it and what they say is plausible.
// Else the grey values are those beside the stations' coarse outlines, enough to tell air from tissue
// and bone, and [ImageModel.Cautions] says so. The order of the stations does not matter, but for the last
// bits of sums.
func EstimateImage(stations []Station) ImageModel {
	c := coarseOf(stations)
	all, telling := wallsOf(stations)
	t := modelOf(c.cortical(slices.DeleteFunc(slices.Clone(telling), (*SurfacePatch).thin)))
	if !t.known() {
		t = modelOf(c.cortical(telling))
	}
	if !t.known() || !c.confirms(t) {
		t = modelOf(all)
		if len(all) == 0 {
			t.Marrow = c.soft
		}
		t.Edges, t.Soft, t.Cortex = 0, c.soft, c.cortex
	}
	t.stations = c.stations
	return t
}

// Cautions returns what a reader of every number of the series must know about what it taught; empty:
// nothing.
func (t ImageModel) Cautions() []string {
	if t.known() {
		return nil
	}
	return []string{fmt.Sprintf("blur and grey values of bone could not be learnt from this series (bone seen at %d stations along the arch): the grey values beside its outlines stand in, thin plates are less sure, and roots, implants and metal are not told from bone", t.stations)}
}

// fewTell is the number of telling walls below which the stations' other walls are tried too: small fields
// hold few stations. Our choice.
const fewTell = 12

// wallsOf returns the stations' walls, and those of them that tell blur from cortex.
func wallsOf(stations []Station) (all, telling []*SurfacePatch) {
	n := 0
	for i := range stations {
		n += stations[i].telling()
	}
	for _, st := range stations {
		if n < fewTell {
			st.walls = slices.Clip(st.walls) // the caller's station keeps its own
			st.learn(len(stationWalls))
		}
		for _, w := range st.walls {
			if all = append(all, w); w.tells() {
				telling = append(telling, w)
			}
		}
	}
	return all, telling
}

// coarseLevels are the grey values beside the stations' coarse outlines: the median of the soft ones, and
// of the others the dimmest common kind.
type coarseLevels struct {
	soft, cortex float64
	stations     int // that showed bone
}

// leastContrastOf is the share of the step that a quarter of the stations surpass below which a station's outline bounds no
// bone: in a small field most stations may lie past the jaw, and what they outline is noise. Our choice; thin plates
// beside metal have twice as much.
const leastContrastOf = 0.1

func coarseOf(stations []Station) (c coarseLevels) {
	var steps, soft, cortex []float64
	for _, st := range stations {
		if st.outline != nil {
			steps = append(steps, st.cortex-st.soft)
		}
	}
	least := leastContrastOf * fit.Quantile(steps, 0.75)
	for _, st := range stations {
		if st.outline != nil && st.cortex-st.soft > math.Max(0, least) {
			soft, cortex = append(soft, st.soft), append(cortex, st.cortex)
		}
	}
	c = coarseLevels{soft: fit.Median(soft), stations: len(soft)}
	slices.Sort(cortex)
	c.cortex = c.kind(cortex)
	return c
}

// What is taken for one kind of tissue: walls whose brightness lies within alike of the step from soft
// tissue to it. Dentine is brighter than cortical bone by a fifth of its step and more, see denser; the
// bone of one scan varies by less. A kind counts when it has a share of the walls that the commonest has:
// some dim walls are no kind. Our choice; three quarters of all walls may be of teeth or metal.
const (
	alike       = 0.1
	commonShare = 0.25
)

// cortical returns those of the walls that are of the dimmest kind that is common: cortical bone is
// dimmer than dentine, enamel and metal. A wall that is not much brighter than what lies outside the
// bone, as the skin, is none.
func (c coarseLevels) cortical(walls []*SurfacePatch) []*SurfacePatch {
	least := c.soft + 0.5*(c.cortex-c.soft)
	bright := make([]float64, 0, len(walls))
	for _, w := range walls {
		if w.p[pG1] > least {
			bright = append(bright, w.p[pG1])
		}
	}
	slices.Sort(bright)
	middle := c.kind(bright)
	return slices.DeleteFunc(slices.Clone(walls), func(w *SurfacePatch) bool {
		return w.p[pG1] <= least || math.Abs(w.p[pG1]-middle) > alike*(middle-c.soft)
	})
}

// kind returns the middle of the dimmest common kind of sorted grey values; 0 for none.
func (c coarseLevels) kind(sorted []float64) (middle float64) {
	near := func(x float64) (like []float64) {
		for _, y := range sorted {
			if math.Abs(y-x) <= alike*(x-c.soft) {
				like = append(like, y)
			}
		}
		return like
	}
	most := 0
	for _, x := range sorted {
		most = max(most, len(near(x)))
	}
	for _, x := range sorted {
		if n := len(near(x)); n == 0 || float64(n) < commonShare*float64(most) {
			continue
		}
		for range len(sorted) { // uphill to where most lie
			next := fit.Median(near(x))
			if next == x {
				break
			}
			x = next
		}
		return x
	}
	return 0
}

// What is plausible: a step between leastStep and mostStep times that beside the coarse outlines, where a
// thin plate shows half its brightness, walls whose blurs agree, and as many walls as a share of the
// stations that showed bone: where hardly a wall tells, those that seem to may agree in a mistake. Our
// choice; of 31 stations in an upper jaw moved by 0.9 mm, 4 walls told a cortex dimmer by a third.
const (
	leastStep, mostStep = 0.6, 3.0
	mostScatter         = 0.5 // SD of the blur, as a share of it
	leastShare          = 0.2 // walls a station
)

// confirms reports whether the coarse pass bears out what was learnt.
func (c coarseLevels) confirms(t ImageModel) bool {
	seen, step := c.cortex-c.soft, t.Cortex-t.Soft
	agree := seen > 0 && step > leastStep*seen && step < mostStep*seen && t.BlurSD < mostScatter*t.Blur
	return agree && float64(t.Edges) >= leastShare*float64(c.stations)
}

// modelOf returns the model that walls give.
func modelOf(walls []*SurfacePatch) ImageModel {
	var noise, blur, cortex, soft, marrow, blurSD, cortexSD []float64
	var pooled lags
	for _, w := range walls {
		pooled.add(w.lags)
		noise = append(noise, w.noise)
		blurSD, cortexSD = append(blurSD, w.spread(only(pSigma))), append(cortexSD, w.spread(only(pG1)))
		blur = append(blur, w.p[pSigma])
		cortex = append(cortex, w.p[pG1])
		soft = append(soft, w.p[pG0])
		if w.plate {
			marrow = append(marrow, w.p[pG2])
		}
	}
	t := ImageModel{Edges: len(walls), Noise: fit.Median(noise), correlation: pooled.correlation()}
	t.Blur, t.BlurSD = middle(blur)
	t.Cortex, t.CortexSD = middle(cortex)
	t.Soft, t.SoftSD = middle(soft)
	t.Soft = oneOfTwo(soft, t.Soft, t.Cortex)
	t.Marrow = t.Soft
	if len(marrow) > 0 {
		t.Marrow = fit.Median(marrow)
	}
	step, n := t.Cortex-t.Soft, len(walls)
	t.BlurSD = varies(t.BlurSD, fit.Median(blurSD), leastSpread*t.Blur, n)
	t.CortexSD = varies(t.CortexSD, fit.Median(cortexSD), leastSpread*step, n)
	t.SoftSD = varies(t.SoftSD, 0, leastSpread*step, n)
	return t
}

// twoTissues is the share of the step to cortex by which soft tissue and air differ at least. Our choice.
const twoTissues = 0.25

// oneOfTwo returns the median, or where half of the walls border on air and half on soft tissue, so that it lies
// between the two and is neither's grey value, that of the brighter middle one.
func oneOfTwo(values []float64, mid, cortex float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	if n := len(sorted); n > 0 && n%2 == 0 {
		if low, high := sorted[n/2-1], sorted[n/2]; high-low > twoTissues*(cortex-high) {
			return high
		}
	}
	return mid
}

// varies returns how much a quantity differs from wall to wall and from the median of n of them, in its
// unit, from the scatter that was seen and that of each fit by itself; never less than least. A scatter
// seen in a few is believed less.
func varies(seen, each, least float64, n int) float64 {
	few := float64(max(1, n))
	return (1 + 1/few) * math.Max(least, math.Hypot(beyond(seen, each), medianNoise*seen/math.Sqrt(few)))
}

// medianNoise is the standard deviation of the median of n normal values times √n over theirs, √(π/2):
// of many, as common in texts on statistics (from memory).
const medianNoise = 1.2533

// tells reports whether the fit tells how wide the blur is and how bright the cortex: a thin plate in
// noise may be bright and thin or dim and thick, and shows its grey value where the fit says so.
func (w *SurfacePatch) tells() bool {
	if w.spread(only(pSigma)) > 0.25*w.p[pSigma] {
		return false
	}
	return !w.thin() || w.spread(only(pG1)) < 0.1*(w.p[pG1]-w.p[pG0]) // its brightness is known to a tenth; our choice
}

// thin reports whether the wall's plate is too thin to show its grey value beyond doubt. From phantoms with
// plates of 0.6 to 1 mm: what plates under 3.5 sigma tell is too dim by up to a tenth of the step.
func (w *SurfacePatch) thin() bool { return w.plate && w.p[pTau] < 3.5*w.p[pSigma] }

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
	mid = fit.Median(x)
	off := make([]float64, len(x))
	for i, v := range x {
		off[i] = math.Abs(v - mid)
	}
	return mid, fit.Scatter(off)
}
