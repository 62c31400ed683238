package dicomio

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"ridgerule/dicomio/craft"
)

// The rows of the table of tricky series that concern where slices lie. Each test is named with its row.

func TestRow01AnyOrderNamesFoldersAndOtherFiles(t *testing.T) {
	fsys := fstest.MapFS{}
	for k, c := range craft.Stack(6) {
		add(fsys, fmt.Sprintf("a/%d/%c%d", k%2, 'z'-k, 5-k), c.Bytes())
	}
	add(fsys, "report.pdf", []byte("%PDF-1.4 nothing"))
	add(fsys, "a/.DS_Store", []byte("\x00\x00\x00\x01Bud1"))
	add(fsys, "viewer.exe", append([]byte("MZ"), make([]byte, 500)...))
	add(fsys, "empty", nil)
	s, v := readOnly(t, fsys)
	sameStack(t, v, 6)
	cautioned(t, s)
	cat, _ := scanned(t, fsys)
	if len(cat.Passed) != 1 || cat.Passed[0].Reason != "not DICOM" || cat.Passed[0].Count != 4 {
		t.Errorf("passed over %v, want 4 not DICOM", cat.Passed)
	}
}

func TestRow02OrderIsByPositionNotByInstanceNumber(t *testing.T) {
	files := craft.Stack(5)
	for k, c := range files {
		c.Set(0x00200013, "IS", fmt.Sprint([]int{3, 3, 9, 1, -4}[k]))
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 5)
	cautioned(t, s)
	near(t, "origin z", v.Origin.Z, 30, 1e-12)
	near(t, "step z", v.Step[2].Z, 0.4, 1e-12)
}

func TestRow03SpacingComesFromPositions(t *testing.T) {
	for _, tag := range []uint32{0x00180050, 0x00180088} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Set(tag, "DS", "0.75")
		}
		s, v := readOnly(t, folder(files...))
		near(t, "slice step", v.Spacing()[2], 0.4, 1e-12)
		cautioned(t, s, map[uint32]string{0x00180050: "stated_slicethickness", 0x00180088: "stated_spacingbetweenslices"}[tag])
		for _, c := range files {
			c.Set(tag, "DS", "0.41")
		}
		s, _ = readOnly(t, folder(files...))
		cautioned(t, s)
	}
}

func TestRow04MissingSliceIsNamedByPosition(t *testing.T) {
	files := craft.Stack(8)
	refused(t, folder(append(files[:3], files[4:]...)...), "missing_slice", "1 slice(s) missing", `-10.000\-20.000\31.200 mm`, "0.400 mm")
}

// The smallest voxels in use: at 0.08 mm a missing slice must not pass as jitter.
func TestRow04MissingSliceOfFineStack(t *testing.T) {
	var files []*craft.File
	for k := range 30 {
		if k != 17 {
			files = append(files, craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`0\0\%.2f`, 0.08*float64(k))))
		}
	}
	refused(t, folder(files...), "missing_slice", `0.000\0.000\1.360 mm`)
}

