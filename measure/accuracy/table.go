package accuracy

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"ridgerule/measure/cells"

	"gonum.org/v1/gonum/stat"
)

// Summary is what the errors of one quantity in one group of scans come to.
type Summary struct {
	Quantity string
	Group    string
	N        int     // numbers given
	Withheld int     // numbers not given
	Bias, SD float64 // of the errors, mm or degrees
	MeanU    float64 // mean expanded uncertainty, mm or degrees
	Coverage float64 // share of |error| ≤ U, no unit
	Worst    float64 // largest error by size, with its sign, mm or degrees
	Seed     uint64  // of the jaw with the worst error
}

// Summarise groups errors by quantity and by what group says of their cell.
func Summarise(errs []Error, group func(Cell) string) []Summary {
	byKey := map[[2]string][]Error{}
	for _, e := range errs {
		k := [2]string{e.Quantity, group(e.Cell)}
		byKey[k] = append(byKey[k], e)
	}
	var out []Summary
	for k, list := range byKey {
		out = append(out, summary(k, list))
	}
	slices.SortFunc(out, func(a, b Summary) int {
		return cmp.Or(cmp.Compare(a.Quantity, b.Quantity), cmp.Compare(a.Group, b.Group))
	})
	return out
}

func summary(key [2]string, list []Error) Summary {
	s := Summary{Quantity: key[0], Group: key[1]}
	var values []float64
	covered := 0
	for _, e := range list {
		if math.IsNaN(e.Error) {
			s.Withheld++
			continue
		}
		values = append(values, e.Error)
		s.MeanU += e.U
		if math.Abs(e.Error) <= e.U {
			covered++
		}
		if math.Abs(e.Error) > math.Abs(s.Worst) {
			s.Worst, s.Seed = e.Error, e.Seed
		}
	}
	s.N = len(values)
	if s.N > 0 {
		s.Bias, s.SD = stat.MeanStdDev(values, nil)
		s.MeanU /= float64(s.N)
		s.Coverage = float64(covered) / float64(s.N)
	}
	return s
}

// Groups are the ways in which the tables cut the scans.
var Groups = []struct {
	Name string
	Of   func(Cell) string
}{
	{"all scans", func(Cell) string { return "all" }},
	{"by voxel, mm", func(c Cell) string { return band(c.Voxel, 0.2, 0.3) }},
	{"by blur, mm", func(c Cell) string { return band(c.Blur, 0.2, 0.28) }},
	{"by noise, grey values", func(c Cell) string { return band(c.Noise, 50, 100) }},
}

func band(x, low, high float64) string {
	switch {
	case x < low:
		return fmt.Sprintf("under %g", low)
	case x < high:
		return fmt.Sprintf("%g to %g", low, high)
	}
	return fmt.Sprintf("%g and more", high)
}

// Markdown writes the summaries as one table.
func Markdown(w io.Writer, title string, rows []Summary) error {
	_, err := fmt.Fprintf(w, "\n## %s\n\n| quantity | scans | n | withheld | bias | SD | mean U | U / SD | coverage | worst (jaw) |\n|---|---|---|---|---|---|---|---|---|---|\n", title)
	for _, s := range rows {
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(w, "| %s | %s | %d | %d | %s | %s | %s | %s | %s | %s |\n", s.Quantity, s.Group, s.N, s.Withheld,
			cell("%+.3f", s.Bias), cell("%.3f", s.SD), cell("%.3f", s.MeanU), cell("%.1f", s.MeanU/s.SD), cell("%.1f %%", 100*s.Coverage), cell(fmt.Sprintf("%%+.2f (%d)", s.Seed), s.Worst))
	}
	return err
}

// cell writes a figure of a table; a dash where there is none, as the spread of a single number.
func cell(format string, x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	return fmt.Sprintf(format, x)
}

// CSV writes every error as a row of a table with a header; what there is none of is empty.
func CSV(w io.Writer, errs []Error) error {
	rows := [][]string{{"jaw", "voxel_mm", "blur_mm", "noise", "quantity", "at_mm", "truth", "error", "U", "note"}}
	for _, e := range errs {
		rows = append(rows, []string{strconv.FormatUint(e.Seed, 10), cells.Number(e.Cell.Voxel), cells.Number(e.Cell.Blur), cells.Number(e.Cell.Noise),
			e.Quantity, cells.Number(e.At), cells.Number(e.Truth), cells.Number(e.Error), cells.Number(e.U), cells.Text(e.Why)})
	}
	return cells.Write(w, rows)
}
