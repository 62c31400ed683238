package dicomio

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"runtime"
	"runtime/debug"
	"sort"
	"sync"

	"ridgerule/dicomio/volume"
)

// Read reads the pixels into one volume, in parallel. progress, when not nil, is called from one goroutine at a time
// after each slice.
//
// It returns s.Err() when the series is unfit, a [*SeriesError] when a file has changed or cannot be decoded or memory
// is short, and ctx's error when cancelled.
func (s *Series) Read(ctx context.Context, progress func(done, total int)) (*volume.Volume, error) {
	if err := s.Err(); err != nil {
		return nil, err
	}
	return s.read(ctx, progress)
}

// read reads whatever the verdict is, as long as there is a grid.
func (s *Series) read(ctx context.Context, progress func(done, total int)) (*volume.Volume, error) {
	if err := s.enough(); err != nil {
		return nil, err
	}
	n := s.Grid.Size
	v := &volume.Volume{Grid: s.Grid, Stored: make([]int16, n[0]*n[1]*n[2]), Blank: s.blank, Rescale: s.rescales()}
	hugePages(v.Stored)
	report := reporter{total: n[2], report: progress}
	tasks := s.tasks()
	err := each(ctx, s.limits.Workers, len(tasks), func(i int) error {
		return s.perform(ctx, tasks[i], v, &report)
	})
	if err != nil {
		return nil, err
	}
	return v, nil
}

// enough returns an error when the memory for the volume is not there: Go cannot recover from running out.
func (s *Series) enough() error {
	free := freeMemory()
	if limit := debug.SetMemoryLimit(-1); limit < math.MaxInt64 && (free == 0 || limit < free) {
		free = limit
	}
	if free > 0 && s.Bytes() > free {
		return &SeriesError{Code: "memory", Problem: fmt.Sprintf("the volume needs %d MiB of memory, %d MiB are free", s.Bytes()>>20, free>>20),
			Remedy: "close other programs, use a machine with more memory, or export a smaller field"}
	}
	return nil
}

// rescales returns one rescale, or one a slice when they differ.
func (s *Series) rescales() []volume.Rescale {
	all := make([]volume.Rescale, len(s.planes))
	same := true
	for k, p := range s.planes {
		c := newCells(p.src.pixels)
		all[k] = c.rescale(p.rescale)
		same = same && all[k] == all[0]
	}
	if same {
		return all[:1]
	}
	return all
}

// tasks divides the slices among goroutines: neighbours together, some megabytes a task; the slices of a file that must be read in order make one task.
func (s *Series) tasks() [][]int {
	const together = 8 << 20
	most := max(1, min(together/(2*s.Grid.Size[0]*s.Grid.Size[1]), len(s.planes)/(8*s.limits.Workers)))
	streams := map[*source][]int{}
	var out [][]int
	var current []int
	for k, p := range s.planes {
		if p.src.frames > 1 && (!p.src.seek || p.src.walked.Deflated != 0) {
			streams[p.src] = append(streams[p.src], k)
			continue
		}
		if current = append(current, k); len(current) >= most {
			out = append(out, current)
			current = nil
		}
	}
	if current != nil {
		out = append(out, current)
	}
	for _, slices := range streams {
		sort.Slice(slices, func(i, j int) bool { return s.planes[slices[i]].frame < s.planes[slices[j]].frame })
		out = append(out, slices)
	}
	return out
}

// perform reads the slices of one task, file by file.
func (s *Series) perform(ctx context.Context, slices []int, v *volume.Volume, report *reporter) error {
	for len(slices) > 0 {
		n := 1
		for n < len(slices) && s.planes[slices[n]].src == s.planes[slices[0]].src {
			n++
		}
		if err := s.readFile(ctx, slices[:n], v, report); err != nil {
			return err
		}
		slices = slices[n:]
	}
	return nil
}

// readFile reads slices that lie in one file.
func (s *Series) readFile(ctx context.Context, slices []int, v *volume.Volume, report *reporter) error {
	src := s.planes[slices[0]].src
	r, err := s.input.openPixels(src)
	if err != nil {
		return err
	}
	defer r.Close()
	size := v.Size[0] * v.Size[1]
	remap, mapped := s.remap[src]
	for _, k := range slices {
		if err := ctx.Err(); err != nil {
			return err
		}
		dst := v.Stored[k*size : (k+1)*size : (k+1)*size]
		if err := r.frame(s.planes[k], dst); err != nil {
			return err
		}
		if mapped {
			mark(dst, remap, *s.blank)
		}
		report.step()
	}
	return r.finish()
}

// reporter hands on progress, one caller at a time.
type reporter struct {
	sync.Mutex
	done, total int
	report      func(done, total int)
}

func (o *reporter) step() {
	if o.report == nil {
		return
	}
	o.Lock()
	defer o.Unlock()
	o.done++
	o.report(o.done, o.total)
}

// FrameHash returns the SHA-256 (hexadecimal) of the series' Frame of Reference UID, which every
// reconstruction in the same coordinates shares; nothing where the series has none.
func (s *Series) FrameHash() string {
	if s.FrameOfReference == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(s.FrameOfReference))
	return hex.EncodeToString(sum[:])
}

// Hash returns the SHA-256 (hexadecimal) of what v holds and where: UIDs, grid, rescale and stored values, slice by
// slice. File names, file order and lossless encodings do not move it.
func (s *Series) Hash(v *volume.Volume) string {
	size := v.Size[0] * v.Size[1]
	sums := make([][sha256.Size]byte, v.Size[2])
	_ = each(context.Background(), runtime.GOMAXPROCS(0), len(sums), func(k int) error {
		sums[k] = sliceSum(v.Stored[k*size : (k+1)*size])
		return nil
	})
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%v %v %v\n", s.UID, v.Size, v.Origin, v.Step)
	for k, sum := range sums {
		sop := ""
		if k < len(s.Images) {
			sop = s.Images[k].SOP
		}
		r := v.RescaleOf(k)
		fmt.Fprintf(h, "%s %v %v %x\n", sop, r.Slope, r.Intercept, sum)
	}
	if v.Blank != nil {
		fmt.Fprintf(h, "blank %d\n", *v.Blank)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// sliceSum hashes stored values as little-endian bytes, whatever the machine.
func sliceSum(stored []int16) [sha256.Size]byte {
	if !bigHost {
		return sha256.Sum256(bytesOf(stored))
	}
	b := make([]byte, 0, 2*len(stored))
	for _, v := range stored {
		b = binary.LittleEndian.AppendUint16(b, uint16(v))
	}
	return sha256.Sum256(b)
}
