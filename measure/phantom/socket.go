package phantom

import (
	"gonum.org/v1/gonum/spatial/r3"
)

// drawSockets empties the sockets of the options: where a root and its ligament were. They open over the crest.
func (h *shape) drawSockets(o Options) {
	h.healing = o.Healing
	for _, fdi := range o.Sockets {
		for _, root := range h.rootsOf(fdi, healedDepth*o.Healing) {
			apex, mid, neck := root.path[0], root.path[1], root.path[2]
			over := r3.Add(neck, r3.Scale(2/r3.Norm(r3.Sub(neck, mid)), r3.Sub(neck, mid))) // past the crest
			t := tube{path: []r3.Vec{apex, mid, neck, over}}
			for _, r := range append(root.radius, root.radius[2]) {
				t.radius = append(t.radius, r+ligament)
			}
			h.sockets = append(h.sockets, t)
		}
	}
}

// socketWall is the thickness of the cortical wall of a socket, mm.
const socketWall = lamina - ligament

// emptied paints the sockets over v, the value with all bone; bare is the value without any. What heals fills
// with marrow from soft tissue on, and loses its wall.
func (h *shape) emptied(v, bare, bone float64, s shares, g *Levels) float64 {
	shell := s.in(lSocket, socketWall)
	if shell == 0 {
		return v
	}
	wall := v + (1-h.healing)*bone*(g.Cortex-v)
	fill := bare + bone*(g.Soft+h.healing*(g.Marrow-g.Soft)-bare)
	return v + shell*(wall-v) + s.in(lSocket, 0)*(fill-wall)
}

// SocketTrue is the socket that an axis runs into.
type SocketTrue struct {
	Depth float64          `json:"depth_mm"` // of its floor below the crest, along the axis
	Walls []SocketWallTrue `json:"walls"`
}

// SocketWallTrue is the bone that is left beside a socket, on one chord: from the outer edge of the bone to the
// socket. Nil: the socket has no wall there, it opens through the side.
type SocketWallTrue struct {
	At      float64  `json:"at_mm"` // below the crest, along the axis
	Buccal  *float64 `json:"buccal_mm"`
	Lingual *float64 `json:"lingual_mm"`
}

// socketTruth returns the socket that the axis l starts in, or nil. The crest is that of the bone as if the
// socket were filled: its edges' level.
func (j *Jaw) socketTruth(l line) *SocketTrue {
	x := j.crossings(socketSurface, l.crest, l.axis, 0, along)
	if len(x) == 0 || len(x)%2 == 0 { // the crest lies in no socket
		return nil
	}
	t := &SocketTrue{Depth: x[0]}
	for h := 1.0; h < x[0] && h <= 10; h++ {
		p := r3.Add(l.crest, r3.Scale(h, l.axis))
		a, b, err := j.Chord(p, l.side, across)
		if err != nil {
			continue
		}
		w := SocketWallTrue{At: h}
		if in := j.crossings(socketSurface, p, l.side, -across, across); len(in) > 1 {
			w.Lingual, w.Buccal = between(a, in[0]), between(in[len(in)-1], b)
		}
		t.Walls = append(t.Walls, w)
	}
	return t
}

// between returns the length from a to b, mm, or nil where b does not lie after a.
func between(a, b float64) *float64 {
	if !(b > a) {
		return nil
	}
	d := b - a
	return &d
}
