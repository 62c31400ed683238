package dicomio

import (
	"encoding/json"
	"os"
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
			all[one.File] = append(all[one.File], nibabelPoint{p[0], p[1], p[2], r3.Vec{X: p[3], Y: p[4], Z: p[5]}})
		}
	}
	return all
}

// Outside check: nibabel's DICOM affine, slice by slice, on an oblique sheared series of ours and on real ones.
func TestAffineIsThatOfNibabel(t *testing.T) {
	t.Parallel()
	ours := filepath.Join(t.TempDir(), "series")
	if err := WriteCT(ours, awkward(), WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	tolerance := map[string]float64{ours: 1e-9}
	for _, part := range []string{"failing/gantrytilting/001", "generic/compressed_rle/001"} {
		dir := filepath.Join("..", "..", "shared", "data", "dicom2nifti-geometry", filepath.FromSlash(part))
		if _, err := os.Stat(dir); err != nil {
			t.Logf("not checked: %s is not here", part)
			continue
		}
		tolerance[dir] = 1e-4 // positions of those files are rounded to 1e-6 and fitted
	}
	var files []string
	for dir := range tolerance {
		found, _ := filepath.Glob(filepath.Join(dir, "*"))
		files = append(files, found...)
	}
	points := nibabel(t, files...)
	for dir, mm := range tolerance {
		s, v := anyway(t, dir)
		for k, image := range s.Images {
			at := points[filepath.Join(dir, image.File)]
			if len(at) == 0 {
				t.Errorf("%s: nothing to compare", image.File)
			}
			for _, p := range at {
				got := v.Patient(volume.Index{I: p.column, J: p.row, K: float64(k)})
				near(t, image.File, r3.Norm(r3.Sub(got, p.p)), 0, mm)
			}
		}
	}
}
