package jpegls

import "math/bits"

// contexts of the regular mode: 9·9·9 gradients, folded by sign. Context 0 is the run mode's and unused.
const contexts = 365

// context is what is remembered of the errors at places alike. Source: T.87 A.2.1.
type context struct {
	a int32 // sum of magnitudes
	b int32 // sum of errors, kept in −n < b ≤ 0
	c int32 // correction of the prediction, −128…127
	n int32 // how many
}

// state decodes the lines of an interval.
type state struct {
	params
	bits     reader
	regular  [contexts]context
	run      [2]runContext
	runIndex int    // which run length comes next: table run.go
	region   []int8 // the region −4…4 of a gradient clamped to ±T3, at gradient + T3
}

func newState(p params) *state {
	s := &state{params: p, region: make([]int8, 2*p.t[2]+1)}
	for i := range s.region {
		s.region[i] = int8(region(i-p.t[2], p.t, p.near))
	}
	s.start()
	return s
}

// start forgets what was learned, at the head of an interval. Source: T.87 A.2.1.
func (s *state) start() {
	a := int32(max(2, (s.span+32)/64))
	for i := range s.regular {
		s.regular[i] = context{a: a, n: 1}
	}
	s.run = [2]runContext{{a: a, n: 1}, {a: a, n: 1}}
	s.runIndex = 0
}

// region quantizes a gradient. Source: T.87 A.3.3.
func region(gradient int, t [3]int, near int) int {
	switch {
	case gradient < 0:
		return -region(-gradient, t, near)
	case gradient <= near:
		return 0
	case gradient < t[0]:
		return 1
	case gradient < t[1]:
		return 2
	case gradient < t[2]:
		return 3
	}
	return 4
}

// line decodes one line. Its neighbours are a (left), b (above), c (above left), d (above right); outside the image a is
// b, d is b, and c is corner, the first sample two lines up. Source: T.87 A.2.2, A.3, A.8.
//
// It returns false where the bits say what cannot be.
func (s *state) line(line, above []uint16, corner int) bool {
	above = above[:len(line)]
	t3 := s.t[2]
	a, b, c := int(above[0]), int(above[0]), corner
	left := int(s.region[min(max(b-c, -t3), t3)+t3])
	for x := 0; x < len(line); {
		d := b
		if x+1 < len(line) {
			d = int(above[x+1])
		}
		right := int(s.region[min(max(d-b, -t3), t3)+t3])
		q := 81*right + 9*left + int(s.region[min(max(c-a, -t3), t3)+t3])
		if q != 0 {
			v, ok := s.sample(q, a, b, c)
			if !ok {
				return false
			}
			line[x] = uint16(v)
			a, b, c, left = v, d, b, right // what is d−b here is b−c at the next sample
			x++
			continue
		}
		n, ok := s.flat(line[x:], above[x:], a)
		if !ok {
			return false
		}
		if x += n; x < len(line) {
			a, b, c = int(line[x-1]), int(above[x]), int(above[x-1])
			left = int(s.region[min(max(b-c, -t3), t3)+t3])
		}
	}
	return true
}

// sample decodes one sample in regular mode, in context q. Source: T.87 A.4, A.5, A.6.
func (s *state) sample(q, a, b, c int) (int, bool) {
	sign := q >> 63 // −1 where the context is folded, else 0: (v ^ sign) − sign is v with its sign
	ctx := &s.regular[(q^sign)-sign]
	prediction := median(a, b, c) + (int(ctx.c) ^ sign - sign)
	prediction = min(max(prediction, 0), s.maxval)

	k := ctx.golomb()
	mapped := s.bits.golomb(k, s.limit-s.qbpp-1, s.qbpp)
	if mapped > s.span {
		return 0, false
	}
	e := mapped>>1 ^ -(mapped & 1)
	if k == 0 && s.near == 0 && 2*ctx.b <= -ctx.n {
		e = ^e // the two halves of the mapping change places: T.87 A.5.2
	}
	ctx.update(e, s.step, s.reset)
	return s.rebuild(prediction, (e^sign)-sign), true
}

// median predicts from a, b and c: an edge found takes the smaller or larger neighbour, else they make a plane.
// Source: T.87 A.4.1.
func median(a, b, c int) int {
	low, high := min(a, b), max(a, b)
	return min(max(a+b-c, low), high)
}

// rebuild adds e units to the prediction, modulo the span, and keeps the result a sample. Source: T.87 A.4.5, A.5.
func (s *state) rebuild(prediction, e int) int {
	v := prediction + e*s.step
	if v < -s.near {
		v += s.span * s.step
	} else if v > s.maxval+s.near {
		v -= s.span * s.step
	}
	return min(max(v, 0), s.maxval)
}

// golomb gives the code's parameter: the least k for which n·2^k ≥ a. Source: T.87 A.5.1.
func (c *context) golomb() int { return parameter(c.n, c.a) }

func parameter(n, a int32) int {
	k := bits.Len32(uint32(a)) - bits.Len32(uint32(n))
	if k < 0 {
		return 0
	}
	if n<<k < a { // as long as a, and yet less
		k++
	}
	return k
}

// update learns the error e. Source: T.87 A.6.
func (c *context) update(e, step, reset int) {
	b, a, n := c.b+int32(e*step), c.a+int32(max(e, -e)), c.n
	if n == int32(reset) {
		a, b, n = a>>1, b>>1, n>>1
	}
	n++
	if b <= -n {
		b = max(b+n, 1-n)
		if c.c > -128 {
			c.c--
		}
	} else if b > 0 {
		b = min(b-n, 0)
		if c.c < 127 {
			c.c++
		}
	}
	c.a, c.b, c.n = a, b, n
}
