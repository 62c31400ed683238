package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/craft"
)

// The ridge of the tricky series: a straight wall of bone along x, known at every point, so that any grid can hold it.
const (
	slabHalfWidth = 3.0  // mm, about y = 0
	slabBottom    = 32.0 // mm, z
	slabTop       = 40.0
	slabSlices    = 26
	slabMatrix    = 40   // rows and columns
	slabVoxel     = 0.5  // mm
	slabBone      = 1500 // stored; air is 0
)

// otherGrid is how far a number may move when the same ridge lies otherwise between the voxels, mm: a quarter of one. The
// share of bone is laid by distance and not by volume, and an edge is found by straight lines between voxels.
const otherGrid = slabVoxel / 4

// bone returns the stored value at p for a voxel of this size: the bone's share of it.
func bone(p r3.Vec) uint16 {
	inside := min(slabHalfWidth-math.Abs(p.Y), p.Z-slabBottom, slabTop-p.Z) // mm
	return uint16(math.Round(slabBone * math.Min(1, math.Max(0, inside/slabVoxel+.5))))
}

// sheet is where a slice lies.
type sheet struct {
	first, row, column r3.Vec     // centre of its first pixel; directions along a row and a column
	spacing            [2]float64 // mm: between rows, between columns
}

// axial is slice k of the plain series.
func axial(k int) sheet {
	return sheet{r3.Vec{X: -9.75, Y: -9.75, Z: 30 + slabVoxel*float64(k)}, r3.Vec{X: 1}, r3.Vec{Y: 1}, [2]float64{slabVoxel, slabVoxel}}
}

// slab returns slice k as it lies in s.
func slab(k int, s sheet) *craft.File {
	c := craft.Slice(k)
	c.Pixels = nil
	for j := range slabMatrix {
		for i := range slabMatrix {
			p := r3.Add(s.first, r3.Add(r3.Scale(s.spacing[1]*float64(i), s.row), r3.Scale(s.spacing[0]*float64(j), s.column)))
			c.Pixels = append(c.Pixels, bone(p))
		}
	}
	c.US(0x00280010, slabMatrix).US(0x00280011, slabMatrix)
	c.Set(0x00280030, "DS", numbers(s.spacing[0], s.spacing[1]))
	c.Set(0x00200032, "DS", numbers(s.first.X, s.first.Y, s.first.Z))
	return c.Set(0x00200037, "DS", numbers(s.row.X, s.row.Y, s.row.Z, s.column.X, s.column.Y, s.column.Z))
}

func numbers(all ...float64) string {
	var parts []string
	for _, x := range all {
		parts = append(parts, fmt.Sprintf("%.9g", x))
	}
	return strings.Join(parts, `\`)
}

// slabPixels are those of the plain series, made once.
var slabPixels = sync.OnceValue(func() (all [][]uint16) {
	for k := range slabSlices {
		all = append(all, slab(k, axial(k)).Pixels)
	}
	return all
})

// plainSlice returns slice k of the plain series.
func plainSlice(k int) *craft.File {
	at := axial(k)
	c := craft.Slice(k).US(0x00280010, slabMatrix).US(0x00280011, slabMatrix)
	c.Set(0x00280030, "DS", numbers(at.spacing[:]...)).Set(0x00200032, "DS", numbers(at.first.X, at.first.Y, at.first.Z))
	c.Pixels = slices.Clone(slabPixels()[k])
	return c
}

func stack() []*craft.File {
	var all []*craft.File
	for k := range slabSlices {
		all = append(all, plainSlice(k))
	}
	return all
}

// whole makes the plain series, each slice changed.
func whole(change func(k int, c *craft.File)) maker {
	return among(func(all []*craft.File) []*craft.File {
		for k, c := range all {
			if change != nil {
				change(k, c)
			}
		}
		return all
	})
}

// one makes the plain series with slice 7 changed.
func one(change func(c *craft.File)) maker {
	return whole(func(k int, c *craft.File) {
		if k == 7 {
			change(c)
		}
	})
}

// attribute makes the plain series with one attribute of every slice set.
func attribute(tag uint32, vr, value string) maker {
	return whole(func(_ int, c *craft.File) { c.Set(tag, vr, value) })
}

// beside makes the plain series and more files in its folder.
func beside(more ...func() *craft.File) maker {
	return among(func(all []*craft.File) []*craft.File {
		for _, c := range more {
			all = append(all, c())
		}
		return all
	})
}

// among makes a folder of files that come from the plain series, named so that neither order nor name says anything.
func among(change func(all []*craft.File) []*craft.File) maker {
	return func(t *testing.T, dir string) string {
		for i, c := range change(stack()) {
			write(t, dir, fmt.Sprintf("%02d", (i*7+3)%1009), c.Bytes())
		}
		return dir
	}
}

// lying makes a series of slices that lie where at says.
func lying(n int, at func(k int) sheet) maker {
	return among(func([]*craft.File) (all []*craft.File) {
		for k := range n {
			all = append(all, slab(k, at(k)))
		}
		return all
	})
}

// more puts another file beside those of a maker.
func (m maker) more(name string, data func() []byte) maker {
	return func(t *testing.T, dir string) string {
		write(t, dir, name, data())
		return m(t, dir)
	}
}

func write(t *testing.T, dir, name string, data []byte) {
	t.Helper()
	name = filepath.Join(dir, name)
	require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o700))
	require.NoError(t, os.WriteFile(name, data, 0o600))
}
