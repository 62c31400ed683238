package dicomio

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"ridgerule/dicomio/craft"
)

// Row 39 of the table of tricky series: positions with noise, or rounded.

func TestRow39NoiseAndRoundingOfPositions(t *testing.T) {
	for _, step := range []float64{0.08, 0.125, 0.1599, 0.3333, 0.25} {
		for _, start := range []float64{0, -31.005, 17.333} {
			plain, noisy := []*craft.File{}, []*craft.File{}
			n := 40
			if step == 0.1599 {
				n = 400 // so near to 0.16 that a gap of 0.15 comes once in a hundred
			}
			for k := range n {
				z := start + step*float64(k)
				plain = append(plain, craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%.2f`, z)))
				noisy = append(noisy, craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`%.7f\-20\%.7f`, -10+1e-5*math.Sin(float64(9*k)), z+1e-5*math.Cos(float64(7*k)))))
			}
			for name, files := range map[string][]*craft.File{"rounded": plain, "noisy": noisy} {
				s, v := readOnly(t, folder(files...))
				near(t, fmt.Sprintf("%s step from %g", name, start), v.Step[2].Z, step, 0.01/40)
				near(t, "first position", v.Origin.Z, start, 0.006)
				for _, c := range s.Cautions {
					if c.Code != "rounded_positions" {
						t.Errorf("%s: caution %v", name, c)
					}
				}
			}
		}
	}
}

// rounded returns slices at start + step·k, k in numbers, their positions rounded to decimals.
func rounded(numbers []int, start, step float64, decimals int) []*craft.File {
	var files []*craft.File
	for _, k := range numbers {
		files = append(files, craft.Slice(k).Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%.*f`, decimals, start+step*float64(k))))
	}
	return files
}

// upTo returns 0 … n − 1 without those in but.
func upTo(n int, but ...int) []int {
	var out []int
	for k := range n {
		if !slices.Contains(but, k) {
			out = append(out, k)
		}
	}
	return out
}

// However few slices there are, positions rounded to two decimals are read, with a step that rounding explains: each end of
// the stack is off by 0.005 mm at most, so is the line, and the step by 0.01 mm over the number of steps (twice that for
// the least-squares slope of a few). One of them gone is missing, in its place, and not uneven.
func TestRow39FewRoundedSlicesAndOneMissing(t *testing.T) {
	for _, step := range []float64{0.08, 0.125, 0.1599, 0.3333, 0.0764, 0.2005} {
		for _, start := range []float64{0, -31.005, 17.333} {
			for n := 3; n <= 24; n++ {
				s, v := readOnly(t, folder(rounded(upTo(n), start, step, 2)...))
				near(t, fmt.Sprintf("step of %d slices from %g", n, start), v.Step[2].Z, step, 0.02/float64(n-1))
				for _, c := range s.Cautions {
					if c.Code != "rounded_positions" {
						t.Errorf("caution %v", c)
					}
				}
				if gone := n / 2; n > 4 {
					e := refused(t, folder(rounded(upTo(n, gone), start, step, 2)...), "missing_slice", "1 slice(s) missing at -10.000\\-20.000\\")
					var at float64
					fmt.Sscanf(e.Problem, `1 slice(s) missing at -10.000\-20.000\%f mm`, &at)
					near(t, "place of the missing slice", at, start+step*float64(gone), 0.0056) // as rounded, and as printed
				}
			}
		}
	}
}

// What rounding does not explain is refused: one slice of many a whole quantum out of place, half a stack or some slices
// two quanta, rounding to 1 decimal, and displacements that the decimals given would have shown.
func TestRow39WhatRoundingDoesNotExplain(t *testing.T) {
	displaced := func(decimals int, by float64, numbers ...int) []*craft.File {
		files := rounded(upTo(20), 0, 0.2, decimals)
		for _, k := range numbers {
			files[k] = rounded([]int{k}, by, 0.2, decimals)[0]
		}
		return files
	}
	refused(t, folder(displaced(2, 0.01, 9)...), "uneven", `\1.810 mm`, "0.210 mm from")
	refused(t, folder(displaced(2, 0.02, upTo(20, upTo(10)...)...)...), "uneven", "0.220 mm from")
	refused(t, folder(displaced(2, 0.02, 4, 5, 12, 13)...), "uneven", "0.220 mm from")
	refused(t, folder(displaced(3, 0.01, upTo(20, upTo(10)...)...)...), "uneven", "0.210 mm from")
	refused(t, folder(rounded(upTo(20), 0, 0.25, 1)...), "uneven")
}
