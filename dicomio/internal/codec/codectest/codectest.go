// Package codectest gives the decoders' tests their vectors: frames made by outside encoders, with the pixels they hold.
//
// The table vectors.csv and its files come from testdata/codecs/make.py; testdata/codecs/README.md tells their origin.
package codectest

import (
	"archive/zip"
	"encoding/binary"
	"encoding/csv"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"ridgerule/dicomio/internal/codec"
)

// Vector is one compressed frame.
type Vector struct {
	Name     string
	Shape    codec.Shape
	Frame    []byte
	Truth    []uint16 // what it decodes to: for a lossy encoding, by an outside decoder
	Within   int      // how far from Truth: 0, but 1 for the irreversible wavelet, where decoders may round their own way
	Original []uint16 // what was encoded
	Near     int      // largest difference of Original from Truth, grey values; below 0 is unbounded
	Tool     string   // the command that encoded it
}

// python is Debian's, which sees python3-pydicom.
const python = "/usr/bin/python3"

// folder is testdata/codecs, seen from a decoder's package.
const folder = "../../../testdata/codecs"

// Committed returns the committed vectors of one decoder's package.
func Committed(t testing.TB, of string) []Vector {
	z, err := zip.OpenReader(filepath.Join(folder, "frames.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	return load(t, z, of)
}

// Live has the outside tools encode anew, and returns what they made; it skips the test where they are absent.
// RIDGERULE_LONG=1 has them encode every image, several hundred frames a decoder, in place of one.
func Live(t testing.TB, of string) []Vector {
	if err := exec.Command(python, "-c", "import pydicom, numpy").Run(); err != nil {
		t.Skip("needs Debian's python3-pydicom and python3-numpy")
	}
	for _, tool := range []string{"dcmcjpeg", "dcmcjpls", "dcmcrle", "gdcmconv", "opj_compress"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("needs %s (Debian dcmtk, libgdcm-tools, libopenjp2-tools)", tool)
		}
	}
	out := t.TempDir()
	args := []string{filepath.Join(folder, "make.py"), out, "--codec", of}
	if os.Getenv("RIDGERULE_LONG") == "" {
		args = append(args, "--image", "ct-s12")
	}
	if log, err := exec.Command(python, args...).CombinedOutput(); err != nil {
		t.Fatalf("make.py: %v\n%s", err, log)
	}
	return load(t, os.DirFS(out), of)
}

func load(t testing.TB, dir fs.FS, of string) []Vector {
	f, err := dir.Open("vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []Vector
	for _, row := range rows[1:] {
		if row[1] != of {
			continue
		}
		n := func(i int) int {
			v, err := strconv.Atoi(row[i])
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		s := codec.Shape{Columns: n(2), Rows: n(3), Allocated: n(4), Stored: n(5), Signed: n(6) == 1}
		all = append(all, Vector{Name: row[0], Shape: s, Frame: read(t, dir, row[0]+".bin"), Near: n(10), Tool: row[11],
			Truth: words(read(t, dir, row[7]), s), Within: n(8), Original: words(read(t, dir, row[9]), s)})
	}
	if len(all) == 0 {
		t.Fatalf("no vector of %s", of)
	}
	return all
}

func read(t testing.TB, dir fs.FS, name string) []byte {
	b, err := fs.ReadFile(dir, name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func words(b []byte, s codec.Shape) []uint16 {
	w := make([]uint16, s.Columns*s.Rows)
	for i := range w {
		if s.Allocated == 8 {
			w[i] = uint16(b[i])
		} else {
			w[i] = binary.LittleEndian.Uint16(b[2*i:])
		}
	}
	return w
}

// Grey gives the value that the header of s gives a pattern: masked, and extended when signed.
func Grey(s codec.Shape, pattern uint16) int {
	v := int(pattern) & (1<<s.Stored - 1)
	if s.Signed && v>>(s.Stored-1) == 1 {
		v -= 1 << s.Stored
	}
	return v
}

// Decoder is what each decoder is.
type Decoder func(dst []uint16, data []byte, want codec.Shape) error

// Check decodes v twice and reports each way in which the result is not the truth, or is not within Near of the original.
func Check(t *testing.T, decode Decoder, v Vector) {
	t.Helper()
	dst := make([]uint16, v.Shape.Columns*v.Shape.Rows)
	for range 2 { // the second time over the first one's pixels: nothing may depend on them
		if err := decode(dst, v.Frame, v.Shape); err != nil {
			t.Fatalf("%s: %v", v.Tool, err)
		}
		for i, pattern := range dst {
			got, truth, original := Grey(v.Shape, pattern), Grey(v.Shape, v.Truth[i]), Grey(v.Shape, v.Original[i])
			if max(got-truth, truth-got) > v.Within {
				t.Fatalf("%s: sample %d of %d × %d is %d, want %d", v.Tool, i, v.Shape.Columns, v.Shape.Rows, got, truth)
			}
			if v.Near >= 0 && max(got-original, original-got) > v.Near {
				t.Fatalf("%s: sample %d is %d, more than %d from the original's %d", v.Tool, i, got, v.Near, original)
			}
		}
	}
}
