package study

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// The throughput of a study in cases a second, as the command runs it: a process a case. One worker
// on one processor, two workers on one processor each; compare the two (benchstat, or by eye):
//
//	go test -bench Workers -benchtime 3x ./measure/study
//
// The ratio is the machine's only when nothing else runs on it.
func BenchmarkWorkers(b *testing.B) {
	self, err := os.Executable()
	require.NoError(b, err)
	const cases = 16
	m := manifestOf(b, cases)
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			if workers > runtime.NumCPU() {
				b.Skipf("%d processors", runtime.NumCPU())
			}
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
			for b.Loop() {
				dir := b.TempDir()
				out, err := Run(context.Background(), m, dir, Options{Tool: "t", Jobs: workers, Do: func(ctx context.Context, j Job) error {
					c := exec.CommandContext(ctx, self)
					c.Env = append(os.Environ(), "GOMAXPROCS=1", fmt.Sprintf("%s=case|%s|%s|%s|%s", childEnv, j.Case, j.Series, j.Plan, j.Folder))
					return c.Run()
				}})
				require.NoError(b, err)
				require.Equal(b, cases, out.Done)
			}
			b.ReportMetric(float64(cases*b.N)/b.Elapsed().Seconds(), "cases/s")
		})
	}
}
