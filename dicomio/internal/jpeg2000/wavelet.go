package jpeg2000

import "math"

// number is a coefficient: int32 for the reversible wavelet, float32 for the other.
type number interface{ int32 | float32 }

// samples decodes the tile's blocks and writes its samples to dst, whose rows are stride apart.
func (t *tile) samples(dst []uint16, stride int, s size) error {
	low, high := 0, 1<<s.precision-1
	shift := 1 << (s.precision - 1) // Source: T.800 G.1.2
	if s.signed {
		low, high, shift = -shift, shift-1, 0
	}
	put := func(i, v int) {
		w := t.area.width()
		dst[i/w*stride+i%w] = uint16(min(max(v+shift, low), high))
	}
	if t.params.reversible {
		plane, err := synthesize(t, halve, lift53)
		for i, v := range plane {
			put(i, int(v))
		}
		return err
	}
	unit := float32(math.Ldexp(0.5, s.precision)) // half units of a step, and the precision that band.step leaves out
	plane, err := synthesize(t, func(v int32, b *band) float32 { return float32(v) * b.step * unit }, lift97)
	for i, v := range plane {
		put(i, int(math.RoundToEven(float64(v))))
	}
	return err
}

// halve takes half units to whole ones, towards zero: the middle of a plane that was sent to the end is no part of it.
func halve(v int32, _ *band) int32 { return v / 2 }

// synthesize decodes all blocks into one plane, the low half of each resolution first, and then undoes the decompositions
// from the lowest up. Source: T.800 F.3.
func synthesize[T number](t *tile, scale func(int32, *band) T, lift func([]T, int)) ([]T, error) {
	w := t.area.width()
	plane := make([]T, w*t.area.height())
	d := blockPool.Get().(*blockDecoder)
	defer blockPool.Put(d)
	for r := range t.resolutions {
		if err := place(t, r, d, plane, scale); err != nil {
			return nil, err
		}
	}
	line := make([]T, max(w, t.area.height()))
	for r := 1; r < len(t.resolutions); r++ {
		area := t.resolutions[r].area
		for y := range area.height() {
			row := plane[y*w:][:area.width()]
			merge(line[:area.width()], row, 1, area.x0, lift)
		}
		for x := range area.width() {
			merge(line[:area.height()], plane[x:], w, area.y0, lift)
		}
	}
	return plane, nil
}

// place decodes the blocks of one resolution to where its bands lie: beside and below the resolution before.
func place[T number](t *tile, r int, d *blockDecoder, plane []T, scale func(int32, *band) T) error {
	res, w := &t.resolutions[r], t.area.width()
	var low rect
	if r > 0 {
		low = t.resolutions[r-1].area
	}
	for k := range res.precincts {
		for i := range res.precincts[k].cells {
			b := &res.bands[i]
			x0, y0 := low.width()*(b.kind&1)-b.area.x0, low.height()*(b.kind>>1)-b.area.y0
			blocks := res.precincts[k].cells[i].blocks
			for j := range blocks {
				c := &blocks[j]
				if c.passes == 0 {
					continue
				}
				if err := d.decode(c, b.kind, t.params.style); err != nil {
					return err
				}
				for y := range d.height {
					out := plane[(y0+c.area.y0+y)*w+x0+c.area.x0:][:d.width]
					for x, v := range d.values[y*d.width:][:d.width] {
						out[x] = scale(v, b)
					}
				}
			}
		}
	}
	return nil
}

// merge undoes one decomposition of a row or column, whose n numbers lie step apart in data, low half first. The first
// number of the result is at the given coordinate: an even one is of the low half.
func merge[T number](line, data []T, step, first int, lift func([]T, int)) {
	n, odd := len(line), first&1
	if n == 0 {
		return
	}
	half := (n + 1 - odd) / 2 // how many are of the low half
	for i := range half {
		line[2*i+odd] = data[i*step]
	}
	for i := range n - half {
		line[2*i+1-odd] = data[(half+i)*step]
	}
	lift(line, odd)
	for i, v := range line {
		data[i*step] = v
	}
}

// lift53 undoes the reversible filter in place; the even coordinates begin at index odd. Source: T.800 F.3.8.1.
func lift53(x []int32, odd int) {
	n := len(x)
	if n == 1 {
		if odd == 1 {
			x[0] /= 2
		}
		return
	}
	for i := odd; i < n; i += 2 {
		x[i] -= (x[before(i)] + x[after(i, n)] + 2) >> 2
	}
	for i := 1 - odd; i < n; i += 2 {
		x[i] += (x[before(i)] + x[after(i, n)]) >> 1
	}
}

// before and after give the neighbours of i in a line of n, mirrored at its ends. Source: T.800 F.3.7.
func before(i int) int {
	if i == 0 {
		return 1
	}
	return i - 1
}

func after(i, n int) int {
	if i == n-1 {
		return n - 2
	}
	return i + 1
}

// The irreversible filter's lifting parameters. Source: T.800 table F.4.
const (
	alpha = -1.586134342059924
	beta  = -0.052980118572961
	gamma = 0.882911075530934
	delta = 0.443506852043971
	scale = 1.230174104914001
)

// lift97 undoes the irreversible filter in place; the even coordinates begin at index odd. Source: T.800 F.3.8.2.
func lift97(x []float32, odd int) {
	n := len(x)
	if n == 1 {
		if odd == 1 {
			x[0] /= 2
		}
		return
	}
	for i := odd; i < n; i += 2 {
		x[i] *= scale
	}
	for i := 1 - odd; i < n; i += 2 {
		x[i] *= 1 / scale
	}
	for step, factor := range [4]float32{delta, gamma, beta, alpha} {
		from := odd
		if step&1 == 1 {
			from = 1 - odd
		}
		for i := from; i < n; i += 2 {
			x[i] -= factor * (x[before(i)] + x[after(i, n)])
		}
	}
}
