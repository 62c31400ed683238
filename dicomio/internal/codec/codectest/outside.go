package codectest

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"ridgerule/dicomio/internal/codec"
)

// Outside has another decoder read a frame of one of our test encoders: dcmdjpeg for syntax "57", libcharls for "80". It skips
// the test where python3-pydicom or the decoder is absent.
func Outside(t *testing.T, syntax string, frame []byte, s codec.Shape) []uint16 {
	t.Helper()
	if syntax == "57" {
		if _, err := exec.LookPath("dcmdjpeg"); err != nil {
			t.Skip("needs dcmdjpeg (Debian dcmtk)")
		}
	}
	probe := map[string]string{"57": "import pydicom", "80": "import ctypes; ctypes.CDLL('libcharls.so.2')"}[syntax]
	if err := exec.Command(python, "-c", probe).Run(); err != nil {
		t.Skipf("needs python3 that can %s", probe)
	}
	in, out := filepath.Join(t.TempDir(), "frame"), filepath.Join(t.TempDir(), "pixels")
	if err := os.WriteFile(in, frame, 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{filepath.Join(folder, "outside.py"), syntax, in}
	for _, n := range []int{s.Columns, s.Rows, s.Allocated, s.Stored} {
		args = append(args, strconv.Itoa(n))
	}
	if log, err := exec.Command(python, append(args, out)...).CombinedOutput(); err != nil {
		t.Fatalf("outside.py: %v\n%s", err, log)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return words(b, s)
}
