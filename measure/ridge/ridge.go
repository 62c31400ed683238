// Package ridge finds the jaw's ridge in a cross-section and measures it.
//
// A [reformat.Field] flows in: the volume as its section sees it. Each step takes what the one before made, so that
// another order does not compile:
//
//	NewStation  a section of the arch      → Station  what it teaches about the series
//	Learn       all stations               → Tissue   what the series says about every edge in it
//	Trace       a section, the Tissue      → Outline  where the bone lies: coarse, and never lost
//	Weigh       the Outline                → Ridge    its edges fitted where a number needs one
//	FindAxis    the Ridge                  → Axis
//	Width …     the Ridge, the Axis        → numbers, each with its U
//
// All points are section points (reformat.UV: +u buccal, +v coronal, mm); the base of the jaw is toward −v
// in both jaws.
//
// The coarse pass is threshold, fill, trace (mask.go, outline.go). The fine one fits a blurred-layer model to the
// voxels themselves around a place (layers.go, wall.go, fitted.go); interpolated values are never measured on.
package ridge

import (
	"errors"
	"math"

	"ridgerule/measure/reformat"
)

// Errors of this package; test for them with [errors.Is].
var (
	ErrNoRidge = errors.New("ridge: no bone outline at the site")
	ErrNoWidth = errors.New("ridge: the line does not cross the outline twice")
	ErrNoEdge  = errors.New("ridge: no edge of bone can be fitted here")
	ErrNoEnd   = errors.New("ridge: the bone does not end within the field along the axis")
)

func add(a, b reformat.UV) reformat.UV { return reformat.UV{U: a.U + b.U, V: a.V + b.V} }
func sub(a, b reformat.UV) reformat.UV { return reformat.UV{U: a.U - b.U, V: a.V - b.V} }
func scale(f float64, a reformat.UV) reformat.UV {
	return reformat.UV{U: f * a.U, V: f * a.V}
}

// dot returns a·b, in mm².
func dot(a, b reformat.UV) float64 { return a.U*b.U + a.V*b.V }

// cross returns the area a × b, in mm², positive when b lies counter-clockwise of a.
func cross(a, b reformat.UV) float64 { return a.U*b.V - a.V*b.U }

// norm returns the length of a, in mm.
func norm(a reformat.UV) float64 { return math.Hypot(a.U, a.V) }

func unit(a reformat.UV) reformat.UV { return scale(1/norm(a), a) }

// left is a turned by +90°, from u to v.
func left(a reformat.UV) reformat.UV { return reformat.UV{U: -a.V, V: a.U} }
