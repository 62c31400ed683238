package accuracy

import (
	"context"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// The table of docs/accuracy-hard.md, n jaws a condition from seed 12 on:
//
//	RIDGERULE_HARD=12 go test -run HardScans -v -timeout 2h ./measure/accuracy
func TestHardScans(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("RIDGERULE_HARD"))
	if n == 0 {
		t.Skip("RIDGERULE_HARD=12 draws 12 jaws a condition: minutes")
	}
	for _, c := range conditions() {
		errs, err := Run(context.Background(), Options{Cases: n, Seed: 12, Fix: c.fix})
		require.NoError(t, err)
		for _, s := range Summarise(errs, Groups[0].Of) {
			out := math.Round((1 - s.Coverage) * float64(s.N))
			t.Logf("| %s | %s | %d | %d | %.0f %% | %.3f | %.3f |", c.name, s.Quantity, s.N, s.Withheld, 100*out/math.Max(1, float64(s.N)), s.SD, s.MeanU)
		}
	}
}
