package trace

import (
	"math"

	"ridgerule/measure/fit"
)

// blur returns grey blurred by a Gaussian of sigma lattice steps. Beyond the lattice the
// outermost value goes on.
func blur(grey []float32, n [3]int, sigma float64) []float32 {
	kernel := gaussian(sigma)
	a, b := make([]float32, len(grey)), make([]float32, len(grey))
	fit.Each(n[2], func(c int) { blurRows(a, grey, n, c, kernel) })
	fit.Each(n[2], func(c int) { blurAcross(b, a, n, c, 1, kernel) })
	fit.Each(n[2], func(c int) { blurAcross(a, b, n, c, 2, kernel) })
	return a
}

// gaussian returns the right half of a normalised Gaussian kernel, its middle first.
func gaussian(sigma float64) []float32 {
	k := make([]float32, int(math.Ceil(3.5*sigma))+1)
	sum := 0.0
	for i := range k {
		g := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(g)
		sum += g
		if i > 0 {
			sum += g
		}
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

// blurRows blurs the rows of layer c along themselves.
func blurRows(dst, src []float32, n [3]int, c int, kernel []float32) {
	r := len(kernel) - 1
	line := make([]float32, n[0]+2*r)
	for b := range n[1] {
		at := (c*n[1] + b) * n[0]
		row, out := src[at:at+n[0]], dst[at:at+n[0]]
		copy(line[r:], row)
		for q := range r {
			line[q], line[r+n[0]+q] = row[0], row[n[0]-1]
		}
		for i := range out {
			out[i] = kernel[0] * line[i+r]
		}
		for q := 1; q <= r; q++ {
			add(out, line[r-q:], line[r+q:], kernel[q])
		}
	}
}

// blurAcross blurs layer c along axis 1 or 2, whole rows at a time.
func blurAcross(dst, src []float32, n [3]int, c, axis int, kernel []float32) {
	row := func(b, c int) []float32 {
		at := (min(n[2]-1, max(0, c))*n[1] + min(n[1]-1, max(0, b))) * n[0]
		return src[at : at+n[0]]
	}
	db, dc := 2-axis, axis-1
	for b := range n[1] {
		at := (c*n[1] + b) * n[0]
		out := dst[at : at+n[0]]
		for i, g := range row(b, c) {
			out[i] = kernel[0] * g
		}
		for q := 1; q < len(kernel); q++ {
			add(out, row(b-q*db, c-q*dc), row(b+q*db, c+q*dc), kernel[q])
		}
	}
}

// add adds k·(x + y) to out.
func add(out, x, y []float32, k float32) {
	x, y = x[:len(out)], y[:len(out)]
	for i := range out {
		out[i] += k * (x[i] + y[i])
	}
}
