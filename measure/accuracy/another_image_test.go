package accuracy_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
)

// An image is what a scanner makes of an ideal grey function on a box of cubic voxels: the mean over
// each voxel of the blurred function, summed over fine cells.
type image struct {
	size  [3]int
	voxel float64 // side, mm
	blur  float64 // sigma, mm
	sub   int     // fine cells a voxel, each way
}

// fine returns the side of a fine cell, mm.
func (im image) fine() float64 { return im.voxel / float64(im.sub) }

// cover returns the share of a fine cell inside a face at distance d from its centre, in cells, positive
// outside.
func cover(d float64) float64 { return max(0, min(1, 0.5-d)) }

// kernel returns the weights of the fine cells around a voxel, from its first cell −pad on: the box of a
// voxel seen through the blur.
func (im image) kernel() (w []float64, pad int) {
	h, half, q := im.fine(), im.voxel/2, math.Sqrt2*im.blur
	pad = int(math.Ceil(4.5 * im.blur / h))
	for m := -pad; m < im.sub+pad; m++ {
		x := (float64(m)+0.5)*h - half
		w = append(w, math.Erf((x+half)/q)-math.Erf((x-half)/q))
	}
	floats.Scale(1/floats.Sum(w), w)
	return w, pad
}

// render returns size[0]·size[1]·size[2] grey values: column fastest, then row, then slice. grey is the
// ideal image at mm from the centre of the first voxel along the grid's axes.
func (im image) render(grey func(x, y, z float64) float64) []float64 {
	w, pad := im.kernel()
	n := im.size[0] * im.size[1]
	out := make([]float64, n*im.size[2])
	for m := range im.size[2]*im.sub + 2*pad {
		plane := im.plane(w, pad, func(x, y float64) float64 { return grey(x, y, im.at(m-pad)) })
		for k := range im.size[2] {
			if c := m - k*im.sub; c >= 0 && c < len(w) {
				floats.AddScaled(out[k*n:][:n], w[c], plane)
			}
		}
	}
	return out
}

// plane renders one plane of fine cells in columns and rows.
func (im image) plane(w []float64, pad int, grey func(x, y float64) float64) []float64 {
	nx, ny := im.size[0], im.size[1]
	line := make([]float64, nx*im.sub+2*pad)
	rows := make([]float64, nx*(ny*im.sub+2*pad))
	for n := range len(rows) / nx {
		for o := range line {
			line[o] = grey(im.at(o-pad), im.at(n-pad))
		}
		for i := range nx {
			rows[n*nx+i] = floats.Dot(w, line[i*im.sub:][:len(w)])
		}
	}
	out := make([]float64, nx*ny)
	for j := range ny {
		for c, w := range w {
			floats.AddScaled(out[j*nx:][:nx], w, rows[(j*im.sub+c)*nx:][:nx])
		}
	}
	return out
}

// at returns where the centre of fine cell m lies, mm.
func (im image) at(m int) float64 { return ((float64(m)+0.5)/float64(im.sub) - 0.5) * im.voxel }

// A texture is a smooth random field over a grid's box and 1.5 mm around it.
type texture struct {
	value []float64 // n[0]·n[1]·n[2]: column fastest, then row, then slice
	n     [3]int
}

const (
	texturePitch = 0.12 // mm, under half of the finest grain
	textureSpare = 1.5  // mm
)

// newTexture draws a texture of mean 0, SD 1 and the correlation exp(−r²/2·grain²) over a box of size
// mm: an image of white noise, which goes on at the near side where the far one ends.
func newTexture(rng *rand.Rand, size [3]float64, grain float64) *texture {
	im := image{voxel: texturePitch, blur: grain / math.Sqrt2, sub: 1}
	for a := range size {
		im.size[a] = int((size[a]+2*textureSpare)/texturePitch) + 2
	}
	n := im.size
	white := make([]float64, n[0]*n[1]*n[2])
	for i := range white {
		white[i] = rng.NormFloat64()
	}
	first := int(math.Ceil(3.5 * im.blur / im.voxel)) // of the noise; any would do
	index := func(x float64, a int) int { return (int(math.Round(x/im.voxel)) + first + n[a]) % n[a] }
	f := &texture{n: n}
	f.value = im.render(func(x, y, z float64) float64 {
		return white[(index(z, 2)*n[1]+index(y, 1))*n[0]+index(x, 0)]
	})
	w, _ := im.kernel()
	floats.Scale(math.Pow(floats.Dot(w, w), -1.5), f.value)
	return f
}

// at returns the texture at mm from the grid's first voxel, trilinear; 0 outside.
func (f *texture) at(p ...float64) float64 {
	var i [3]int
	var t [3]float64
	for a, x := range p {
		x = (x + textureSpare) / texturePitch
		i[a] = int(x)
		t[a] = x - float64(i[a])
		if x < 0 || i[a]+1 >= f.n[a] {
			return 0
		}
	}
	row, slice := f.n[0], f.n[0]*f.n[1]
	line := func(k int) float64 { return (1-t[0])*f.value[k] + t[0]*f.value[k+1] }
	face := func(k int) float64 { return (1-t[1])*line(k) + t[1]*line(k+row) }
	k := i[2]*slice + i[1]*row + i[0]
	return (1-t[2])*face(k) + t[2]*face(k+slice)
}
