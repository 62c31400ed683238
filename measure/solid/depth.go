package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
)

// overlap returns the gap between two convex bodies that meet: minus the length of the least
// translation that separates them, and the two points that it brings together.
//
//	depth = min over unit n of  h(n) = support of (A − B) along n
//
// A polytope of support points grows inside A − B: its nearest face bounds the depth from below,
// h of that face's normal from above. Growth ends when the two agree to 1e-9 mm, or after
// 300 support points: then all directions of a ring are equally good, or nearly (two implants on one
// axis), and the least h is sought from the best of them along the ring, then in all directions. Either
// way the value is a translation that separates; tests hold it to 1e-6 mm against the least.
//
// Method: expanding polytope (van den Bergen G. Proc Game Developers Conf 2001; from memory).
func overlap(a, b convex) Gap {
	p, ok := startPolytope(a, b)
	if !ok {
		return Gap{}
	}
	depth, n := math.Inf(1), r3.Vec{}
	var face hullFace
	for range 300 {
		i := p.nearestFace()
		if i < 0 {
			break
		}
		face = p.faces[i]
		v := supportVertex(a, b, face.n)
		h := r3.Dot(v.w, face.n)
		if h < depth {
			depth, n = h, face.n
		}
		if h-face.d <= 1e-9 {
			return Gap{Distance: -h, Near: p.contactPoints(face.d)}
		}
		p.grow(v, i)
	}
	for _, m := range candidates(a, b) {
		if h := separation(a, b, m); h < depth {
			depth, n = h, m
		}
	}
	depth, n = descendAlongRing(a, b, depth, n)
	depth, n = descend(a, b, depth, n)
	at := p.contactPoints(face.d)[0]
	return Gap{Distance: -depth, Near: [2]r3.Vec{at, r3.Sub(at, r3.Scale(depth, n))}}
}

// candidates returns the normals of both bodies' faces in the planes that hold their own axis and the
// other's middle. Where the axes are parallel, the least translation is along one of them.
func candidates(a, b convex) []r3.Vec {
	ca, fa := a.normals()
	cb, fb := b.normals()
	out := fa(r3.Sub(cb, ca))
	for _, m := range fb(r3.Sub(ca, cb)) {
		out = append(out, r3.Scale(-1, m))
	}
	return out
}

// sideNormals returns ±axis and the normals, across·e + along·axis, of a body of revolution on
// both sides of the plane that holds its axis and the vector d; where d runs along the axis, of
// any such plane.
func sideNormals(axis, d r3.Vec, aside, along float64) []r3.Vec {
	e := r3.Sub(d, r3.Scale(r3.Dot(d, axis), axis))
	if length(e) < 1e-9 { // mm; what is left is rounding
		e = Across(axis)
	}
	out := []r3.Vec{axis, r3.Scale(-1, axis)}
	for _, way := range []float64{aside, -aside} {
		out = append(out, r3.Add(r3.Scale(way, unit(e)), r3.Scale(along, axis)))
	}
	return out
}

// separation returns h(n), mm: the length of the translation along n that separates the bodies.
func separation(a, b convex, n r3.Vec) float64 { return r3.Dot(supportVertex(a, b, n).w, n) }

// descendAlongRing seeks a smaller h(n) along the ring of directions around a's axis: the least over
// longitudes near n's of the least over latitudes. Where h has a crease along that ring, descend stops
// on it and this does not.
func descendAlongRing(a, b convex, h float64, n r3.Vec) (float64, r3.Vec) {
	axis := candidates(a, b)[0]
	e := r3.Sub(n, r3.Scale(r3.Dot(n, axis), axis))
	if length(e) < 1e-3 {
		return h, n
	}
	e = unit(e)
	f := r3.Cross(axis, e)
	middle := math.Atan2(r3.Dot(n, axis), r3.Dot(n, e))
	at := func(longitude, latitude float64) r3.Vec {
		s, c := math.Sincos(longitude)
		sl, cl := math.Sincos(latitude)
		return r3.Add(r3.Scale(cl, r3.Add(r3.Scale(c, e), r3.Scale(s, f))), r3.Scale(sl, axis))
	}
	best := func(longitude float64) (latitude, h float64) {
		return fit.Golden(middle-0.05, middle+0.05, 3e-9, func(l float64) float64 { return separation(a, b, at(longitude, l)) })
	}
	longitude, least := fit.Golden(-0.15, 0.15, 9e-9, func(l float64) float64 { _, h := best(l); return h })
	if least < h {
		latitude, _ := best(longitude)
		return least, at(longitude, latitude)
	}
	return h, n
}

// descend follows h(n) from n to a minimum nearby: steps in eight directions on the sphere,
// turned every time because a crease of h may run in any of them, and halved when four steps in a row
// gain nothing.
func descend(a, b convex, h float64, n r3.Vec) (float64, r3.Vec) {
	step, failed := 0.05, 0
	for i := 0; i < 1500 && step > 1e-8; i++ {
		u := Across(n)
		w := r3.Cross(n, u)
		best, at := h, n
		for k := range 8 {
			s, c := math.Sincos(float64(k)*math.Pi/4 + float64(i))
			m := unit(r3.Add(n, r3.Add(r3.Scale(step*c, u), r3.Scale(step*s, w))))
			if g := separation(a, b, m); g < best {
				best, at = g, m
			}
		}
		if failed++; best < h-1e-3*step*step {
			failed = 0
		}
		if failed == 4 {
			step, failed = step/2, 0
		}
		h, n = best, at
	}
	return h, n
}
