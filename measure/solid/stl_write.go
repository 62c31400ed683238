package solid

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// WriteSTL writes the surface as binary STL, coordinates rounded to 32-bit floats (1e-5 mm at
// 100 mm). The head says what wrote it and in which unit.
func WriteSTL(out io.Writer, s *Surface) error {
	return writeSTL(out, s, "ridgerule surface, patient LPS, mm")
}

// writeSTL writes binary STL; title is cut to the 80 bytes of the head.
func writeSTL(out io.Writer, s *Surface, title string) error {
	if len(s.Triangles) > maxTriangles {
		return &STLError{Reason: fmt.Sprintf("%d triangles; at most %d are written", len(s.Triangles), maxTriangles)}
	}
	w := bufio.NewWriter(out)
	var head [stlHead]byte
	copy(head[:80], title)
	binary.LittleEndian.PutUint32(head[80:], uint32(len(s.Triangles)))
	_, _ = w.Write(head[:]) // an error stays in w and comes back at the end
	for i := range s.Triangles {
		t := s.Triangle(i)
		for k, p := range t {
			t[k] = r3.Vec{X: float64(float32(p.X)), Y: float64(float32(p.Y)), Z: float64(float32(p.Z))}
		}
		n := r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
		if l := length(n); l > 0 {
			n = r3.Scale(1/l, n)
		}
		var b [stlFacet]byte
		for k, p := range [4]r3.Vec{n, t[0], t[1], t[2]} {
			for m, x := range [3]float64{p.X, p.Y, p.Z} {
				binary.LittleEndian.PutUint32(b[12*k+4*m:], math.Float32bits(float32(x)))
			}
		}
		_, _ = w.Write(b[:])
	}
	return w.Flush()
}
