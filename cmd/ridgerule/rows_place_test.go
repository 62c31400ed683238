package main

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/craft"
)

// rowsOfPlace are the rows that concern which slices there are and where they lie.
func rowsOfPlace() []tricky {
	position := func(f func(k int) float64) maker {
		return whole(func(k int, c *craft.File) { c.Set(0x00200032, "DS", numbers(-9.75, -9.75, f(k))) })
	}
	without := func(gone ...int) maker {
		return among(func(all []*craft.File) (kept []*craft.File) {
			for k, c := range all {
				if !slices.Contains(gone, k) {
					kept = append(kept, c)
				}
			}
			return kept
		})
	}
	shifted := func(k int) float64 { return 30 + 0.5*float64(k) + map[bool]float64{true: 0.05}[k > 6] }
	return slices.Concat([]tricky{
		read(1, "any names and folders, other files", anyNames).list("passed over: 4 files, not DICOM"),
		read(2, "instance numbers mean nothing", whole(func(k int, c *craft.File) { c.Set(0x00200013, "IS", fmt.Sprint(k*7%11-4)) })),
		read(2, "descending", whole(func(k int, c *craft.File) { c.Set(0x00200013, "IS", fmt.Sprint(slabSlices-k)) })),
		read(3, "thickness is not spacing", attribute(0x00180050, "DS", "0.75")).caution("stated_slicethickness"),
		read(3, "stated spacing is wrong", attribute(0x00180088, "DS", "0.75")).caution("stated_spacingbetweenslices"),
		refuse(4, "one slice missing", without(7), "ImagePositionPatient", "1 slice(s) missing", `\33.500 mm`, "export the whole series again"),
		refuse(5, "several missing", without(5, 6, 12), "3 slice(s) missing", `\32.500 mm`, `\33.000 mm`, `\36.000 mm`, "export"),
		refuse(5, "uneven", position(shifted), "ImagePositionPatient", "not evenly spaced", "0.550 mm from", "export"),
		read(6, "twice the same", beside(func() *craft.File { return plainSlice(2) }, func() *craft.File { return plainSlice(3).Set(0x00080018, "UI", "9.9.9") })).caution("duplicates"),
		refuse(7, "same place, other pixels", whole(nil).more("IM9003.dcm", func() []byte {
			c := plainSlice(2).Set(0x00080018, "UI", "9.9.9")
			c.Pixels[11]++
			return c.Bytes()
		}), "IM9003.dcm", "two acquisitions", `\31.000 mm`),
		late(8, "two series", second(nil), "1: 26 slices", "2: 26 slices", "0.5 × 0.5 × 0.5 mm", "--series"),
		read(8, "two series, one asked for", second(nil)).with("--series", "2"),
		read(8, "one CT volume among others", second(func(_ int, c *craft.File) { c.Set(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.4") })),
		late(9, "two stacks under one UID", together, "2 series", "26 slices", "--series"),
		read(9, "one of two stacks under one UID", together).with("--series", "1"),
		read(10, "localizer by its type", beside(func() *craft.File { return scout(axial(0)).Set(0x00080008, "CS", `ORIGINAL\PRIMARY\LOCALIZER`) })).list("a localizer (scout) is not measured"),
		read(10, "localizer by its orientation", beside(func() *craft.File { return scout(coronal(3)) })).list("localizer"),
		refuse(12, "no position", whole(func(_ int, c *craft.File) { c.Drop(0x00200032).Set(0x00201041, "DS", "12") }), "ImagePositionPatient", "is missing", "export"),
		refuse(12, "no position in one", one(func(c *craft.File) { c.Drop(0x00200032) }), "52: ImagePositionPatient", "is missing"),
		refuse(12, "no orientation", whole(func(_ int, c *craft.File) { c.Drop(0x00200037) }), "ImageOrientationPatient", "is missing", "export"),
		refuse(13, "only imager spacing", whole(func(_ int, c *craft.File) { c.Drop(0x00280030).Set(0x00181164, "DS", `0.5\0.5`) }), "PixelSpacing", "is missing", "ImagerPixelSpacing is no substitute", "detector"),
		refuse(16, "orientation skew", attribute(0x00200037, "DS", `1\0\0\0.01\1\0`), "ImageOrientationPatient", `1\0\0\0.01\1\0`, "export"),
		read(16, "orientation nearly orthonormal", attribute(0x00200037, "DS", `1.0005\0.0006\0\0\0.9995\0`)).near(0.02),
		refuse(41, "a slice of another spacing", one(func(c *craft.File) { c.Set(0x00280030, "DS", `0.25\0.25`) }), "52: PixelSpacing", "0.25", "the series has"),
		refuse(41, "a slice of another matrix", one(func(c *craft.File) { c.US(0x00280010, 20).US(0x00280011, 80) }), "52: PixelSpacing, Rows, Columns", "the series has"),
		refuse(42, "two frames of reference", one(func(c *craft.File) { c.Set(0x00200052, "UI", "7.7.7") }), "FrameOfReferenceUID", "export"),
		refuse(42, "two units", one(func(c *craft.File) { c.Set(0x00281054, "LO", "OD") }), "RescaleType", "OD"),
		refuse(45, "one slice", among(func(all []*craft.File) []*craft.File { return all[:1] }), "1 slice(s): not a volume", "at least 3"),
		refuse(45, "two slices", among(func(all []*craft.File) []*craft.File { return all[:2] }), "2 slice(s): not a volume", "at least 3"),
	}, rowsOfSpacing(), rowsOfGrid())
}

func rowsOfSpacing() []tricky {
	var rows []tricky
	for value, word := range map[string]string{
		`0\0.5`: "greater than 0", `-0.5\0.5`: "greater than 0", `NaN\0.5`: "not a number", `abc\0.5`: "not a number", `0,5\0,5`: "decimal comma",
	} {
		rows = append(rows, refuse(15, "spacing "+value, attribute(0x00280030, "DS", value), "PixelSpacing "+value, word))
	}
	return rows
}

// coronal is slice k of a stack from front to back; its rows run down.
func coronal(k int) sheet {
	return sheet{r3.Vec{X: -9.75, Y: -9.75 + slabVoxel*float64(k), Z: 45}, r3.Vec{X: 1}, r3.Vec{Z: -1}, [2]float64{slabVoxel, slabVoxel}}
}

// rowsOfGrid are the rows that lay the same ridge on another grid: its numbers stay, within a part of a voxel.
func rowsOfGrid() []tricky {
	unequal := func(k int) sheet { s := axial(k); s.spacing = [2]float64{0.5, 0.4}; return s }
	turned := func(k int) sheet { // columns toward the back, rows toward the left: the stack runs down
		s := axial(k)
		s.row, s.column = s.column, s.row
		return s
	}
	sagittal := func(k int) sheet {
		return sheet{r3.Vec{X: -9.75 + slabVoxel*float64(k), Y: -9.75, Z: 45}, r3.Vec{Y: 1}, r3.Vec{Z: -1}, [2]float64{slabVoxel, slabVoxel}}
	}
	leaning := func(degrees float64, shear bool) func(k int) sheet {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		return func(k int) sheet {
			s := sheet{r3.Vec{X: -9.75, Y: -9.75, Z: 28 + 0.5*float64(k)}, r3.Vec{X: 1}, r3.Vec{Y: cos, Z: sin}, [2]float64{0.5, 0.5}}
			if !shear { // along the normal
				s.first = r3.Add(r3.Vec{X: -9.75, Y: -9.75, Z: 28}, r3.Scale(0.5*float64(k), r3.Vec{Y: -sin, Z: cos}))
			}
			return s
		}
	}
	noisy := whole(func(k int, c *craft.File) {
		c.Set(0x00200032, "DS", numbers(-9.75+1e-5*math.Sin(float64(9*k)), -9.75, 30+0.5*float64(k)+1e-5*math.Cos(float64(7*k))))
	})
	thirds := func(k int) sheet { s := axial(k); s.first.Z = math.Round(100*(30+float64(k)/3)) / 100; return s }
	return []tricky{
		read(14, "rows and columns unequal", lying(slabSlices, unequal)).near(otherGrid).list("0.4 × 0.5 × 0.5 mm"),
		read(17, "turned over", lying(slabSlices, turned)).near(otherGrid).list("axial: columns toward Posterior"),
		read(17, "coronal", lying(40, coronal)).near(otherGrid).list("coronal"),
		read(17, "sagittal", lying(40, sagittal)).near(otherGrid).list("sagittal"),
		read(17, "oblique", lying(36, leaning(10, false))).near(otherGrid).list("oblique"),
		read(17, "patient position says otherwise", attribute(0x00185100, "CS", "FFP")),
		read(18, "gantry tilt", lying(36, leaning(-12, true))).near(otherGrid).caution("sheared").list("12.00 degrees"),
		read(39, "noise on the positions", noisy).near(0.001),
		read(39, "positions of two decimals", lying(38, thirds)).near(otherGrid).caution("rounded_positions"),
		read(40, "split over folders", parts(1)),
		read(40, "the same series twice", parts(2)).caution("duplicates"),
	}
}

// anyNames spreads the plain series over folders, in no order, with files that are none of it.
func anyNames(t *testing.T, dir string) string {
	for k, c := range stack() {
		write(t, dir, fmt.Sprintf("a/%d/%c%d", k%2, 'z'-k, 50-k), c.Bytes())
	}
	write(t, dir, "report.pdf", []byte("%PDF-1.4 nothing"))
	write(t, dir, "a/.DS_Store", []byte("\x00\x00\x00\x01Bud1"))
	write(t, dir, "viewer.exe", append([]byte("MZ"), make([]byte, 500)...))
	write(t, dir, "empty", nil)
	return dir
}

// parts spreads the plain series over folders, so many times.
func parts(times int) maker {
	return func(t *testing.T, dir string) string {
		for again := range times {
			for k, c := range stack() {
				write(t, dir, fmt.Sprintf("%d/part%d/x%d", again, k%3, k), c.Bytes())
			}
		}
		return dir
	}
}

// second puts a second series beside the plain one.
func second(change func(k int, c *craft.File)) maker {
	return among(func(all []*craft.File) []*craft.File {
		for k, c := range stack() {
			c.Set(0x0020000E, "UI", "1.2.3.77").Set(0x00080018, "UI", fmt.Sprintf("1.2.3.5.%d", k+1))
			if change != nil {
				change(k, c)
			}
			all = append(all, c)
		}
		return all
	})
}

// together puts a coronal stack under the series UID of the plain one.
func together(t *testing.T, dir string) string {
	return among(func(all []*craft.File) []*craft.File {
		for k := range slabSlices {
			all = append(all, slab(k, coronal(k)).Set(0x00080018, "UI", fmt.Sprintf("1.2.3.5.%d", k+1)))
		}
		return all
	})(t, dir)
}

// scout is one image of its own.
func scout(at sheet) *craft.File { return slab(99, at) }
