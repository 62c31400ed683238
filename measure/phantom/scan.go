package phantom

import (
	"context"
	"math"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Volume samples the jaw, blurred by an isotropic Gaussian, with noise and artefacts, on the
// grid of the options. The same options give the same voxels on any number of processors.
// progress, if not nil, is called with the finished share from 0 to 1, from one goroutine at
// a time. It returns ctx's error when ctx ends first.
func (j *Jaw) Volume(ctx context.Context, progress func(done float64)) (*volume.Volume, error) {
	vol, err := volume.New(j.grid)
	if err != nil {
		return nil, err
	}
	r := &render{jaw: j, vol: vol, lens: newLens(j.grid, j.opt.Scan.Blur), progress: progress}
	r.finish = newFinish(j)
	if r.finish.blank != nil {
		vol.Blank = r.finish.blank
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for _, s := range r.slabs() {
		group.Go(func() error { return r.slab(ctx, s) })
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return vol, nil
}

// render is one run of Volume.
type render struct {
	jaw      *Jaw
	vol      *volume.Volume
	lens     lens
	finish   *finish
	progress func(float64)
	mu       sync.Mutex
	done     int
}

// slab is a run of slices that share their lattice planes.
type slab struct {
	from, to int    // slices [from, to)
	step     r3.Vec // from one lattice plane to the next, patient, mm
}

// slabs cuts the slices into runs. The slices of a sheared grid share no planes: each is a run.
func (r *render) slabs() []slab {
	g := r.vol.Grid
	n := normal(g)
	along := r3.Dot(g.Step[2], n)
	step := r3.Scale(along/float64(r.lens.fine[2]), n)
	length := 1
	if r3.Norm(r3.Sub(g.Step[2], r3.Scale(along, n))) < 1e-9 {
		length = max(1, (g.Size[2]+2*runtime.GOMAXPROCS(0)-1)/(2*runtime.GOMAXPROCS(0)))
	}
	var out []slab
	for k := 0; k < g.Size[2]; k += length {
		out = append(out, slab{k, min(k+length, g.Size[2]), step})
	}
	return out
}

// slab fills its slices plane by plane. A slice's planes are always added in the same order,
// whatever the run: the voxels do not depend on the number of processors.
func (r *render) slab(ctx context.Context, s slab) error {
	g, ln := r.vol.Grid, r.lens
	sh := newSheet(r.jaw.shape, &r.jaw.opt.Grey, r.jaw.grain, ln, g.Size)
	sh.ex = r.jaw.toJaw(r3.Scale(1/float64(ln.fine[0]), g.Step[0]))
	sh.ey = r.jaw.toJaw(r3.Scale(1/float64(ln.fine[1]), g.Step[1]))
	half, m := len(ln.kernel[2])/2, ln.fine[2]
	open := map[int][]float32{}
	for q := -half; q <= (s.to-s.from-1)*m+half; q++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		first := max(0, int(math.Ceil(float64(q-half)/float64(m))))
		last := min(s.to-s.from-1, int(math.Floor(float64(q+half)/float64(m))))
		if first > last {
			continue
		}
		var slices [][]float32
		var weights []float64
		for k := first; k <= last; k++ {
			if open[k] == nil {
				open[k] = make([]float32, g.Size[0]*g.Size[1])
			}
			slices = append(slices, open[k])
			weights = append(weights, ln.kernel[2][q-k*m+half])
		}
		at := r3.Add(g.Patient(volume.Index{K: float64(s.from)}), r3.Scale(float64(q), s.step))
		r.plane(sh, at, slices, weights)
		if q == first*m+half {
			r.close(s.from+first, open[first])
			delete(open, first)
		}
	}
	return nil
}

// plane draws the plane through at and adds it to the slices; twice, half each, for motion.
func (r *render) plane(sh *sheet, at r3.Vec, slices [][]float32, weights []float64) {
	shifts := []r3.Vec{{}}
	if d := r.jaw.opt.Hard.Motion; d != (r3.Vec{}) {
		shifts = []r3.Vec{r3.Scale(0.5, d), r3.Scale(-0.5, d)}
		weights = append([]float64(nil), weights...)
		for i := range weights {
			weights[i] /= 2
		}
	}
	pad := [2]float64{float64(len(sh.lens.kernel[0]) / 2), float64(len(sh.lens.kernel[1]) / 2)}
	for _, d := range shifts {
		sh.origin = r.jaw.toJaw(r3.Add(at, d))
		sh.origin = sh.at(-pad[0], -pad[1])
		sh.draw()
		sh.blur(r.vol.Size)
		sh.addTo(slices, weights, r.vol.Size)
	}
}

// close finishes slice k and reports progress.
func (r *render) close(k int, grey []float32) {
	n := r.vol.Size[0] * r.vol.Size[1]
	r.finish.slice(k, grey, r.vol.Stored[k*n:(k+1)*n])
	r.mu.Lock()
	defer r.mu.Unlock()
	r.done++
	if r.progress != nil {
		r.progress(float64(r.done) / float64(r.vol.Size[2]))
	}
}
