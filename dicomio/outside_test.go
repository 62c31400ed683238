package dicomio

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// tool skips, visibly, where an outside program is not installed.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed", name)
	}
	return path
}

// Outside check: dciodvfy (dicom3tools) knows the CT Image IOD's modules and value sets.
func TestWrittenSliceHasNoErrorForDciodvfy(t *testing.T) {
	t.Parallel()
	program := tool(t, "dciodvfy")
	for _, options := range []WriteOptions{{}, {Unsigned: true}} {
		dir := filepath.Join(t.TempDir(), "series")
		if err := WriteCT(dir, awkward(), options); err != nil {
			t.Fatal(err)
		}
		out, _ := exec.Command(program, filepath.Join(dir, "IM0003.dcm")).CombinedOutput()
		for line := range strings.Lines(string(out)) {
			if strings.HasPrefix(line, "Error") {
				t.Errorf("%+v: %s", options, line)
			}
		}
	}
}

// Outside check: dcmdump (dcmtk) and gdcminfo (GDCM) parse the file to its end.
func TestWrittenSliceIsReadByDcmtkAndGDCM(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "series")
	if err := WriteCT(dir, awkward(), WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"dcmdump", "-q"}, {"gdcminfo"}} {
		program := tool(t, args[0])
		out, err := exec.Command(program, append(args[1:], filepath.Join(dir, "IM0003.dcm"))...).CombinedOutput()
		if err != nil || strings.Contains(string(out), "W: ") || strings.Contains(string(out), "E: ") {
			t.Errorf("%s: %v\n%s", args[0], err, out)
		}
	}
}
