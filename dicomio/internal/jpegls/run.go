package jpegls

// runOrder is the length of each run that a one bit stands for, as a power of two. Source: T.87 A.2.1, table J.
var runOrder = [32]int{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 9, 10, 11, 12, 13, 14, 15}

// runContext is what is remembered of the samples that end runs: [0] where the neighbours a and b differ, [1] where not.
type runContext struct {
	a        int32 // sum of mapped magnitudes
	n        int32 // how many
	negative int32 // how many errors were below 0
}

// flat decodes a run of a and, unless the run ends with the line, the sample that breaks it. It returns how many samples
// these are; false where a run is longer than the line. Source: T.87 A.7.
func (s *state) flat(line, above []uint16, a int) (int, bool) {
	done := 0
	for s.bits.read(1) == 1 {
		n := 1 << runOrder[s.runIndex]
		if n > len(line)-done {
			fill(line[done:], uint16(a))
			return len(line), true
		}
		fill(line[done:done+n], uint16(a))
		done += n
		s.runIndex = min(s.runIndex+1, len(runOrder)-1)
		if done == len(line) {
			return done, true
		}
	}
	n := s.bits.read(runOrder[s.runIndex])
	if n >= len(line)-done {
		return 0, false
	}
	fill(line[done:done+n], uint16(a))
	done += n
	v, ok := s.breaking(a, int(above[done]))
	line[done] = uint16(v)
	s.runIndex = max(s.runIndex-1, 0)
	return done + 1, ok
}

func fill(line []uint16, v uint16) {
	for i := range line {
		line[i] = v
	}
}

// breaking decodes the sample after a run. Source: T.87 A.7.2.
func (s *state) breaking(a, b int) (int, bool) {
	kind, sign, prediction := 0, 0, b
	if max(a-b, b-a) <= s.near {
		kind, prediction = 1, a
	} else if a > b {
		sign = -1
	}
	ctx := &s.run[kind]
	k := parameter(ctx.n, ctx.a+int32(kind)*(ctx.n>>1))
	mapped := s.bits.golomb(k, s.limit-s.qbpp-2-runOrder[s.runIndex], s.qbpp)
	if mapped > s.span {
		return 0, false
	}
	e := ctx.unmap(mapped, kind, k)
	ctx.update(e, mapped, kind, s.reset)
	return s.rebuild(prediction, (e^sign)-sign), true
}

// unmap gives the error of a mapped one: the lowest bit of mapped + kind says whether the error has the less likely sign,
// which is + as long as k = 0 and fewer than half were negative. Source: T.87 A.7.2.2, inverted.
func (c *runContext) unmap(mapped, kind, k int) int {
	e := (mapped + kind + 1) >> 1
	odd := (mapped+kind)&1 == 1
	if odd != (k == 0 && 2*c.negative < c.n) {
		return -e
	}
	return e
}

// update learns the error. Source: T.87 A.7.2.3.
func (c *runContext) update(e, mapped, kind, reset int) {
	if e < 0 {
		c.negative++
	}
	c.a += int32(mapped+1-kind) >> 1
	if c.n == int32(reset) {
		c.a, c.n, c.negative = c.a>>1, c.n>>1, c.negative>>1
	}
	c.n++
}
