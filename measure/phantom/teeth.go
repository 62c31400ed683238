package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// tooth is one standing tooth: its roots are plan structures, the crown is for looks.
type tooth struct {
	fdi   int
	roots []tube
}

// Mesiodistal place, root and crown of the eight teeth of a quadrant, from the midline.
// Widths of crowns as common in anatomy texts (from memory); the rest is invented.
var (
	toothAt = [2][9]float64{ // arc length of the tooth's middle from the midline, mm
		{0, 2.65, 8.25, 14.65, 21.6, 28.65, 37.7, 48.45, 58.7},
		{0, 4.25, 11.8, 18.9, 26.2, 33.1, 41.6, 51.45, 60.5},
	}
	rootLength  = [9]float64{0, 11, 12, 15, 13, 13, 12, 11, 10}
	rootRadius  = [9]float64{0, 1.5, 1.7, 2.1, 1.9, 2.0, 1.8, 1.7, 1.6}
	crownRadius = [9]float64{0, 2.2, 2.5, 3.2, 3.4, 3.5, 3.9, 3.8, 3.6}
	crownHeight = [9]float64{0, 9, 9, 10, 8.5, 8, 7.5, 7, 6.5}
)

// arcOf returns the arc length of a tooth's middle from the midline, mm, + on the left.
func arcOf(k Kind, fdi int, scale float64) float64 {
	s := toothAt[k][fdi%10] * scale
	if q := fdi / 10; q == 1 || q == 4 {
		return -s
	}
	return s
}

// belongs reports whether fdi is a permanent tooth of the jaw.
func belongs(k Kind, fdi int) bool {
	q, n := fdi/10, fdi%10
	return n >= 1 && n <= 8 && ((k == Maxilla && (q == 1 || q == 2)) || (k == Mandible && (q == 3 || q == 4)))
}

func (h *shape) drawTeeth(list []int, metal bool) {
	for i, fdi := range list {
		h.drawTooth(fdi, metal && i == 0)
	}
}

const neckHeight = 1.2 // of a tooth's neck over the crest, mm

// spread returns how far the two roots of a molar stand from its middle along the arch, mm; 0: one root.
func spread(fdi int) float64 {
	if fdi%10 >= 6 {
		return 2.7
	}
	return 0
}

// rootsOf returns the roots that a tooth has or had, each from its apex to its neck, where the crest has sunk
// by so many mm since.
func (h *shape) rootsOf(fdi int, sunk float64) (roots []tube) {
	n, s := fdi%10, arcOf(h.kind, fdi, h.s.Arch)
	neck := -h.lift(s) - sunk - neckHeight
	lean := math.Copysign(math.Tan(h.s.RootLean*math.Pi/180)*rootLength[n], s)
	for _, side := range []float64{-spread(fdi), spread(fdi)} {
		apex := h.spot(s+1.2*side+lean, neck+1+rootLength[n], 0)
		mid := h.spot(s+1.1*side+lean/2, neck+rootLength[n]*0.5, 0.1)
		top := h.spot(s+side, neck, 0.2)
		r := rootRadius[n]
		roots = append(roots, tube{[]r3.Vec{apex, mid, top}, []float64{0.42 * r, 0.85 * r, 1.1 * r}})
		if side == 0 {
			break
		}
	}
	return roots
}

// drawTooth sets a tooth: its roots with their pulps, and a crown.
func (h *shape) drawTooth(fdi int, metal bool) {
	n, s := fdi%10, arcOf(h.kind, fdi, h.s.Arch)
	neck := -h.lift(s) - neckHeight
	t := tooth{fdi, h.rootsOf(fdi, 0)}
	for i, root := range t.roots {
		side := spread(fdi) * float64(2*i-1)
		chamber := h.spot(s+0.7*side, neck-2, 0.2)
		h.pulps = append(h.pulps, tube{[]r3.Vec{root.path[0], root.path[1], chamber}, []float64{0.2, 0.35, 0.6}})
	}
	h.teeth = append(h.teeth, t)
	h.roots = append(h.roots, t.roots...)
	h.drawCrown(n, s, neck, spread(fdi), metal)
}

// drawCrown sets the enamel, or metal, over a core of dentine.
func (h *shape) drawCrown(n int, s, neck, spread float64, metal bool) {
	shell, core := h.crownTubes(n, s, neck, spread)
	if metal {
		h.metals = append(h.metals, shell...)
	} else {
		h.crowns = append(h.crowns, shell...)
		h.shells = append(h.shells, core...)
	}
}

// crownTubes returns the enamel of a crown, and the dentine under it.
func (h *shape) crownTubes(n int, s, neck, spread float64) (shell, core []tube) {
	r, tall := crownRadius[n], crownHeight[n]
	waist, edge := 0.82*r, 0.9*r
	if n <= 3 {
		edge = 0.42 * r // an edge, not a table
	}
	low, high := neck-0.6*waist, neck-tall+0.8*edge
	for _, side := range []float64{-spread * 0.75, spread * 0.75} {
		mid := h.spot(s+side, (low+high)/2, 0.2)
		path := []r3.Vec{h.spot(s+side, low, 0.2), mid, h.spot(s+side, high, 0.2)}
		shell = append(shell, tube{path, []float64{waist, 0.5*waist + 0.56*edge, edge}})
		core = append(core, tube{path[:2], []float64{max(0.5, waist-0.5), max(0.4, 0.5*waist+0.5*edge-1.3)}})
		if spread == 0 {
			break
		}
	}
	if spread > 0 { // close the cleft between the two halves of a molar's crown
		bridge := []r3.Vec{h.spot(s-spread/2, (low+high)/2, 0.2), h.spot(s+spread/2, (low+high)/2, 0.2)}
		shell = append(shell, tube{bridge, same(r, 2)})
	}
	return shell, core
}
