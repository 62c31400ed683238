package report

import "math"

// ring returns the points of an ellipse with half-axes a (along X) and b, mm of paper.
func ring(at spot, a, b float64) []spot {
	const n = 48
	out := make([]spot, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		out[i] = spot{at.X + a*cos, at.Y + b*sin}
	}
	return out
}

// dashes cuts a polyline into the pieces that a dash pattern leaves, mm of paper.
func dashes(points []spot, pattern []float64) [][]spot {
	if !usable(pattern) {
		return [][]spot{points}
	}
	var out [][]spot
	piece, on, k, left := []spot{points[0]}, true, 0, pattern[0]
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		for d := apart(a, b); d > left; d = apart(a, b) {
			a = between(a, b, left/d)
			if on {
				out = append(out, append(piece, a))
			}
			piece, on = []spot{a}, !on
			k = (k + 1) % len(pattern)
			left = pattern[k]
		}
		left -= apart(a, b)
		piece = append(piece, b)
	}
	if on && len(piece) > 1 {
		out = append(out, piece)
	}
	return out
}

// usable reports whether a dash pattern moves on: no pen may hang on a pattern of zeros.
func usable(pattern []float64) bool {
	sum := 0.0
	for _, d := range pattern {
		if !(d > 0.01) {
			return false
		}
		sum += d
	}
	return sum > 0
}

func apart(a, b spot) float64 { return math.Hypot(b.X-a.X, b.Y-a.Y) }

func between(a, b spot, t float64) spot {
	return spot{a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)}
}

// clip returns the pieces of a polyline that lie in the rectangle with corners low and high.
func clip(points []spot, low, high spot) [][]spot {
	var out [][]spot
	var piece []spot
	end := func() {
		if len(piece) > 1 {
			out = append(out, piece)
		}
		piece = nil
	}
	for i := 1; i < len(points); i++ {
		from, to, some := within(points[i-1], points[i], low, high)
		if !some {
			end()
			continue
		}
		if from > 0 || len(piece) == 0 {
			end()
			piece = []spot{between(points[i-1], points[i], from)}
		}
		piece = append(piece, between(points[i-1], points[i], to))
		if to < 1 {
			end()
		}
	}
	end()
	return out
}

// within returns the part of the segment ab, as fractions of it, that lies in the rectangle.
//
// Source: Liang Y-D, Barsky BA. ACM Trans Graph 1984;3:1–22 (from memory).
func within(a, b, low, high spot) (from, to float64, some bool) {
	from, to = 0, 1
	for _, side := range [4][2]float64{
		{a.X - b.X, a.X - low.X}, {b.X - a.X, high.X - a.X},
		{a.Y - b.Y, a.Y - low.Y}, {b.Y - a.Y, high.Y - a.Y},
	} {
		p, q := side[0], side[1]
		switch {
		case p == 0 && q < 0:
			return 0, 0, false
		case p < 0:
			from = math.Max(from, q/p)
		case p > 0:
			to = math.Min(to, q/p)
		}
	}
	return from, to, from <= to
}

// compare orders two numbers.
func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// box returns the corners of a rectangle, mm of paper.
func box(at spot, w, h float64) []spot {
	return []spot{at, {at.X + w, at.Y}, {at.X + w, at.Y + h}, {at.X, at.Y + h}}
}
