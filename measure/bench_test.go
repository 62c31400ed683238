package measure_test

import (
	"bytes"
	"context"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// BenchmarkRun measures every number of a demo case of six sites on a volume in memory; sites/s is
// the figure.
func BenchmarkRun(b *testing.B) {
	sites := benchRun(b, phantom.Demo(phantom.Mandible), func(*volume.Volume) {})
	b.ReportMetric(float64(sites*b.N)/b.Elapsed().Seconds(), "sites/s")
}

// BenchmarkEightSites measures every number of eight sites on 512³ voxels of 0.2 mm in memory.
// passes is its time over that of adding up the volume's voxels once on one processor, in the same
// process: what the fits cost against what merely touching the scan does.
func BenchmarkEightSites(b *testing.B) {
	o := phantom.Demo(phantom.Mandible)
	o.Sites = []int{46, 45, 44, 42, 32, 34, 35, 36}
	o.Scan.Size = [3]int{512, 512, 512}
	var pass time.Duration
	benchRun(b, o, func(v *volume.Volume) {
		_ = total(v) // the first touch pays for the memory
		begin := time.Now()
		_ = total(v)
		pass = time.Since(begin)
	})
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "s/op")
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/pass.Seconds(), "passes")
}

// BenchmarkUpperJaw measures every number of five sites of an upper jaw under sinus and nose, sizes too, in memory: the
// floors over them are most of it.
func BenchmarkUpperJaw(b *testing.B) {
	o := phantom.Demo(phantom.Maxilla)
	o.Sites = []int{16, 14, 12, 25, 26}
	o.Scan.Voxel = [3]float64{0.3, 0.3, 0.3}
	benchRun(b, o, func(*volume.Volume) {})
}

// total adds up the stored values.
func total(v *volume.Volume) (sum int64) {
	for _, s := range v.Stored {
		sum += int64(s)
	}
	return sum
}

// benchRun times measure.Run on the jaw of o and returns how many sites it has; seen looks at the
// volume before the clock starts.
func benchRun(b *testing.B, o phantom.Options, seen func(*volume.Volume)) (sites int) {
	j, err := phantom.New(o)
	require.NoError(b, err)
	v, err := j.Volume(context.Background(), nil)
	require.NoError(b, err)
	var text bytes.Buffer
	require.NoError(b, j.Plan().Write(&text))
	seen(v)
	for b.Loop() {
		p, _, err := plan.Read("plan.yaml", text.Bytes(), fstest.MapFS{})
		require.NoError(b, err)
		r, err := measure.RunPlan(context.Background(), v, p, measure.Scan{}, measure.Options{})
		require.NoError(b, err)
		sites = len(r.Sites)
	}
	return sites
}
