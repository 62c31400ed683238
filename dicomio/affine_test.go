package dicomio

import (
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// nibabelPoint is where nibabel places a voxel.
type nibabelPoint struct {
	column, row, slice float64
	p                  r3.Vec
}

// nibabel runs testdata/dicomio/affine.py on files, and skips where nibabel is not installed.
func nibabel(t *testing.T, files ...string) map[string][]nibabelPoint {
	t.Helper()
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import nibabel, pydicom").Run() != nil {
		t.Skip("python3-nibabel is not installed")
	}
	out, err := exec.Command(python, append([]string{"../testdata/dicomio/affine.py"}, files...)...).Output()
	if err != nil {
		t.Fatalf("affine.py: %v", err)
	}
	all := map[string][]nibabelPoint{}
	for line := range strings.Lines(string(out)) {
		var one struct {
			File   string
			Points [][6]float64
		}
		if err := json.Unmarshal([]byte(line), &one); err != nil {
			t.Fatal(err)
		}
		for _, p := range one.Points {
			all[filepath.Base(one.File)] = append(all[filepath.Base(one.File)], nibabelPoint{p[0], p[1], p[2], r3.Vec{X: p[3], Y: p[4], Z: p[5]}})
		}
	}
	return all
}

// agrees checks that every point of every slice lies where nibabel puts it.
func agrees(t *testing.T, s *Series, v *volume.Volume, points map[string][]nibabelPoint, tolerance float64) {
	t.Helper()
	checked := 0
	for k, image := range s.Images {
		for _, p := range points[filepath.Base(image.File)] {
			got := v.Patient(volume.Index{I: p.column, J: p.row, K: float64(k)})
			near(t, image.File, r3.Norm(r3.Sub(got, p.p)), 0, tolerance)
			checked++
		}
	}
	if checked == 0 {
		t.Error("no point was compared")
	}
}

// Outside check: nibabel's DICOM affine, slice by slice, on an oblique sheared series of ours and on real ones.
func TestAffineIsThatOfNibabel(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "series")
	if err := WriteCT(dir, awkward(), WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	_, s, v := through(t, opened(t, dir))
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	agrees(t, s, v, nibabel(t, files...), 1e-9)
}

func TestAffineIsThatOfNibabelOnRealSeries(t *testing.T) {
	dir := shared(t, "dicom2nifti-geometry")
	for _, part := range []string{"failing/gantrytilting/001", "generic/compressed_rle/001"} {
		path := filepath.Join(dir, filepath.FromSlash(part))
		s, v := anyway(t, path)
		files, _ := filepath.Glob(filepath.Join(path, "*"))
		agrees(t, s, v, nibabel(t, files...), 1e-4) // positions of those files are rounded to 1e-6 and fitted
	}
}