func TestRow05SeveralMissingOrUneven(t *testing.T) {
	files := craft.Stack(12)
	gone := append(append(append([]*craft.File{}, files[:2]...), files[4:9]...), files[10:]...)
	refused(t, folder(gone...), "missing_slice", "3 slice(s) missing", `\30.800 mm`, `\31.200 mm`, `\33.600 mm`)
	for _, shift := range []float64{0.011, 0.05, 0.2, -0.2} { // of a 0.4 mm step: 2.75 % and more
		files := craft.Stack(12)
		for k := 7; k < 12; k++ {
			files[k].Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%.4f`, 30+0.4*float64(k)+shift))
		}
		refused(t, folder(files...), "uneven", "not evenly spaced", fmt.Sprintf("%.3f mm from", 0.4+shift), "32.400")
	}
}

// Each gap within 1 %, and yet the stack bends: 60 slices whose step grows from 0.4985 to 0.5015 mm.
func TestRow05SlowlyGrowingStepIsUneven(t *testing.T) {
	var files []*craft.File
	z := 0.0
	for k := range 60 {
		files = append(files, craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`0\0\%.6f`, z)))
		z += 0.4985 + 0.003*float64(k)/59
	}
	refused(t, folder(files...), "uneven", "out of place")
}

func TestRow06DuplicateSliceIsReadOnce(t *testing.T) {
	files := craft.Stack(5)
	same := craft.Slice(2)
	other := craft.Slice(3).Set(0x00080018, "UI", "9.9.9")
	s, v := readOnly(t, folder(append(files, same, other)...))
	sameStack(t, v, 5)
	cautioned(t, s, "duplicates")
	says(t, s.Cautions[0].Text, "2 image(s)")
}

func TestRow07SamePositionDifferentPixels(t *testing.T) {
	for _, sop := range []string{"1.2.3.4.3", "9.9.9"} { // the same SOP Instance UID, and another
		twin := craft.Slice(2).Set(0x00080018, "UI", sop)
		twin.Pixels[11]++
		fsys := folder(craft.Stack(5)...)
		add(fsys, "IM9003.dcm", twin.Bytes())
		refused(t, fsys, "two_acquisitions", "IM9003.dcm", "17", "two acquisitions", `\30.800 mm`)
	}
}

func TestRow08TwoSeries(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range craft.Stack(5) {
		files = append(files, c.Set(0x0020000E, "UI", "1.2.3.77"))
	}
	cat, err := scanned(t, folder(files...))
	if err != nil || len(cat.Series) != 2 {
		t.Fatalf("%d series, %v", len(cat.Series), err)
	}
	_, err = cat.Pick("")
	if e, ok := err.(*SeriesError); !ok || e.Code != "several" {
		t.Fatalf("no choice gave %v", err)
	}
	says(t, err.Error(), "1: 4 slices", "2: 5 slices", "0.4 × 0.3 × 0.4 mm")
	for _, selector := range []string{"2", "1.2.3.77"} {
		s, err := cat.Pick(selector)
		if err != nil || s.Grid.Size[2] != 5 {
			t.Errorf("Pick(%q) = %v, %v", selector, s, err)
		}
	}
	if _, err := cat.Pick("3"); err == nil || !strings.Contains(err.Error(), "no such series") {
		t.Errorf(`Pick("3") gave %v`, err)
	}
}

func TestRow08OnlyCTVolumeIsTaken(t *testing.T) {
	files := craft.Stack(4)
	for k := range 6 { // another class, and a pair of CT images that are no volume
		files = append(files, craft.Slice(k).Set(0x0020000E, "UI", "5.5").Set(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.4"))
	}
	files = append(files, craft.Slice(0).Set(0x0020000E, "UI", "6.6"), craft.Slice(1).Set(0x0020000E, "UI", "6.6"))
	_, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
}

func TestRow09TwoStacksUnderOneUIDAreSplit(t *testing.T) {
	for name, change := range map[string]func(*craft.File){
		"orientation": func(c *craft.File) { c.Set(0x00200037, "DS", `0\1\0\0\0\-1`) },
		"spacing":     func(c *craft.File) { c.Set(0x00280030, "DS", `0.2\0.2`) },
		"matrix":      func(c *craft.File) { c.US(0x00280010, 3).US(0x00280011, 10) },
	} {
		files := craft.Stack(4)
		for k := range 4 {
			c := craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`%g\-20\3`, float64(k)))
			if name != "orientation" {
				c.Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%g`, 90+float64(k)))
			}
			change(c)
			files = append(files, c)
		}
		cat, err := scanned(t, folder(files...))
		if err != nil || len(cat.Series) != 2 || cat.Series[0].Part == cat.Series[1].Part {
			t.Fatalf("%s: %d series, %v", name, len(cat.Series), err)
		}
		for _, s := range cat.Series {
			if len(s.Problems) > 0 || s.Grid.Size[2] != 4 {
				t.Errorf("%s: %v, %v", name, s.Grid, s.Problems)
			}
		}
		if _, err := cat.Pick(""); err == nil {
			t.Errorf("%s: two volumes and no choice, but no error", name)
		}
	}
}
