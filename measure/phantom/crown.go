package phantom

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mesh is a triangle surface as a scanner of surfaces leaves it; its facets face outward by the order of their corners.
type Mesh struct {
	Points    []r3.Vec // mm
	Triangles [][3]int
}

// Moved returns the mesh with each point where move puts it.
func (m Mesh) Moved(move func(r3.Vec) r3.Vec) Mesh {
	out := Mesh{Triangles: m.Triangles}
	for _, p := range m.Points {
		out.Points = append(out.Points, move(p))
	}
	return out
}

// Join returns the meshes as one.
func Join(all ...Mesh) Mesh {
	var out Mesh
	for _, m := range all {
		first := len(out.Points)
		out.Points = append(out.Points, m.Points...)
		for _, t := range m.Triangles {
			out.Triangles = append(out.Triangles, [3]int{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	return out
}

// How finely a crown is meshed: directions about its long axis, and from the biting edge down. Facets are some 0.5 mm long.
const crownAround, crownDown = 48, 36

// gumLine is how far over the crest a scanner of surfaces sees a crown, mm: above the mucosa's usual 2.
const gumLine = 2.5

// Crown returns the crown of a tooth, patient LPS, mm: of one that stands, or of a planned one in the same form at a tooth
// that does not. Whole is the closed surface, as a set-up of teeth has it; else what shows above the mucosa, open below.
// It returns an error wrapping [ErrOptions] for a tooth of another jaw.
//
// A point of the mesh is where a ray from the crown's middle leaves the analytic shape, to 1e-6 mm: the mesh's corners lie
// on the enamel that [Jaw.Volume] paints.
func (j *Jaw) Crown(fdi int, whole bool) (Mesh, error) {
	if !belongs(j.opt.Jaw, fdi) {
		return Mesh{}, fmt.Errorf("%w: tooth %d is none of the %v", ErrOptions, fdi, j.opt.Jaw)
	}
	h := j.shape
	n, s := fdi%10, arcOf(h.kind, fdi, h.s.Arch)
	neck := -h.lift(s) - neckHeight
	shell, _ := h.crownTubes(n, s, neck, spread(fdi))
	middle := h.spot(s, neck-crownHeight[n]/2, 0.2)
	up := r3.Unit(r3.Sub(h.spot(s, neck-crownHeight[n], 0.2), middle))
	m := starMesh(shell, middle, up)
	if !whole {
		m = m.above(h.lift(s) + gumLine)
	}
	m = m.Moved(j.toPatient)
	if j.opt.Jaw == Maxilla { // mirrored into the patient: the corners' order turns round
		for i, t := range m.Triangles {
			m.Triangles[i] = [3]int{t[0], t[2], t[1]}
		}
	}
	return m, nil
}

// starMesh returns the outer surface of the tubes as seen from the middle, with its pole along up.
func starMesh(tubes []tube, middle, up r3.Vec) Mesh {
	x := r3.Vec{X: 1}
	x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, up), up)))
	y := r3.Cross(up, x)
	at := func(dir r3.Vec) r3.Vec { return outermost(tubes, middle, dir) }
	m := Mesh{Points: []r3.Vec{at(up)}}
	for k := 1; k < crownDown; k++ {
		sin, cos := math.Sincos(math.Pi * float64(k) / crownDown)
		for i := range crownAround {
			s, c := math.Sincos(2 * math.Pi * float64(i) / crownAround)
			m.Points = append(m.Points, at(r3.Add(r3.Scale(cos, up), r3.Scale(sin, r3.Add(r3.Scale(c, x), r3.Scale(s, y))))))
		}
	}
	last := len(m.Points)
	m.Points = append(m.Points, at(r3.Scale(-1, up)))
	for i := range crownAround {
		n := (i + 1) % crownAround
		m.Triangles = append(m.Triangles, [3]int{0, 1 + i, 1 + n})
		for k := range crownDown - 2 {
			a, b := 1+k*crownAround+i, 1+k*crownAround+n
			m.Triangles = append(m.Triangles, [3]int{a, a + crownAround, b}, [3]int{b, a + crownAround, b + crownAround})
		}
		a, b := 1+(crownDown-2)*crownAround+i, 1+(crownDown-2)*crownAround+n
		m.Triangles = append(m.Triangles, [3]int{a, last, b})
	}
	return m
}

// outermost returns where the ray from the middle along dir leaves the tubes for the last time: from outside inward, each
// step as long as the distance to the nearest of them.
func outermost(tubes []tube, middle, dir r3.Vec) r3.Vec {
	far := 25.0 // no crown reaches so far
	for range 1000 {
		d, _ := nearest(tubes, r3.Add(middle, r3.Scale(far, dir)))
		if far -= d; d < 1e-6 || far <= 0 {
			break
		}
	}
	return r3.Add(middle, r3.Scale(max(0, far), dir))
}

// above returns the facets whose corners all lie higher than z in the jaw's own frame, mm.
func (m Mesh) above(z float64) Mesh {
	var out Mesh
	at := make(map[int]int)
	for _, t := range m.Triangles {
		if m.Points[t[0]].Z <= z || m.Points[t[1]].Z <= z || m.Points[t[2]].Z <= z {
			continue
		}
		var moved [3]int
		for k, p := range t {
			i, known := at[p]
			if !known {
				i = len(out.Points)
				at[p] = i
				out.Points = append(out.Points, m.Points[p])
			}
			moved[k] = i
		}
		out.Triangles = append(out.Triangles, moved)
	}
	return out
}
