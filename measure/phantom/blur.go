package phantom

// blurRow blurs a row of the lattice at the voxels' columns, fine points apart. The sum is taken
// in float64: over equal values it rounds to that value, and need not be taken.
func blurRow(row []float32, kernel []float64, fine int, out []float32) {
	end := 0 // row[x·fine:end] are equal
	for x := range out {
		i := x * fine
		for end = max(end, i); end < len(row) && row[end] == row[i]; end++ {
		}
		if end >= i+len(kernel) {
			out[x] = row[i]
			continue
		}
		sum := 0.0
		for t, v := range row[i : i+len(kernel)] {
			sum += kernel[t] * float64(v)
		}
		out[x] = float32(sum)
	}
}

// blurColumns blurs a plane, already blurred along its rows, along its columns.
func (r *render) blurColumns(half, image []float32) {
	n, fine, kernel := r.vol.Size[0], r.kernel.fine[1], r.kernel.weights[1]
	rows, weight := make([][]float32, len(kernel)), make([]float32, len(kernel))
	for i, w := range kernel {
		weight[i] = float32(w)
	}
	for y := range r.vol.Size[1] {
		for i := range rows {
			rows[i] = half[(y*fine+i)*n : (y*fine+i+1)*n]
		}
		weightedSum(image[y*n:(y+1)*n], rows, weight)
	}
}

// weightedSum sets out to the sum of the rows times their weights, added in their order.
func weightedSum(out []float32, rows [][]float32, weight []float32) {
	clear(out)
	for ; len(rows) >= 3; rows, weight = rows[3:], weight[3:] { // three at a time: fewer stores
		a, b, c := rows[0][:len(out)], rows[1][:len(out)], rows[2][:len(out)]
		u, v, w := weight[0], weight[1], weight[2]
		for x, s := range out {
			out[x] = s + u*a[x] + v*b[x] + w*c[x]
		}
	}
	for i, a := range rows {
		a, u := a[:len(out)], weight[i]
		for x := range out {
			out[x] += u * a[x]
		}
	}
}
