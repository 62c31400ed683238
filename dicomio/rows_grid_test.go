package dicomio

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/volume"
)

// The rows of the table of tricky series that concern the grid: directions, spacing, tilt, rounding.

func TestRow10LocalizerIsLeftOutAndSaid(t *testing.T) {
	byType := craft.Slice(9).Set(0x00080008, "CS", `ORIGINAL\PRIMARY\LOCALIZER`)
	byOrientation := craft.Slice(9).Set(0x00200037, "DS", `1\0\0\0\0\-1`)
	for name, scout := range map[string]*craft.File{"type": byType, "orientation": byOrientation} {
		fsys := folder(append(craft.Stack(5), scout)...)
		s, v := readOnly(t, fsys)
		sameStack(t, v, 5)
		cautioned(t, s)
		cat, _ := scanned(t, fsys)
		if len(cat.Series) != 2 {
			t.Fatalf("%s: %d series listed, want the stack and the localizer", name, len(cat.Series))
		}
		for _, other := range cat.Series {
			if other.Grid.Size[2] == 1 {
				says(t, other.Err().Error(), "localizer")
			}
		}
	}
}

func TestRow12PositionOrOrientationMissing(t *testing.T) {
	for tag, keyword := range map[uint32]string{0x00200032: "ImagePositionPatient", 0x00200037: "ImageOrientationPatient"} {
		files := craft.Stack(5)
		for _, c := range files {
			c.Drop(tag).Set(0x00201041, "DS", "12")
		}
		refused(t, folder(files...), "missing_attribute", keyword, "is missing")
		files = craft.Stack(5)
		files[4].Drop(tag) // one alone, at the end, spoils the series as well
		refused(t, folder(files...), "missing_attribute", keyword, "is missing")
	}
}

func TestRow13OnlyImagerPixelSpacing(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Drop(0x00280030).Set(0x00181164, "DS", `0.3\0.4`)
	}
	refused(t, folder(files...), "missing_attribute", "PixelSpacing", "ImagerPixelSpacing is no substitute", "detector")
}

func TestRow14PixelSpacingIsRowThenColumn(t *testing.T) {
	_, v := readOnly(t, folder(craft.Stack(4)...)) // PixelSpacing 0.3\0.4
	d := v.Spacing()
	near(t, "distance between columns", d[0], 0.4, 1e-12)
	near(t, "distance between rows", d[1], 0.3, 1e-12)
}

