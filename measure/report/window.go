package report

import (
	"image"
	"math"
	"slices"
)

// window is the range of grey values that a picture shows from black to white.
type window struct{ Low, High float64 }

// windowOf returns one window for all pictures of a case, so that they can be compared: from the
// 1st to the 99.7th percentile of their grey values, outward to whole tens.
func windowOf(pictures []Picture) window {
	var sample []float64
	for _, p := range pictures {
		step := max(1, len(p.Grey)/20000)
		for i := 0; i < len(p.Grey); i += step {
			if g := float64(p.Grey[i]); !math.IsNaN(g) && !math.IsInf(g, 0) {
				sample = append(sample, g)
			}
		}
	}
	if len(sample) == 0 {
		return window{0, 1}
	}
	slices.Sort(sample)
	at := func(q float64) float64 { return sample[int(q*float64(len(sample)-1))] }
	low, high := math.Floor(at(0.01)/10)*10, math.Ceil(at(0.997)/10)*10
	if high <= low {
		high = low + 10
	}
	return window{low, high}
}

// String returns the window as it stands on a picture.
func (w window) String() string {
	return "grey values " + rounded(w.Low, 0) + " to " + rounded(w.High, 0)
}

// grey returns the picture in 8 bits, upside down if asked. Where there is no value it is hatched,
// so that outside the field never looks like air.
func (w window) grey(p Picture, flip bool) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, p.Width, p.Height))
	period := max(4, int(math.Round(1.6/p.Step)))
	for row := range p.Height {
		to := row
		if flip {
			to = p.Height - 1 - row
		}
		for col := range p.Width {
			g := float64(p.Grey[row*p.Width+col])
			img.Pix[to*img.Stride+col] = w.shade(g, (row+col)%period < period/4+1)
		}
	}
	return img
}

func (w window) shade(g float64, hatch bool) uint8 {
	switch {
	case math.IsNaN(g) && hatch:
		return 150
	case math.IsNaN(g):
		return 225
	}
	return uint8(math.Round(255 * math.Min(1, math.Max(0, (g-w.Low)/(w.High-w.Low)))))
}
