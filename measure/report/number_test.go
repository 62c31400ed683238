package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// JCGM 100:2008, 7.2.6: an uncertainty has two significant digits at most; here it is rounded up.
func TestNumbersAsPeopleReadThem(t *testing.T) {
	for _, c := range []struct {
		value, U float64
		want     string
	}{
		{3.93, 0.671, "3.93 ± 0.68"},
		{16.02, 1.23, "16.0 ± 1.3"},
		{-0.194, 0.0421, "−0.19 ± 0.05"},
		{5, 0.5, "5.00 ± 0.50"},
		{-0.001, 0.2, "0.00 ± 0.20"},
		{2.345, 0, "2.35"},
		{math.NaN(), 1, ""},
	} {
		require.Equal(t, c.want, read(c.value, c.U).String())
	}
}

// Whoever checks a verdict with the printed numbers comes to the verdict that is printed, and no
// printed uncertainty is smaller than the true one.
func TestPrintedNumbersSayTheVerdict(t *testing.T) {
	number := func(text string) float64 {
		x, err := strconv.ParseFloat(strings.Replace(text, minus, "-", 1), 64)
		require.NoError(t, err)
		return x
	}
	rapid.Check(t, func(r *rapid.T) {
		value := rapid.Float64Range(-3, 8).Draw(r, "value")
		U := rapid.Float64Range(0.001, 3).Draw(r, "U")
		margin := rapid.SampledFrom([]float64{1, 1.5, 2, 3}).Draw(r, "margin")
		if math.Abs(math.Abs(value-margin)-U) < 2e-4 {
			return // nearer to the border than four decimals tell
		}
		got := readAgainst(value, U, margin)
		if side(number(got.Value), number(got.U), margin) != side(value, U, margin) {
			r.Fatalf("%v ± %v against %v is printed as %s", value, U, margin, got)
		}
		if number(got.U) < U-1e-9 {
			r.Fatalf("U %v is printed as %s", U, got.U)
		}
	})
	require.Equal(t, "2.273 ± 0.271", readAgainst(2.273, 0.2705, 2).String(), "held; 2.27 ± 0.28 would read as uncertain")
}
