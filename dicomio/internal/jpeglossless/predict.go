package jpeglossless

// sumRow turns differences into samples where only the left neighbour predicts: the first row of an interval, whose
// first sample is predicted by middle. Source: T.81 H.1.2.1.
func sumRow(row []uint16, middle uint16) {
	a := middle
	for x, d := range row {
		a += d
		row[x] = a
	}
}

// predictRow turns differences into samples with the row above. The first sample is predicted from above, the others by
// the selection value, from a (left), b (above) and c (above left), modulo 2^16. Halves round down.
//
// Source: T.81 table H.1.
func predictRow(row, above []uint16, selection int) {
	above = above[:len(row)]
	row[0] += above[0]
	if selection == 1 {
		sumRow(row[1:], row[0])
		return
	}
	a, c := int(row[0]), int(above[0])
	switch selection {
	case 2:
		for x := 1; x < len(row); x++ {
			row[x] += above[x]
		}
	case 3:
		for x := 1; x < len(row); x++ {
			row[x] += above[x-1]
		}
	case 4:
		for x := 1; x < len(row); x++ {
			b := int(above[x])
			row[x] += uint16(a + b - c)
			a, c = int(row[x]), b
		}
	case 5:
		for x := 1; x < len(row); x++ {
			b := int(above[x])
			row[x] += uint16(a + (b-c)>>1)
			a, c = int(row[x]), b
		}
	case 6:
		for x := 1; x < len(row); x++ {
			b := int(above[x])
			row[x] += uint16(b + (a-c)>>1)
			a, c = int(row[x]), b
		}
	case 7:
		for x := 1; x < len(row); x++ {
			row[x] += uint16((a + int(above[x])) >> 1)
			a = int(row[x])
		}
	}
}
