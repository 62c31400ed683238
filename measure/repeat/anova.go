package repeat

// meanSquares is a two-way table of n subjects × k raters taken apart, one value a cell.
//
//	between   k·Σ(x̄_i. − x̄)²/(n−1)                       n−1
//	raters    n·Σ(x̄_.j − x̄)²/(k−1)                       k−1
//	residual  Σ(x_ij − x̄_i. − x̄_.j + x̄)²/((n−1)(k−1))    (n−1)(k−1)
//	within    Σ(x_ij − x̄_i.)²/(n(k−1))                   n(k−1)
//
// Source: Shrout PE, Fleiss JL. Psychol Bull 1979;86:420–428. doi:10.1037/0033-2909.86.2.420
type meanSquares struct {
	n, k                              float64
	between, raters, residual, within float64 // unit squared
}

// twoWay takes apart x[subject][rater].
func twoWay(x [][]float64) meanSquares {
	n, k := len(x), len(x[0])
	rows, cols := make([]float64, n), make([]float64, k)
	column, within := make([]float64, n), make([]float64, n)
	scale := magnitude(x...)
	for i, row := range x {
		rows[i], within[i] = mean(row), squares(settled(row, scale))
	}
	for j := range cols {
		for i := range x {
			column[i] = x[i][j]
		}
		cols[j] = mean(column)
	}
	grand := mean(cols)
	rest := make([]float64, 0, n*k)
	for i, row := range x {
		for j, v := range row {
			rest = append(rest, (v-rows[i])-(cols[j]-grand))
		}
	}
	a := meanSquares{n: float64(n), k: float64(k)}
	a.between = a.k * squares(settled(rows, scale)) / (a.n - 1)
	a.raters = a.n * squares(settled(cols, scale)) / (a.k - 1)
	a.residual = squares(settled(rest, scale)) / ((a.n - 1) * (a.k - 1))
	a.within = sum(within) / (a.n * (a.k - 1))
	return a
}

// oneWay is readings grouped by subject, in any number each.
//
//	between  Σ n_i·(x̄_i − x̄)²/(a−1)         within  ΣΣ(x_ij − x̄_i)²/(N−a)
//	n₀ = (N − Σn_i²/N)/(a−1)                 spread  Σ(x̄_i − x̿)²/(a−1), every subject counting once
//
// Source: Searle SR, Casella G, McCulloch CE. Variance Components, 1992, section 3.6 (from memory).
type oneWay struct {
	a, total        float64 // subjects, readings
	n0, harmonic    float64 // the two averages of n_i
	between, within float64 // mean squares, unit squared
	spread          float64 // variance of the subjects' means, unit squared
}

// newOneWay takes apart groups, none of them empty.
func newOneWay(groups [][]float64) oneWay {
	w := oneWay{a: float64(len(groups))}
	var means, all, inside, inverse []float64
	var squaredCounts float64
	scale := magnitude(groups...)
	for _, g := range groups {
		n := float64(len(g))
		w.total += n
		squaredCounts += n * n
		inverse = append(inverse, 1/n)
		means, inside, all = append(means, mean(g)), append(inside, squares(settled(g, scale))), append(all, g...)
	}
	grand := mean(all)
	weighted := make([]float64, len(means))
	for i, m := range means {
		weighted[i] = float64(len(groups[i])) * (m - grand) * (m - grand)
	}
	w.n0 = (w.total - squaredCounts/w.total) / (w.a - 1)
	w.harmonic = 1 / mean(inverse)
	w.within = sum(inside) / (w.total - w.a)
	if w.spread = variance(settled(means, scale)); w.spread > 0 {
		w.between = sum(weighted) / (w.a - 1)
	}
	return w
}

// balanced is the one-way view of a two-way table: raters not told apart.
func (a meanSquares) balanced() oneWay {
	return oneWay{a: a.n, total: a.n * a.k, n0: a.k, harmonic: a.k, between: a.between, within: a.within, spread: a.between / a.k}
}

// df is the degrees of freedom between and within subjects; pure numbers.
func (w oneWay) df() (between, within float64) { return w.a - 1, w.total - w.a }

// crossed is the one-way table as a two-way one in which nothing but the subjects is told apart.
func (w oneWay) crossed() crossed {
	between, within := w.df()
	return crossed{k: w.harmonic, m: 1, subject: meanSquare{w.harmonic * w.spread, between}, rest: meanSquare{w.within, within}}
}

// withinSD is the within-subject SD with its χ² interval, which holds where the raters do not differ.
func (w oneWay) withinSD(s settings) Estimate {
	_, df := w.df()
	return combination{{1, w.within, df}}.sd(s)
}
