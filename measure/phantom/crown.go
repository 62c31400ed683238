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

// Mucosa returns the planned mucosa along the arch, patient LPS, mm: a band 6 mm to either side of it, from one tooth's place to another's (ISO 3950), where a
// scanner of surfaces sees the crowns leave it. It returns an error wrapping [ErrOptions] for a tooth of another jaw.
func (j *Jaw) Mucosa(from, to int) (Mesh, error) {
	const half, step = 6.0, 0.5 // mm
	if !belongs(j.opt.Jaw, from) || !belongs(j.opt.Jaw, to) {
		return Mesh{}, fmt.Errorf("%w: teeth %d and %d are not both of the %v", ErrOptions, from, to, j.opt.Jaw)
	}
	h := j.shape
	a, b := arcOf(h.kind, from, h.s.Arch), arcOf(h.kind, to, h.s.Arch)
	a, b = min(a, b)-half, max(a, b)+half
	var m Mesh
	across := int(2*half/step) + 1
	rows := int((b-a)/step) + 1
	for i := range rows {
		s := a + step*float64(i)
		for k := range across {
			m.Points = append(m.Points, j.toPatient(h.arch.point(h.arch.at(s), step*float64(k)-half, h.lift(s)+gumLine)))
		}
	}
	for i := range rows - 1 {
		for k := range across - 1 {
			p := i*across + k
			m.Triangles = append(m.Triangles, [3]int{p, p + 1, p + across}, [3]int{p + 1, p + across + 1, p + across})
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

// ExitTrue is where a line leaves a planned crown, from the analytic shape.
type ExitTrue struct {
	At             r3.Vec  // patient LPS, mm
	Buccal, Mesial float64 // of the crown's middle, along the directions asked, mm
	Angle          float64 // between the line and the one to the middle of the biting side, deg
	Space          float64 // from the platform along the line, the least of many lines over it, mm
}

// Exit returns where the line from a platform against an implant's axis leaves the crown of a tooth, planned in
// the form that [Jaw.Crown] draws. buccal, mesial and occlusal are unit vectors, at right angles; the crown's middle is half-way between its
// outermost points along buccal and along mesial. Lines of the space begin at the platform's middle and at its rim (diameter, mm).
// It returns an error wrapping [ErrOptions] for a tooth of another jaw.
func (j *Jaw) Exit(fdi int, platform, axis r3.Vec, diameter float64, buccal, mesial, occlusal r3.Vec) (ExitTrue, error) {
	if !belongs(j.opt.Jaw, fdi) {
		return ExitTrue{}, fmt.Errorf("%w: tooth %d is none of the %v", ErrOptions, fdi, j.opt.Jaw)
	}
	h := j.shape
	n, s := fdi%10, arcOf(h.kind, fdi, h.s.Arch)
	shell, _ := h.crownTubes(n, s, -h.lift(s)-neckHeight, spread(fdi))
	way := j.toJaw(r3.Scale(-1, r3.Unit(axis)))
	from, o := j.toJaw(platform), j.toJaw(occlusal)
	at := outermost(shell, from, way)
	e := ExitTrue{At: j.toPatient(at), Space: r3.Norm(r3.Sub(at, from))}
	middle := at
	for i, d := range []r3.Vec{j.toJaw(buccal), j.toJaw(mesial)} {
		off := r3.Dot(at, d) - (supportOf(shell, d)-supportOf(shell, r3.Scale(-1, d)))/2
		middle = r3.Sub(middle, r3.Scale(off, d))
		*[]*float64{&e.Buccal, &e.Mesial}[i] = off
	}
	aim := outermost(shell, middle, o)
	to := r3.Sub(aim, from)
	e.Angle = math.Atan2(r3.Norm(r3.Cross(way, to)), r3.Dot(way, to)) * 180 / math.Pi
	u := r3.Cross(way, r3.Vec{X: 0.3, Y: 0.8, Z: 0.5})
	u = r3.Scale(diameter/2/r3.Norm(u), u)
	for k := range 72 { // 5°: of a platform of 4 mm 0.2 mm apart
		p := r3.Add(from, r3.NewRotation(2*math.Pi*float64(k)/72, way).Rotate(u))
		e.Space = min(e.Space, r3.Norm(r3.Sub(outermost(shell, p, way), p)))
	}
	return e, nil
}

// supportOf returns how far the tubes reach along a direction, mm: a swept ball's farthest point is at one of its ends.
func supportOf(tubes []tube, d r3.Vec) float64 {
	most := math.Inf(-1)
	for _, t := range tubes {
		for i, p := range t.path {
			most = max(most, r3.Dot(p, d)+t.radius[i])
		}
	}
	return most
}
