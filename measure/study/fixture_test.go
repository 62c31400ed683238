package study

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/report"
)

// childEnv makes the test binary a study that is there to be killed: manifest|folder; or one case.
const childEnv = "RIDGERULE_STUDY_TEST"

var fixture string // a folder with scan/ and plan0.yaml … plan4.yaml, made once for all tests

func TestMain(m *testing.M) {
	if args := os.Getenv(childEnv); args != "" {
		os.Exit(child(strings.Split(args, "|")))
	}
	os.Exit(func() int {
		var err error
		if fixture, err = os.MkdirTemp("", "study"); err == nil {
			defer os.RemoveAll(fixture)
			err = makeFixture(fixture)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		return m.Run()
	}())
}

// child runs a study until it is done or killed.
func child(args []string) int {
	if args[0] == "case" { // of BenchmarkWorkers; several times over, for a real case takes longer to measure than to start
		for range 10 {
			if err := doCase(context.Background(), Job{Case: args[1], Series: args[2], Plan: args[3], Folder: args[4]}); err != nil {
				return 1
			}
		}
		return 0
	}
	m, err := OpenManifest(args[0])
	if err == nil {
		_, err = Run(context.Background(), m, args[1], Options{Do: doCase, Tool: "t", Jobs: 2})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// makeFixture writes a straight wall of bone, 8 mm thick and 25 mm high, on voxels of 0.8 mm.
func makeFixture(dir string) error {
	v, err := volume.New(volume.Grid{Size: [3]int{50, 40, 50}, Origin: r3.Vec{X: -20, Y: -16, Z: -8},
		Step: [3]r3.Vec{{X: 0.8}, {Y: 0.8}, {Z: 0.8}}})
	if err != nil {
		return err
	}
	for n := range v.Stored {
		p := v.Patient(volume.Index{J: float64(n / 50 % 40), K: float64(n / 2000)})
		in := min(4-math.Abs(p.Y), p.Z, 25-p.Z)
		v.Stored[n] = int16(1500 * min(1, max(0, in/0.8+.5)))
	}
	if err := dicomio.WriteCT(filepath.Join(dir, "scan"), v, dicomio.WriteOptions{}); err != nil {
		return err
	}
	for i := range 5 {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("plan%d.yaml", i)), []byte(planText(i)), 0o600); err != nil {
			return err
		}
	}
	return nil
}

func planText(i int) string {
	return fmt.Sprintf(`format: 1
case: wall
jaw: mandible
arch: {points: [[-18, 0, 20], [-6, 0.2, 20], [6, 0.2, 20], [18, 0, 20]]}
sites:
  - {tooth: "36", arc_mm: %d, height_to: border, depths_mm: [3, %d]}
`, 12+2*i, 5+i)
}

// manifestOf returns a manifest of n readings: plans in turn, two readers, one further column.
func manifestOf(t testing.TB, n int) *Manifest {
	t.Helper()
	var b strings.Builder
	b.WriteString("case,series,plan,reader,replicate,age\n")
	for i := range n {
		fmt.Fprintf(&b, "wall-%d,scan,plan%d.yaml,%c,1,%d\n", i/2, i%5, 'A'+i%2, 40+i)
	}
	m, err := ReadManifest("m.csv", []byte(b.String()), fixture)
	require.NoError(t, err)
	return m
}

// doCase measures a job in this process: the tables and the result, no pictures.
func doCase(ctx context.Context, j Job) error {
	p, source, err := plan.Open(j.Plan)
	if err != nil {
		return err
	}
	p.Case = j.Case
	input, err := dicomio.Open(j.Series, dicomio.Limits{})
	if err != nil {
		return err
	}
	defer input.Close()
	found, err := dicomio.Scan(ctx, input, dicomio.Limits{})
	if err != nil {
		return err
	}
	s, err := found.Pick("")
	if err != nil {
		return err
	}
	v, err := s.Read(ctx, nil)
	if err != nil {
		return err
	}
	placed, err := p.Place(v.Grid, source)
	if err != nil {
		return err
	}
	r, err := measure.Run(ctx, v, placed, measure.Scan{SeriesHash: s.Hash(v), Size: v.Size, Spacing: v.Spacing(), Verdict: "fit"}, measure.Options{})
	if err != nil {
		return err
	}
	for name, fill := range map[string]func(io.Writer) error{
		"measurements.csv": func(w io.Writer) error { return report.MeasurementsCSV(w, r) },
		"sites.csv":        func(w io.Writer) error { return report.SitesCSV(w, r) },
		"result.json":      func(w io.Writer) error { return report.WriteJSON(w, r, report.Provenance{Tool: "t"}) },
	} {
		var b bytes.Buffer
		if err := fill(&b); err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(j.Folder, name), b.Bytes(), 0o600); err != nil {
			return err
		}
	}
	return nil
}

// counted counts the calls of a Do.
func counted(n *atomic.Int64, do func(context.Context, Job) error) func(context.Context, Job) error {
	return func(ctx context.Context, j Job) error {
		n.Add(1)
		return do(ctx, j)
	}
}

// tables merges a study and returns the bytes of all it wrote.
func tables(t testing.TB, dir string) map[string]string {
	t.Helper()
	_, err := Merge(dir, MergeOptions{})
	require.NoError(t, err)
	all := map[string]string{}
	for _, name := range []string{"measurements.csv", "sites.csv", "cases.csv", "failures.csv", "datapackage.json"} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		all[name] = string(data)
	}
	return all
}