func TestRow15ImpossibleSpacing(t *testing.T) {
	for value, word := range map[string]string{
		`0\0.3`: "greater than 0", `-0.3\0.3`: "greater than 0", `NaN\0.3`: "not a number", `abc\0.3`: "not a number",
		`0,3\0,3`: "decimal comma", `0.3`: "has 1 values, needs 2", `0.3\0.3\0.3`: "has 3 values", `1e999\1`: "not a number",
		`0x1p-2\1`: "not a number", `\`: "is missing",
	} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Set(0x00280030, "DS", value)
		}
		code := "bad_attribute"
		if value == `\` {
			code = "missing_attribute"
		}
		refused(t, folder(files...), code, "PixelSpacing", word)
	}
}

func TestRow15BlanksAndExponentsAreNumbers(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Set(0x00280030, "DS", ` 3e-1 \ +0.4 `)
	}
	_, v := readOnly(t, folder(files...))
	near(t, "distance between rows", v.Spacing()[1], 0.3, 1e-12)
}

// spaced returns a stack of five slices with rows, columns and slices so far apart, mm.
func spaced(rows, columns, slices float64) []*craft.File {
	files := craft.Stack(5)
	for k, c := range files {
		c.Set(0x00280030, "DS", fmt.Sprintf(`%g\%g`, rows, columns)).Set(0x00200032, "DS", fmt.Sprintf(`0\0\%.4f`, slices*float64(k)))
	}
	return files
}

// What no scanner of jaws makes (below 0.04 mm or above 10 mm, from memory) is refused, in each direction by itself; what
// few make (above 0.4 mm; Fokas et al. 2018, doi:10.1111/clr.13142) is cautioned.
func TestRow15SpacingThatNoScannerOfJawsMakes(t *testing.T) {
	for _, d := range []struct {
		mm        [3]float64
		attribute string
	}{
		{[3]float64{0.03, 0.2, 0.2}, "PixelSpacing 0.03 mm"}, {[3]float64{0.2, 0.03, 0.2}, "PixelSpacing 0.03 mm"}, {[3]float64{0.2, 0.2, 0.03}, "ImagePositionPatient 0.03 mm"},
		{[3]float64{300, 300, 0.2}, "PixelSpacing 300 mm"}, {[3]float64{0.2, 0.2, 300}, "ImagePositionPatient 300 mm"}, {[3]float64{10.1, 0.2, 0.2}, "PixelSpacing 10.1 mm"},
	} {
		refused(t, folder(spaced(d.mm[0], d.mm[1], d.mm[2])...), "odd_spacing", d.attribute, "the scale is in doubt", "export")
	}
	for _, mm := range [][3]float64{{0.04, 0.04, 0.04}, {0.08, 0.08, 0.08}, {0.4, 0.4, 0.4}, {0.4, 0.3, 0.402}} {
		s, _ := readOnly(t, folder(spaced(mm[0], mm[1], mm[2])...))
		cautioned(t, s)
	}
	for _, mm := range [][3]float64{{0.42, 0.2, 0.2}, {0.2, 0.5, 0.2}, {0.2, 0.2, 1.25}, {0.5, 0.5, 9.9}} {
		s, _ := readOnly(t, folder(spaced(mm[0], mm[1], mm[2])...))
		cautioned(t, s, "coarse_voxels")
	}
}

func TestRow16NearlyOrthonormalIsPutRight(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Set(0x00200037, "DS", `1.0005\0.0006\0\0\0.9995\0`)
	}
	_, v := readOnly(t, folder(files...))
	x, y := r3.Unit(v.Step[0]), r3.Unit(v.Step[1])
	near(t, "row · column", r3.Dot(x, y), 0, 1e-12)
	near(t, "distance between columns", v.Spacing()[0], 0.4, 1e-12)
	near(t, "half the skew goes to each", x.Y, 0.0003, 1e-6)
	for _, bad := range []string{`1.01\0\0\0\1\0`, `1\0\0\0.01\1\0`, `0\0\0\0\1\0`, `1\0\0\1\0\0`} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Set(0x00200037, "DS", bad)
		}
		refused(t, folder(files...), "bad_orientation", "ImageOrientationPatient", bad)
	}
}

// Worked cases of the image plane equation, row and column spacing unequal.
// Source: DICOM PS3.3 C.7.6.2.1.1; the numbers are from a public test file (verified in the project's reference list).
func TestRow17PlaneEquationWorkedCases(t *testing.T) {
	for _, c := range []struct {
		s, iop, spacing string
		i, j            float64
		want            r3.Vec
	}{
		{`-45\35\-90`, `0\1\0\0\0\-1`, `0.25\0.5`, 15, 87, r3.Vec{X: -45, Y: 42.5, Z: -111.75}},
		{`10\60\0`, `1\0\0\0\1\0`, `2.0\0.5`, 5, 4, r3.Vec{X: 12.5, Y: 68, Z: 0}},
		{`10\60\30`, `1\0\0\0\-1\0`, `2.0\0.5`, 5, 4, r3.Vec{X: 12.5, Y: 52, Z: 30}},
		{`10\60\0`, `0\-1\0\-1\0\0`, `2.0\0.5`, 5, 2, r3.Vec{X: 6, Y: 57.5, Z: 0}},
		{`10\60\0`, `0\-1\0\-1\0\0`, `2.0\0.5`, 2, 2, r3.Vec{X: 6, Y: 59, Z: 0}},
		{`10\60\0`, `0\-1\0\-1\0\0`, `2.0\0.5`, 2, 4, r3.Vec{X: 2, Y: 59, Z: 0}},
	} {
		v := placed(t, c.s, c.iop, c.spacing)
		got := v.Patient(volume.Index{I: c.i, J: c.j})
		near(t, c.s+" "+c.iop, r3.Norm(r3.Sub(got, c.want)), 0, 1e-9)
	}
}

// placed reads a stack of four slices 1 mm apart along its normal, the first at s.
func placed(t *testing.T, s, iop, spacing string) *volume.Volume {
	t.Helper()
	var p [3]float64
	var o [6]float64
	for i, text := range strings.Split(s, `\`) {
		p[i], _ = decimal(text)
	}
	for i, text := range strings.Split(iop, `\`) {
		o[i], _ = decimal(text)
	}
	n := r3.Cross(r3.Vec{X: o[0], Y: o[1], Z: o[2]}, r3.Vec{X: o[3], Y: o[4], Z: o[5]})
	files := craft.Stack(4)
	for k, c := range files {
		at := r3.Add(r3.Vec{X: p[0], Y: p[1], Z: p[2]}, r3.Scale(float64(k), n))
		c.Set(0x00200032, "DS", fmt.Sprintf(`%g\%g\%g`, at.X, at.Y, at.Z)).Set(0x00200037, "DS", iop).Set(0x00280030, "DS", spacing)
	}
	_, v := readOnly(t, folder(files...))
	return v
}

// Position and orientation decide; Patient Position does not. A stack listed from the head down is still ascending along
// row × column, and every voxel keeps its place.
func TestRow17ReversedAndObliqueStacks(t *testing.T) {
	for _, c := range []struct{ iop, words string }{
		{`1\0\0\0\1\0`, "axial: columns toward Left, rows toward Posterior, slices toward Superior"},
		{`-1\0\0\0\1\0`, "axial: columns toward Right, rows toward Posterior, slices toward Inferior"},
		{`1\0\0\0\0\-1`, "coronal: columns toward Left, rows toward Inferior, slices toward Posterior"},
		{`0\1\0\0\0\-1`, "sagittal: columns toward Posterior, rows toward Inferior, slices toward Right"},
		{`0.8\0.6\0\-0.6\0.8\0`, "axial: columns toward Left, rows toward Posterior, slices toward Superior"},
		{`1\0\0\0\0.8\0.6`, "oblique, 36.9 degrees from axial: columns toward Left, rows toward Posterior, slices toward Superior"},
	} {
		v := placed(t, `3\-4\5`, c.iop, `0.25\0.5`)
		near(t, "slice step", v.Spacing()[2], 1, 1e-9)
		near(t, "origin", r3.Norm(r3.Sub(v.Origin, r3.Vec{X: 3, Y: -4, Z: 5})), 0, 1e-9)
		if got := orientation(v.Grid); got != c.words {
			t.Errorf("%s: %q, want %q", c.iop, got, c.words)
		}
		if det := r3.Dot(v.Step[0], r3.Cross(v.Step[1], v.Step[2])); det <= 0 {
			t.Errorf("%s: the grid is left-handed", c.iop)
		}
	}
	files := craft.Stack(5)
	for i, position := range []string{"FFS", "HFP", "FFP", "HFDR", ""} {
		files[i].Set(0x00185100, "CS", position)
	}
	_, v := readOnly(t, folder(files...))
	sameStack(t, v, 5)
}

// A tilted gantry: positions shear against the normal. The same two points of the object are as far apart at every tilt,
// because the sheared grid is kept. Closed form: the grid maps index to position exactly.
func TestRow18GantryTiltIsASheredGrid(t *testing.T) {
	for _, degrees := range []float64{0, 14, -20, 30} {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		files := craft.Stack(9)
		for k, c := range files { // the table moves along z, the plane is tilted about x
			c.Set(0x00200037, "DS", fmt.Sprintf(`1\0\0\0\%.8f\%.8f`, cos, -sin)).
				Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%.6f`, 0.375*float64(k)))
		}
		s, v := readOnly(t, folder(files...))
		if degrees == 0 {
			cautioned(t, s)
		} else {
			cautioned(t, s, "sheared")
			says(t, s.Cautions[0].Text, fmt.Sprintf("%.2f degrees", math.Abs(degrees)))
		}
		near(t, "table step", r3.Norm(v.Step[2]), 0.375, 1e-6)
		a, b := r3.Vec{X: -10, Y: -19.5, Z: 0.5}, r3.Vec{X: -9, Y: -19.2, Z: 2}
		ia, ib := v.Index(a), v.Index(b)
		near(t, "distance", r3.Norm(r3.Sub(v.Patient(ia), v.Patient(ib))), r3.Norm(r3.Sub(a, b)), 1e-6)
	}
}

