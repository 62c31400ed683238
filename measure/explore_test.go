package measure_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
)

type tally struct{ err, u map[string][]float64 }

func (a tally) add(q string, e, u float64) {
	a.err[q] = append(a.err[q], e)
	a.u[q] = append(a.u[q], u)
}

func (a tally) print(t *testing.T) {
	var keys []string
	for k := range a.err {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		m, sd := stat.MeanStdDev(a.err[k], nil)
		in := 0
		worst := 0.0
		for i, e := range a.err[k] {
			if math.Abs(e) <= a.u[k][i] {
				in++
			}
			if math.Abs(e) > math.Abs(worst) {
				worst = e
			}
		}
		t.Logf("%-22s n %4d bias %+.4f SD %.4f worst %+.3f U %.3f U/SD %.2f cover %.2f", k, len(a.err[k]), m, sd, worst, stat.Mean(a.u[k], nil), stat.Mean(a.u[k], nil)/sd, float64(in)/float64(len(a.err[k])))
	}
}

func compare(t *testing.T, o phantom.Options, a tally, verbose bool) {
	t0 := time.Now()
	j, err := phantom.New(o)
	require.NoError(t, err)
	v, err := j.Volume(context.Background(), nil)
	require.NoError(t, err)
	var buf bytes.Buffer
	require.NoError(t, j.Plan().Write(&buf))
	plan, err := measure.ReadPlan("plan.yaml", buf.Bytes(), fstest.MapFS{})
	require.NoError(t, err)
	truth, err := j.Truth()
	require.NoError(t, err)
	t1 := time.Now()
	r, err := measure.Run(context.Background(), v, plan, measure.Scan{}, measure.Options{})
	require.NoError(t, err)
	if verbose {
		t.Logf("made in %v, measured in %v; blur %.3f noise %.1f", t1.Sub(t0), time.Since(t1), r.Scan.Blur, r.Scan.Noise)
	}
	for i, s := range r.Sites {
		tr := truth.Sites[i].Ridge
		if o.Given {
			tr = truth.Sites[i].Design
		}
		if s.Err != "" {
			t.Logf("LOST %d %s: %s", o.Seed, s.ID, s.Err)
			continue
		}
		for _, row := range s.Rows {
			if row.Value == nil {
				if verbose && row.Note != "" {
					t.Logf("%s %s %v: %s", s.ID, row.Quantity, row.At, row.Note)
				}
				continue
			}
			switch row.Quantity {
			case "ridge_width":
				for _, w := range tr.Widths {
					if w.At == *row.At {
						a.add(fmt.Sprintf("width %02.0f", w.At), *row.Value-w.Width, row.Budget.U())
						if verbose && math.Abs(*row.Value-w.Width) > 0.1 {
							t.Logf("%s width %g: %.3f true %.3f", s.ID, w.At, *row.Value, w.Width)
						}
					}
				}
			case "buccal_plate", "lingual_plate":
				for _, w := range tr.Widths {
					want := w.Buccal
					if row.Quantity == "lingual_plate" {
						want = w.Lingual
					}
					if w.At == *row.At && want != nil {
						a.add(row.Quantity, *row.Value-*want, row.Budget.U())
						if verbose && math.Abs(*row.Value-*want) > 0.15 {
							t.Logf("%s %s %g: %.3f true %.3f", s.ID, row.Quantity, w.At, *row.Value, *want)
						}
					}
				}
			case "ridge_tilt":
				a.add("tilt", *row.Value-tr.Tilt, row.Budget.U())
			case "buccal_undercut":
				a.add("undercut b", *row.Value-tr.Buccal.Depth, row.Budget.U())
				if verbose {
					t.Logf("%s undercut b %.3f true %+v", s.ID, *row.Value, tr.Buccal)
				}
			case "lingual_undercut":
				a.add("undercut l", *row.Value-tr.Lingual.Depth, row.Budget.U())
				if verbose {
					t.Logf("%s undercut l %.3f true %+v", s.ID, *row.Value, tr.Lingual)
				}
			case "ridge_height":
				for _, h := range tr.Heights {
					if h.To == row.To {
						a.add("height "+h.To, *row.Value-h.Height, row.Budget.U())
						if verbose {
							t.Logf("%s height %s: %.3f true %.3f", s.ID, h.To, *row.Value, h.Height)
						}
					}
				}
			}
		}
	}
}

func TestExploreDemo(t *testing.T) {
	for _, k := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
		a := tally{map[string][]float64{}, map[string][]float64{}}
		o := phantom.Demo(k)
		o.Scan.Noise = 50
		compare(t, o, a, true)
		a.print(t)
	}
}

func TestExploreRandom(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("N"))
	if n == 0 {
		t.Skip("set N")
	}
	a := tally{map[string][]float64{}, map[string][]float64{}}
	for seed := range n {
		o := phantom.Random(uint64(seed), phantom.Kind(seed%2))
		compare(t, o, a, false)
	}
	a.print(t)
}

func TestExploreSmall(t *testing.T) {
	a := tally{map[string][]float64{}, map[string][]float64{}}
	for _, c := range []struct {
		k     phantom.Kind
		tooth int
	}{{phantom.Mandible, 36}, {phantom.Mandible, 43}, {phantom.Maxilla, 16}} {
		o := phantom.Demo(c.k)
		o.Scan.Noise = 50
		if v := os.Getenv("VOX"); v != "" {
			o.Scan.Voxel[0], _ = strconv.ParseFloat(v, 64)
		}
		o, err := o.Small(c.tooth, 26)
		require.NoError(t, err)
		t0 := time.Now()
		compare(t, o, a, true)
		t.Log(c, time.Since(t0))
	}
	a.print(t)
}
