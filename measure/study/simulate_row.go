package study

import (
	"io"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"ridgerule/measure"
	"ridgerule/measure/cells"
)

// simulated returns the row of one number: r at the plan's own marks, n over the draws, variance what
// its budget sets aside for placing.
func simulated(site string, r measure.Row, n *sample, variance float64, draws int) SimulatedRow {
	nan := math.NaN()
	out := SimulatedRow{Site: site, Quantity: r.Quantity, To: r.To, Unit: r.Unit, At: r.At, Value: nan, N: len(n.values),
		Mean: nan, SD: nan, SDLow: nan, SDHigh: nan, Low: nan, High: nan, Placement: nan, U: nan, Ratio: nan,
		Verdict: string(r.Verdict), Kept: nan}
	if r.Value != nil {
		out.Value = *r.Value
	}
	if r.Value != nil && len(r.Budget) > 0 {
		out.U, out.Placement = r.Budget.Std(), math.Sqrt(variance)
	}
	if out.Verdict != "" {
		out.Kept = float64(n.kept) / float64(draws)
	}
	if out.N < 2 {
		return out
	}
	out.Mean, out.SD = stat.MeanStdDev(n.values, nil)
	out.SDLow, out.SDHigh = sdInterval(out.SD, out.N)
	out.Low, out.High = slices.Min(n.values), slices.Max(n.values)
	if out.Placement > 0 {
		out.Ratio = out.SD / out.Placement
	}
	return out
}

// sdInterval returns the 95 % interval of a standard deviation from n normal readings, in sd's unit:
//
//	sd·√((n−1)/χ²(0.975)) … sd·√((n−1)/χ²(0.025))
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.3.1 (chi-square).
func sdInterval(sd float64, n int) (low, high float64) {
	chi := distuv.ChiSquared{K: float64(n - 1)}
	df := float64(n - 1)
	return sd * math.Sqrt(df/chi.Quantile(0.975)), sd * math.Sqrt(df/chi.Quantile(0.025))
}

// simulationColumns are the columns of WriteCSV, in order.
var simulationColumns = []string{"case", "site", "quantity", "at_mm", "to", "unit", "value", "n", "mean", "sd", "sd_low", "sd_high",
	"least", "greatest", "placement_u", "u", "sd_to_placement", "verdict", "verdict_kept"}

// WriteCSV writes one number of the case a row (RFC 4180, UTF-8, LF, four decimals): its value at the
// plan's marks, its spread over the draws with a 95 % interval, what the budget sets aside for the
// placing of marks (placement_u) and in all (u), and the share of draws with the same verdict. An
// empty cell is no number.
func (s *Simulation) WriteCSV(w io.Writer) error {
	rows := [][]string{simulationColumns}
	for _, r := range s.Rows {
		rows = append(rows, []string{textOrNumber(s.Case), textOrNumber(r.Site), string(r.Quantity), cells.Depth(r.At), textOrNumber(r.To), r.Unit, cells.Number(r.Value), strconv.Itoa(r.N),
			cells.Number(r.Mean), cells.Number(r.SD), cells.Number(r.SDLow), cells.Number(r.SDHigh), cells.Number(r.Low), cells.Number(r.High),
			cells.Number(r.Placement), cells.Number(r.U), cells.Number(r.Ratio), r.Verdict, cells.Number(r.Kept)})
	}
	return cells.Write(w, rows)
}
