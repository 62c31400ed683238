package dicomio

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ridgerule/dicomio/internal/walk"
	"ridgerule/dicomio/volume"
)

// shared returns a folder of third-party files that are not in the repository, and skips where they are not.
func shared(t testing.TB, parts ...string) string {
	t.Helper()
	path := filepath.Join(append([]string{"..", "..", "shared", "data"}, parts...)...)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("%s is not here: third-party files are not in the repository", filepath.Join(parts...))
	}
	return path
}

// anyway reads a series whatever its verdict, as long as it has a grid: single files of collections.
func anyway(t testing.TB, path string) (*Series, *volume.Volume) {
	t.Helper()
	cat, err := Scan(t.Context(), opened(t, path), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := cat.Pick("1")
	if err != nil {
		t.Fatal(err)
	}
	s.judgePadding()
	v, err := s.read(t.Context(), nil)
	if err != nil {
		t.Fatalf("%v (problems %v)", err, s.Problems)
	}
	return s, v
}

// One CT slice in many transfer syntaxes: the lossless ones hold the same values, bit for bit. Outside check: an other
// program (GDCM) found so when the collection was put together.
func TestRow24LosslessSyntaxesAreBitIdentical(t *testing.T) {
	dir := shared(t, "cornerstone-transfer-syntaxes")
	_, want := anyway(t, filepath.Join(dir, "CTImage.dcm"))
	files, _ := filepath.Glob(filepath.Join(dir, "CTImage.dcm_*.dcm"))
	lossless := 0
	for _, path := range files {
		uid := path[strings.LastIndex(path, "_")+1 : len(path)-4]
		switch uid {
		case walk.Implicit, walk.Explicit, walk.BigEndian, walk.Deflated, walk.RLE, walk.JPEGLossless, walk.JPEGSV1, walk.JPEGLS, walk.JPEG2000:
			lossless++
			s, v := anyway(t, path)
			if !slices.Equal(v.Stored, want.Stored) {
				t.Errorf("%s differs", s.Facts.Encoding)
			}
			if s.Facts.Lossy {
				t.Errorf("%s is called lossy", s.Facts.Encoding)
			}
		}
	}
	if lossless != 9 {
		t.Errorf("%d lossless files, want 9", lossless)
	}
}

// The lossy ones: near-lossless JPEG-LS within 1 and JPEG 2000 within 5 of the original, as GDCM decodes them; 8-bit
// baseline with a caution; 12-bit and retired processes refused by name.
func TestRow25LossySyntaxesOfTheCollection(t *testing.T) {
	dir := shared(t, "cornerstone-transfer-syntaxes")
	_, want := anyway(t, filepath.Join(dir, "CTImage.dcm"))
	for uid, most := range map[string]int{walk.JPEGLSNear: 1, walk.JPEG2000Any: 5} {
		files, _ := filepath.Glob(filepath.Join(dir, "CTImage.dcm_*_"+uid+".dcm"))
		s, v := anyway(t, files[0])
		worst := 0
		for i := range want.Stored {
			d := int(v.Stored[i]) - int(want.Stored[i])
			worst = max(worst, d, -d)
		}
		if worst != most || !s.Facts.Lossy {
			t.Errorf("%s differs by up to %d, want %d; lossy %v", s.Facts.Encoding, worst, most, s.Facts.Lossy)
		}
	}
	for _, uid := range []string{walk.JPEGExtended, "1.2.840.10008.1.2.4.53", "1.2.840.10008.1.2.4.55"} {
		files, _ := filepath.Glob(filepath.Join(dir, "CTImage.dcm_*_"+uid+".dcm"))
		cat, err := Scan(t.Context(), opened(t, files[0]), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if !cat.Series[0].hasProblem("syntax", "TransferSyntaxUID") {
			t.Errorf("%s: problems %v", uid, cat.Series[0].Problems)
		}
	}
}

func TestCollectionWithoutPixelsOrSpacing(t *testing.T) {
	dir := shared(t, "cornerstone-transfer-syntaxes")
	_, err := Scan(t.Context(), opened(t, filepath.Join(dir, "no-pixel-data.dcm")), Limits{})
	if e, ok := err.(*SeriesError); !ok || e.Code != "no_dicom" {
		t.Errorf("no pixels: %v", err)
	}
	cat, err := Scan(t.Context(), opened(t, filepath.Join(dir, "no-pixel-spacing.dcm")), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if s := cat.Series[0]; !s.hasProblem("missing_attribute", "PixelSpacing") || s.Verdict() != Unfit {
		t.Errorf("no spacing: %v", s.Problems)
	}
}

// The tiny series with known faults: what is wrong is named.
func TestFaultySeriesOfTheCollection(t *testing.T) {
	dir := shared(t, "dicom2nifti-geometry", "failing")
	for path, want := range map[string][]string{
		"sliceincrement/001":   {"missing_slice", "step 5.000 mm"},
		"sliceincrement/002":   {"missing_slice", "step 0.750 mm"},
		"sliceorientation/001": {"too_few"},
		"slicecount/001":       {"too_few", "2 slice(s)"},
		"notavolume/001":       {"two_acquisitions"},
	} {
		cat, err := Scan(t.Context(), opened(t, filepath.Join(dir, filepath.FromSlash(path))), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, s := range cat.Series {
			for _, p := range s.Problems {
				text += p.Code + " " + p.Error() + "\n"
			}
		}
		says(t, text, want...)
	}
	_, s, v := through(t, opened(t, filepath.Join(dir, "gantrytilting", "001")))
	cautions := ""
	for _, c := range s.Cautions {
		cautions += c.Code + " " + c.Text
	}
	says(t, cautions, "sheared by 14.0")
	if v.Size[2] != 4 {
		t.Errorf("%d slices", v.Size[2])
	}
}

// One MR series in four compressed encodings against each other.
func TestCompressedSeriesOfTheCollectionAgree(t *testing.T) {
	dir := shared(t, "dicom2nifti-geometry", "generic")
	var first *volume.Volume
	for _, name := range []string{"compressed_rle", "compressed_jpeg", "compressed_jpegls", "compressed_j2k"} {
		_, v := anyway(t, filepath.Join(dir, name, "001"))
		if first == nil {
			first = v
		} else if !slices.Equal(v.Stored, first.Stored) || v.Grid != first.Grid {
			t.Errorf("%s differs from RLE", name)
		}
	}
}

// An Enhanced CT of two frames with the row direction reversed. The affine is from a public test of another program
// (verified in the project's reference list): (slice, row, column) → [[0,0,−0.388672,99.5],[0,0.388672,0,−301.5],
// [10,0,0,−159]]. Ours counts slices along row × column, here downward, so its slice 1 is that one's slice 0.
func TestRow26EnhancedCTOfTheCollection(t *testing.T) {
	dir := shared(t, "pydicom-data-selected")
	s, v := anyway(t, filepath.Join(dir, "eCT_Supplemental.dcm"))
	if v.Size != [3]int{512, 512, 2} || !s.hasProblem("derived", "ImageType") {
		t.Fatalf("size %v, problems %v", v.Size, s.Problems)
	}
	for _, ix := range []volume.Index{{}, {I: 511}, {J: 511}, {K: 1}, {I: 3, J: 7, K: 1}} {
		p := v.Patient(ix)
		near(t, "x", p.X, 99.5-0.388672*ix.I, 1e-9)
		near(t, "y", p.Y, -301.5+0.388672*ix.J, 1e-9)
		near(t, "z", p.Z, -159+10*(1-ix.K), 1e-9)
	}
	near(t, "intercept", v.RescaleOf(0).Intercept-32768*v.RescaleOf(0).Slope, -1024, 0)
}

// An Enhanced MR in six encodings: the lossless ones agree, a cut one is refused.
func TestRow26EnhancedEncodingsAgree(t *testing.T) {
	dir := shared(t, "pydicom-data-selected")
	_, want := anyway(t, filepath.Join(dir, "emri_small.dcm"))
	for _, name := range []string{"emri_small_RLE", "emri_small_big_endian", "emri_small_jpeg_2k_lossless", "emri_small_jpeg_ls_lossless"} {
		s, v := anyway(t, filepath.Join(dir, name+".dcm"))
		if !slices.Equal(v.Stored, want.Stored) || v.Grid != want.Grid {
			t.Errorf("%s (%s) differs", name, s.Facts.Encoding)
		}
	}
	cat, err := Scan(t.Context(), opened(t, filepath.Join(dir, "emri_small_jpeg_2k_lossless_too_short.dcm")), Limits{})
	if err == nil {
		_, err = cat.Series[0].read(t.Context(), nil)
	}
	if _, ours := err.(*SeriesError); !ours {
		t.Errorf("the cut one gave %v", err)
	}
}

// Every other file of the collections, and the parser module's own, is read or refused with our error.
func TestEveryFileOfTheCollectionsIsAnswered(t *testing.T) {
	for _, name := range []string{"pydicom-data-selected", "cornerstone-transfer-syntaxes"} {
		files, _ := filepath.Glob(filepath.Join(shared(t, name), "*.dcm"))
		for _, path := range files {
			cat, err := Scan(t.Context(), opened(t, path), Limits{})
			for i := 0; err == nil && i < len(cat.Series); i++ {
				_, err = cat.Series[i].Read(t.Context(), nil)
			}
			if _, ours := err.(*SeriesError); !ours {
				t.Errorf("%s: %v", filepath.Base(path), err)
			}
		}
	}
}

// The parser module's own test files: a PET, an MR, a projection, a small Enhanced CT and a deflated capture.
func TestParserModuleFilesAreAnswered(t *testing.T) {
	t.Parallel()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/suyashkumar/dicom").Output()
	if err != nil {
		t.Skip("the go command is not here to find the module")
	}
	dir := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	for name, class := range map[string]string{
		"1.dcm": "Positron Emission Tomography Image Storage", "2.dcm": "Positron Emission Tomography Image Storage", "3.dcm": "MR Image Storage",
		"4.dcm": "Computed Radiography Image Storage", "5.dcm": "Enhanced CT Image Storage", "6.dcm": "Secondary Capture Image Storage",
	} {
		cat, err := Scan(t.Context(), opened(t, filepath.Join(dir, name)), Limits{})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if s := cat.Series[0]; s.Facts.SOPClass != class || s.Verdict() != Unfit {
			t.Errorf("%s: %s, %v", name, s.Facts.SOPClass, s.Verdict())
		}
	}
}

// A real head-and-neck CT of 90 slices, 511 × 511, 1 × 1 × 3 mm, Implicit VR, no Patient Position.
func TestHeadAndNeckSeries(t *testing.T) {
	t.Parallel()
	packed := shared(t, "pycerr-head-neck-ct", "pt_1.tar.xz")
	dir := t.TempDir()
	if out, err := exec.Command(tool(t, "tar"), "xJf", packed, "-C", dir).CombinedOutput(); err != nil {
		t.Skipf("tar cannot unpack xz here: %s", out)
	}
	cat, s, v := through(t, opened(t, dir))
	t.Logf("%d series; %v; %s; cautions %v; passed %v", len(cat.Series), v.Size, s.Facts.Orientation, s.Cautions, cat.Passed)
	if v.Size[0] != 511 || v.Size[1] != 511 {
		t.Errorf("size %v", v.Size)
	}
	d := v.Spacing()
	near(t, "column spacing", d[0], 1, 0.01)
	near(t, "slice step", d[2], 3, 1e-6)
	low, high := math.Inf(1), math.Inf(-1)
	for k := range v.Size[2] {
		g := v.Grey(255, 255, k)
		low, high = min(low, g), max(high, g)
	}
	if low < -1024 || high > 3071 {
		t.Errorf("grey values from %v to %v, beyond what 12 bits from -1024 hold", low, high)
	}
}
