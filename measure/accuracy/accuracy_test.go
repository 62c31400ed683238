package accuracy

import (
	"context"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/phantom"
)

func TestExplore(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("N"))
	if n == 0 {
		t.Skip("N")
	}
	seed, _ := strconv.Atoi(os.Getenv("SEED"))
	errs, err := Run(context.Background(), Options{Cases: n, Seed: uint64(seed), Fix: func(o phantom.Options) phantom.Options {
		switch os.Getenv("FIX") {
		case "2":
			o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise, o.Hand = [3]float64{0.2, 0.2, 0.2}, 0.2, 50, 0
		case "4":
			o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise, o.Hand = [3]float64{0.4, 0.4, 0.4}, 0.3, 100, 0
		case "3":
			o.Scan.Voxel = [3]float64{0.3, 0.3, 0.3}
		}
		return o
	}})
	require.NoError(t, err)
	require.NoError(t, Markdown(os.Stdout, "all", Summarise(errs, Groups[0].Of)))
	for _, e := range errs {
		if e.Error != e.Error {
			t.Log(e.Seed, e.Quantity, e.Cell, e.Why)
		} else if e.Error > 2.5*e.U+0.05 || e.Error < -2.5*e.U-0.05 {
			t.Logf("%d %s %+v: %+.3f U %.3f", e.Seed, e.Quantity, e.Cell, e.Error, e.U)
		}
	}
}
