package align

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/solid"
)

// SurfaceBoards returns six places of the surface that lie far apart and inside the scan's field, in the surface's own
// frame (mm), and at each of them two boards of the scan with the surface where t puts it: whoever looks at them sees whether it lies on
// the teeth.
func SurfaceBoards(v *volume.Volume, s *solid.Sheet, t Transform) ([]r3.Vec, []Board) {
	moved := s.Moved(t.Apply)
	var inside []r3.Vec
	for _, p := range placesOn(s, coarseSurface, 0) {
		if v.Contains(v.Index(t.Apply(p.at))) {
			inside = append(inside, p.at)
		}
	}
	at := farApart(inside, boardsAt)
	var moving []r3.Vec
	for _, p := range at {
		moving = append(moving, t.Apply(p))
	}
	boards := Boards(v, v, Identity(t.To), moving)
	for i := range boards {
		boards[i].Surface = moved
	}
	return at, boards
}

// farApart returns n of the points, each the farthest from those before; the first is the one farthest from their middle.
func farApart(points []r3.Vec, n int) []r3.Vec {
	if len(points) == 0 {
		return nil
	}
	from := []r3.Vec{centroid(points)}
	var out []r3.Vec
	for len(out) < min(n, len(points)) {
		best, most := points[0], -1.0
		for _, p := range points {
			near := r3.Norm2(r3.Sub(p, from[0]))
			for _, q := range from[1:] {
				near = min(near, r3.Norm2(r3.Sub(p, q)))
			}
			if near > most {
				best, most = p, near
			}
		}
		if len(out) == 0 {
			from = nil // the middle was only where to begin
		}
		out, from = append(out, best), append(from, best)
	}
	return out
}
