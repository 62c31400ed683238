package measure_test

import (
	"bytes"
	"context"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
)

// BenchmarkRun measures every number of a demo case on a volume in memory; sites/s is the figure.
func BenchmarkRun(b *testing.B) {
	j, err := phantom.New(phantom.Demo(phantom.Mandible))
	require.NoError(b, err)
	v, err := j.Volume(context.Background(), nil)
	require.NoError(b, err)
	var text bytes.Buffer
	require.NoError(b, j.Plan().Write(&text))
	sites := 0
	for b.Loop() {
		plan, err := measure.ReadPlan("plan.yaml", text.Bytes(), fstest.MapFS{})
		require.NoError(b, err)
		r, err := measure.Run(context.Background(), v, plan, measure.Scan{}, measure.Options{})
		require.NoError(b, err)
		sites = len(r.Sites)
	}
	b.ReportMetric(float64(sites*b.N)/b.Elapsed().Seconds(), "sites/s")
}
