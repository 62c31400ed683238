package jpegls

import (
	"fmt"
	"math/bits"
)

// presets are coding parameters as a stream sends them; 0 is the default. Source: T.87 C.2.4.1.1.
type presets struct {
	maxval int    // the largest sample
	t      [3]int // T1 ≤ T2 ≤ T3: where a gradient passes into the next context, grey values
	reset  int    // how many samples a context counts before it halves its sums
}

// params are what the coding procedures use. Source: T.87 A.2.1.
type params struct {
	near   int // largest error of a sample, grey values; 0 is lossless
	step   int // 2·near + 1, what one unit of a coded error is worth
	maxval int
	span   int // RANGE: how many values a coded error can have
	qbpp   int // bits that hold them
	limit  int // LIMIT: the longest code, bits
	t      [3]int
	reset  int
}

// newParams fills in what p leaves open, for samples of the given precision, and refuses what T.87 does not allow.
func newParams(p presets, precision, near int) (params, error) {
	whole := 1<<precision - 1
	maxval := or(p.maxval, whole)
	if maxval > whole || near > min(255, maxval/2) {
		return params{}, fmt.Errorf("largest sample %d, largest error %d at %d bits", maxval, near, precision)
	}
	c := params{near: near, step: 2*near + 1, maxval: maxval, reset: or(p.reset, 64)}
	c.span = (maxval+2*near)/c.step + 1
	c.qbpp = bits.Len(uint(c.span - 1))
	bpp := max(2, bits.Len(uint(maxval)))
	c.limit = 2 * (bpp + max(8, bpp))
	c.t = thresholds(maxval, near)
	for i, t := range p.t {
		c.t[i] = or(t, c.t[i])
	}
	ordered := near < c.t[0] && c.t[0] <= c.t[1] && c.t[1] <= c.t[2] && c.t[2] <= maxval
	if !ordered || c.reset < 3 || c.reset > max(255, maxval) {
		return params{}, fmt.Errorf("thresholds %v, reset %d with the largest sample %d", c.t, c.reset, maxval)
	}
	return c, nil
}

func or(v, otherwise int) int {
	if v == 0 {
		return otherwise
	}
	return v
}

// thresholds are the defaults of T1, T2, T3. Source: T.87 C.2.4.1.1.1.
func thresholds(maxval, near int) [3]int {
	basic := [3]int{3, 7, 21}
	var t [3]int
	floor := near + 1
	for i := range t {
		if maxval >= 128 {
			factor := (min(maxval, 4095) + 128) / 256
			t[i] = factor*(basic[i]-2-i) + 2 + i + (3+2*i)*near
		} else {
			factor := 256 / (maxval + 1)
			t[i] = max(2+i, basic[i]/factor+(3+2*i)*near)
		}
		if t[i] > maxval || t[i] < floor {
			t[i] = floor
		}
		floor = t[i]
	}
	return t
}
