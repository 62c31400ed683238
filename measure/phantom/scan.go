package phantom

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"

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
	r := newRender(j, vol, progress)
	if r.acquisition.blank != nil {
		vol.Blank = r.acquisition.blank
	}
	if err := r.run(ctx); err != nil {
		return nil, err
	}
	return vol, nil
}

// run draws the planes, a stack at a time.
func (r *render) run(ctx context.Context) error {
	for p := 0; p < len(r.origin); p += depth {
		if err := r.stack(ctx, p, min(p+depth, len(r.origin))); err != nil {
			return err
		}
	}
	return nil
}

// depth is how many planes of the lattice are drawn together. Our choice: planes one above the
// other share the feet of their points on the arch, at twice a plane's memory for each.
const depth = 32

// render is one run of Volume. The lattice planes are drawn in order, a stack at a time, and
// blurred within themselves; a slice is the weighted sum of its planes.
type render struct {
	jaw         *Jaw
	vol         *volume.Volume
	kernel      kernel
	acquisition *acquisition
	progress    func(float64)
	mu          sync.Mutex
	done        int

	copies  int         // of each plane: 2 with motion, which take turns
	origin  []r3.Vec    // of each plane: its lattice point (0, 0), jaw frame
	stride  int         // planes from a slice's first to the next one's
	taps    int         // planes of a slice
	weight  []float32   // of a slice's planes
	half    [][]float32 // the stack's planes, blurred along rows: lattice rows × voxels' columns
	image   [][]float32 // the last planes, blurred along columns too; plane p is image[p%len(image)]
	workers []*worker
}

// worker is what one goroutine needs.
type worker struct {
	*tiler
	value [][]float32 // a strip of each plane of a stack
	grey  []float32   // one slice
}

func newRender(j *Jaw, vol *volume.Volume, progress func(float64)) *render {
	r := &render{jaw: j, vol: vol, kernel: newKernel(j.grid, j.opt.Scan.Blur, j.opt.Scan.Quick), acquisition: newAcquisition(j), progress: progress}
	n := vol.Size[0] * vol.Size[1]
	for range runtime.GOMAXPROCS(0) {
		w := &worker{tiler: newTiler(j, r.kernel, vol.Size), grey: make([]float32, n)}
		w.value = sheets(depth, tile*w.columns)
		r.workers = append(r.workers, w)
	}
	r.placePlanes()
	r.half = sheets(depth, r.workers[0].rows*vol.Size[0])
	r.image = sheets(depth+r.taps, n)
	return r
}

func sheets(n, size int) [][]float32 {
	s := make([][]float32, n)
	for i := range s {
		s[i] = make([]float32, size)
	}
	return s
}

// placePlanes lists the lattice's planes. Neighbouring slices share theirs, unless the grid is
// sheared or its slices are further apart than the kernel is wide: then each has its own.
func (r *render) placePlanes() {
	g, kernel, tiler := r.vol.Grid, r.kernel.weights, r.workers[0].tiler
	n := normal(g)
	along := r3.Dot(g.Step[2], n)
	step := r3.Scale(along/float64(r.kernel.fine[2]), n)
	own := r3.Norm(r3.Sub(g.Step[2], r3.Scale(along, n))) >= 1e-9 || r.kernel.fine[2] > len(kernel[2])
	r.taps, r.stride = len(kernel[2]), r.kernel.fine[2]
	if own {
		r.stride = r.taps
	}
	shifts := r.jaw.shifts()
	for p := range (g.Size[2]-1)*r.stride + r.taps {
		k, q := 0, p
		if own {
			k, q = p/r.taps, p%r.taps
		}
		at := r3.Add(g.Patient(volume.Index{K: float64(k)}), r3.Scale(float64(q-r.taps/2), step))
		for _, d := range shifts {
			tiler.origin = r.jaw.toJaw(r3.Add(at, d))
			r.origin = append(r.origin, tiler.at(-float64(len(kernel[0])/2), -float64(len(kernel[1])/2)))
		}
	}
	for _, w := range kernel[2] {
		for range shifts {
			r.weight = append(r.weight, float32(w/float64(len(shifts))))
		}
	}
	r.copies = len(shifts)
	r.taps, r.stride = r.taps*r.copies, r.stride*r.copies
}

// shifts are the places of the copies whose mean the scan is, patient, mm: two with motion.
func (j *Jaw) shifts() []r3.Vec {
	if d := j.opt.Artefacts.Motion; d != (r3.Vec{}) {
		return []r3.Vec{r3.Scale(0.5, d), r3.Scale(-0.5, d)}
	}
	return []r3.Vec{{}}
}

// stack draws planes [p, q) and finishes the slices whose last plane is among them.
func (r *render) stack(ctx context.Context, p, q int) error {
	rows := r.workers[0].rows
	err := r.each(ctx, (rows+tile-1)/tile, func(w *worker, i int) { r.strip(w, i*tile, p, q) })
	if err != nil {
		return err
	}
	if err = r.each(ctx, q-p, func(_ *worker, i int) { r.blurColumns(r.half[i], r.image[(p+i)%len(r.image)]) }); err != nil {
		return err
	}
	first, last := r.done, min(r.vol.Size[2], (q-r.taps+r.stride)/r.stride)
	return r.each(ctx, last-first, func(w *worker, i int) { r.slice(w, first+i) })
}

// each calls f for 0 … n−1, each worker in one goroutine.
func (r *render) each(ctx context.Context, n int, f func(w *worker, i int)) error {
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for _, w := range r.workers {
		group.Go(func() error {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				if err := ctx.Err(); err != nil {
					return err
				}
				f(w, i)
			}
			return nil
		})
	}
	return group.Wait()
}

// strip draws the rows from top in planes [p, q) and blurs them along.
func (r *render) strip(w *worker, top, p, q int) {
	w.strip(top, r.origin[p:q], r.copies, w.value)
	n := r.vol.Size[0]
	for k := range q - p {
		for y := top; y < min(top+tile, w.rows); y++ {
			row := w.value[k][(y-top)*w.columns : (y-top+1)*w.columns]
			blurRow(row, r.kernel.weights[0], r.kernel.fine[0], r.half[k][y*n:(y+1)*n])
		}
	}
}

// slice adds up the planes of slice k, finishes it and reports progress.
func (r *render) slice(w *worker, k int) {
	n := r.vol.Size[0]
	rows := make([][]float32, r.taps)
	for y := range r.vol.Size[1] {
		for t := range rows {
			rows[t] = r.image[(k*r.stride+t)%len(r.image)][y*n : (y+1)*n]
		}
		weightedSum(w.grey[y*n:(y+1)*n], rows, r.weight)
	}
	r.acquisition.slice(k, w.grey, r.vol.Stored[k*len(w.grey):(k+1)*len(w.grey)])
	r.mu.Lock()
	defer r.mu.Unlock()
	r.done++
	if r.progress != nil {
		r.progress(float64(r.done) / float64(r.vol.Size[2]))
	}
}
