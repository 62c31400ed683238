package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// When a second edge is worth a try, and when it is believed: thin soft tissue and the air behind it
// may look like one wide edge, and one wide edge like the two.

// mucosaMisfit is the misfit, as a share of the step to cortex, from which a second edge is worth a
// try. Two edges 0.5 mm apart taken for one leave 2 % at a blur of 0.2 mm, more when farther apart.
const mucosaMisfit = 0.015

// misfits reports whether the fit leaves more than noise, or has a blur unlike the series': then
// another stack of layers is worth a try. Before the series is known, every thorough fit is.
func (w *Wall) misfits(begin *estimate, t Tissue, how effort) bool {
	noise := begin.noise
	if t.known() {
		noise = math.Min(noise, 1.1*t.Noise) // a tenth more by chance; our choice, it decides what is tried and not what is believed
	}
	misfit := beyond(w.noise, noise)
	if misfit > mucosaMisfit*(w.p[pG1]-w.p[pG0]) {
		return true
	}
	return how.all && !t.known() || t.known() && math.Abs(w.p[pSigma]-t.Blur) > 3*t.BlurSD
}

// leastMucosa is how thick a layer must be to be told from voxels that hold two tissues, in voxels of the
// coarsest direction. Our choice: a voxel's own partial volume is spread over one.
const leastMucosa = 0.75

// isMucosa reports whether the layer that the fit has on the bone can be mucosa: not as thin as what voxels
// share between two tissues, and of the series' soft tissue. Anything else is the fit's way to widen
// an edge.
func (w *Wall) isMucosa(f reformat.Field, t Tissue) bool {
	_, most := f.Voxel()
	return w.p[pGamma] > leastMucosa*most && (!t.known() || math.Abs(w.p[pG0]-t.Soft) < 1.5*t.SoftSD)
}

// mucosaGain is by how much a second edge must lower the objective over the same voxels. Noise alone
// gives two more parameters as much as x once in exp(x/2) fits (Wilks SS. Ann Math Stat 1938;9:60–62,
// from memory), and oftener on coarse voxels, of which few lie between two edges. At 16, before the
// series is known, one fit in 150 on voxels of 0.4 mm had a mucosa that was not there; at 30, none in
// 1200. Afterwards the known grey values forbid such a mucosa, and 16 finds one of 0.5 mm there in nine
// fits of ten.
func mucosaGain(t Tissue) float64 {
	if t.known() {
		return 16
	}
	return 30
}

// misfitFloor is the misfit of an edge, as a share of its step, that asks for no explanation: a blur that is
// not Gaussian and voxels that hold two tissues leave as much. It matters in images without noise.
const misfitFloor = 0.02

// gain returns by how much two lowers the objective over the voxels of the window, in squares of the
// noise that the residuals themselves show, and a misfit of that floor (no unit).
func (w *Wall) gain(two *Wall) float64 {
	n := float64(len(w.seen))
	seen := layerFit{grains: w.seen, noise: w.noise}
	left := n * math.Pow(misfitFloor*(w.p[pG1]-w.p[pG0])/w.noise, 2)
	return n * math.Log((seen.cost(&w.p)+left)/(seen.cost(&two.p)+left))
}
