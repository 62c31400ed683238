package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"ridgerule": main, "stuck": stuck})
}

// stuck is a command that never looks whether it was interrupted: it fills out/deep/ for ever.
func stuck() {
	a := &app{stdout: os.Stdout, stderr: os.Stderr}
	os.Exit(a.interruptible(0, func(context.Context) int {
		f, err := newFolder("out/deep", false)
		for n := 0; err == nil; n++ {
			err = f.write(fmt.Sprintf("%d/table", n%100), func(io.Writer) error { return nil })
			os.RemoveAll(f.path(fmt.Sprint(n % 100)))
		}
		select {}
	}))
}

// TestScripts runs the verbs as a user does: command, stdout, stderr, exit status, what is left on
// the disk. Its own commands:
//
//	status N ridgerule …   run it, and hold its exit status against N
//	ridgescan DIR          write a synthetic ridge as a DICOM series (see ridge)
//	canalscan DIR          write a block of bone with one canal as a DICOM series (see canalscan)
//	ontrue FILE            the path in FILE lies on that canal
//	rename DIR NAME        give the patient of every file in DIR another name of the same length
//	onlyfile DIR NAME…     DIR holds these entries and no others, hidden ones included
//	private DIR            nobody but the owner may read anything in DIR
//	sametree A B           two folders hold the same files with the same bytes
//	noword WORD DIR        no file below DIR holds WORD
//	crlf FILE NEW          write FILE with the line ends of another system
//	fillin FILE N VALUE    the cell value of the N-th answer of a form
//	samepatient A B        all DICOM objects of two folders have one PatientID
func TestScripts(t *testing.T) {
	docs, err := filepath.Abs("../../docs")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:   "testdata",
		Setup: func(e *testscript.Env) error { e.Setenv("DOCS", docs); return nil },
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": status, "ridgescan": ridgescan, "rename": rename,
			"canalscan": canalscan, "ontrue": ontrue,
			"onlyfile": onlyfile, "private": onlyOwner, "noword": noword, "sametree": sametree,
			"crlf": crlf, "samepatient": samePatient, "fillin": fillIn,
		},
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
	})
}

func status(ts *testscript.TestScript, _ bool, args []string) {
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var exit *exec.ExitError
	switch err := ts.Exec(args[1], args[2:]...); {
	case errors.As(err, &exit):
		got = exit.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

// The ridge of ridgescan: a wall of bone along the parabola y = x²/25 − 20, 8 mm wide from z = 0
// to its crest at z = 25, on voxels of 0.5 mm.
const (
	ridgeHalf   = 4.0
	ridgeHeight = 25.0
)

func ridgescan(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(dicomio.WriteCT(ts.MkAbs(args[0]), ridgeVolume(), dicomio.WriteOptions{}))
}

func ridgeVolume() *volume.Volume {
	v, err := volume.New(volume.Grid{
		Size: [3]int{130, 90, 84}, Origin: r3.Vec{X: -32, Y: -27, Z: -8},
		Step: [3]r3.Vec{{X: 0.5}, {Y: 0.5}, {Z: 0.5}},
	})
	if err != nil {
		panic(err)
	}
	for j := range v.Size[1] {
		for i := range v.Size[0] {
			p := v.Patient(volume.Index{I: float64(i), J: float64(j)})
			beside := ridgeHalf - fromParabola(p.X, p.Y)
			for k := range v.Size[2] {
				z := p.Z + 0.5*float64(k)
				inside := min(beside, z, ridgeHeight-z)          // distance into the bone, mm
				share := math.Min(1, math.Max(0, inside/0.5+.5)) // of the voxel
				v.Stored[(k*v.Size[1]+j)*v.Size[0]+i] = int16(1500 * share)
			}
		}
	}
	return v
}

// fromParabola returns the distance of (x, y) from the curve y = x²/25 − 20, mm.
func fromParabola(x, y float64) float64 {
	least := math.Inf(1)
	for s := -40.0; s <= 40; s += 0.1 {
		least = min(least, math.Hypot(x-s, y-(s*s/25-20)))
	}
	return least
}

// rename changes PatientName (0010,0010) in place.
func rename(ts *testscript.TestScript, _ bool, args []string) {
	files, err := filepath.Glob(filepath.Join(ts.MkAbs(args[0]), "*"))
	ts.Check(err)
	for _, name := range files {
		data, err := os.ReadFile(name)
		ts.Check(err)
		at := bytes.Index(data, []byte("\x10\x00\x10\x00PN"))
		if at < 0 {
			ts.Fatalf("%s has no patient's name", name)
		}
		length := int(data[at+6]) + int(data[at+7])<<8
		copy(data[at+8:at+8+length], fmt.Sprintf("%-*.*s", length, length, args[1]))
		ts.Check(os.WriteFile(name, data, 0o600))
	}
}

func onlyfile(ts *testscript.TestScript, _ bool, args []string) {
	entries, err := os.ReadDir(ts.MkAbs(args[0]))
	ts.Check(err)
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if want := args[1:]; strings.Join(got, " ") != strings.Join(want, " ") {
		ts.Fatalf("%s holds %q, want %q", args[0], got, want)
	}
}

func onlyOwner(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(filepath.WalkDir(ts.MkAbs(args[0]), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			err = fmt.Errorf("%s has mode %v", path, info.Mode())
		}
		return err
	}))
}

func noword(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(filepath.WalkDir(ts.MkAbs(args[1]), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err == nil && bytes.Contains(bytes.ToLower(data), bytes.ToLower([]byte(args[0]))) {
			err = fmt.Errorf("%s holds %s", path, args[0])
		}
		return err
	}))
}

func sametree(ts *testscript.TestScript, _ bool, args []string) {
	a, b := tree(ts.MkAbs(args[0])), tree(ts.MkAbs(args[1]))
	for name, data := range a {
		if other, there := b[name]; !there || !bytes.Equal(data, other) {
			ts.Fatalf("%s of %s is another in %s, or not there", name, args[0], args[1])
		}
	}
	if len(a) != len(b) {
		ts.Fatalf("%d files in %s, %d in %s", len(a), args[0], len(b), args[1])
	}
}

// tree returns the bytes of every file below dir by its path.
func tree(dir string) map[string][]byte {
	out := map[string][]byte{}
	_ = fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out[path], err = os.ReadFile(filepath.Join(dir, path))
		}
		return err
	})
	return out
}
