package safety

import "gonum.org/v1/gonum/spatial/r3"

// Surface is a closed triangle surface in the patient (LPS, mm).
type Surface struct {
	Points    []r3.Vec // mm
	Triangles [][3]int // indices of Points, counter-clockwise seen from outside
}