func TestRow40SeriesSplitOverFoldersAndSeriesTwice(t *testing.T) {
	fsys := fstest.MapFS{}
	for k, c := range craft.Stack(6) {
		add(fsys, fmt.Sprintf("part%d/x%d", k%3, k), c.Bytes())
	}
	s, v := readOnly(t, fsys)
	sameStack(t, v, 6)
	cautioned(t, s)
	for k, c := range craft.Stack(6) {
		add(fsys, fmt.Sprintf("copy/%d", k), c.Bytes())
	}
	s, v = readOnly(t, fsys)
	sameStack(t, v, 6)
	cautioned(t, s, "duplicates")
}

func TestRow41OddSliceIsNamed(t *testing.T) {
	for _, change := range []func(*craft.File){
		func(c *craft.File) { c.Set(0x00280030, "DS", `0.25\0.25`) },
		func(c *craft.File) { c.US(0x00280010, 3).US(0x00280011, 10) },
	} {
		odd := craft.Slice(2)
		change(odd)
		files := craft.Stack(6)
		fsys := folder(append(append([]*craft.File{}, files[:2]...), files[3:]...)...)
		add(fsys, "IM9004.dcm", odd.Bytes())
		refused(t, fsys, "odd_slice", "IM9004.dcm", "the series has")
	}
}

func TestRow42MixedUnitsAndFrames(t *testing.T) {
	files := craft.Stack(5)
	files[3].Set(0x00200052, "UI", "7.7.7")
	refused(t, folder(files...), "mixed", "FrameOfReferenceUID")
	files = craft.Stack(5)
	files[3].Set(0x00281054, "LO", "OD")
	refused(t, folder(files...), "mixed", "RescaleType", "OD")
	files = craft.Stack(5) // "HU", and nothing, mean the same; a frame of reference not stated contradicts none
	files[3].Set(0x00281054, "LO", "HU")
	files[1].Drop(0x00200052)
	_, v := readOnly(t, folder(files...))
	sameStack(t, v, 5)
	files = craft.Stack(5)
	files[3].Drop(0x00281052, 0x00281053)
	refused(t, folder(files...), "mixed", "RescaleSlope")
}

func TestRow45FewerThanThreeSlices(t *testing.T) {
	for n := 1; n <= 2; n++ {
		refused(t, folder(craft.Stack(n)...), "too_few", fmt.Sprintf("%d slice(s): not a volume", n))
	}
}
