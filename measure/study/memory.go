package study

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/sync/semaphore"
)

// What one entry's process takes beyond its volume, in bytes. Measured as the greatest resident size
// of the process on 128³ and 512³ volumes with 4 and 40 sites: 33–65 MB beyond the volume when its
// heap is held to the need less spare. If they are too small, n processes pass the limit.
const (
	overhead = 128 << 20 // program, headers, pictures, page
	perSite  = 1 << 20   // sections and their drawings
	spare    = 32 << 20  // of the overhead: what the runtime holds outside its heap
	ownShare = 64 << 20  // of the limit: the process that hands out the entries
)

// need returns the bytes that a volume of this size with so many sites takes to measure.
func need(volume int64, sites int) int64 { return volume + overhead + int64(sites)*perSite }

// gate lets entries in as long as their needs fit the limit together. nil lets all in.
type gate struct {
	limit int64
	free  *semaphore.Weighted
}

func newGate(limit int64) *gate {
	if limit <= 0 {
		return nil
	}
	g := &gate{limit: max(0, limit-ownShare)}
	g.free = semaphore.NewWeighted(g.limit)
	return g
}

// fits refuses a need that the limit can never meet.
func (g *gate) fits(bytes int64) error {
	if g == nil || bytes <= g.limit {
		return nil
	}
	return &Failure{Stage: StageMemory, Reason: fmt.Sprintf("needs %d MiB of memory, %d MiB are allowed; allow %d MiB or more, or export a smaller field",
		mebibytes(bytes), (g.limit+ownShare)>>20, mebibytes(bytes+ownShare))}
}

func mebibytes(bytes int64) int64 { return (bytes + 1<<20 - 1) >> 20 }

func (g *gate) enter(ctx context.Context, bytes int64) error {
	if g == nil {
		return ctx.Err()
	}
	return g.free.Acquire(ctx, bytes)
}

func (g *gate) leave(bytes int64) {
	if g != nil {
		g.free.Release(bytes)
	}
}

// ParseMemory reads a size in bytes: a whole number with K, M, G or T (powers of 1024, optionally
// followed by iB or B), as 6000M, 12G, 512MiB.
func ParseMemory(s string) (int64, error) {
	text := strings.ToUpper(strings.TrimSpace(s))
	text = strings.TrimSuffix(strings.TrimSuffix(text, "B"), "I")
	shift := 0
	if n := len(text); n > 0 {
		if i := strings.IndexByte("KMGT", text[n-1]); i >= 0 {
			shift, text = 10*(i+1), text[:n-1]
		}
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 || n > 1<<62>>shift {
		return 0, fmt.Errorf("%q is no amount of memory; write it as 6000M or 12G", s)
	}
	return n << shift, nil
}
