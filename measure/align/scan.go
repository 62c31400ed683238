package align

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// ErrRefused is the fault of two scans that cannot be brought into one frame: too little of them overlaps, they show two
// different jaws, or one is a mirror image. A [Refusal] has the evidence.
var ErrRefused = errors.New("align: the scans cannot be aligned")

// Refusal says why two scans were not aligned, and what to do.
type Refusal struct {
	Why    string // a sentence, with the values
	Remedy string
}

func (r *Refusal) Error() string { return "align: " + r.Why + "; " + r.Remedy }

// Is reports whether target is [ErrRefused].
func (r *Refusal) Is(target error) bool { return target == ErrRefused }

// ScanOptions say how two scans are aligned. The zero value is ready to use.
type ScanOptions struct {
	From, To string              // names of the frames of the first and the second scan
	Keep     func(p r3.Vec) bool // which points of the first scan's frame (mm) may be used: basal bone, not what may change; nil: all
	Start    *Transform          // about where the second scan lies; nil: within 15° and 15 mm of the first, or of its own bone's middle
	Points   int                 // how many points are asked; 0 means 40,000
	Seed     uint64              // of the points
}

// ScanFit is a scan brought into another's frame.
type ScanFit struct {
	Transform           // first scan → second scan, with its uncertainty
	Information float64 // mutual information at the points used, nats
	Next        float64 // of the best other place the search met, nats; 0: it met none
	Mirrored    float64 // of the first scan's mirror image and the second scan, against that of the first scan itself, both on coarse voxels; no unit
	Overlap     float64 // share of the first scan's bone that the second scan's field holds
	Points      int     // how many points were used
	Size        float64 // how much longer the second scan's lengths are, relative; a check only, the transform does not contain it
	SizeStd     float64 // its standard uncertainty, relative
	Apart       float64 // how far the parts of the bone still lie apart after it, their median, mm: 0 for one rigid bone without noise
	Cautions    []string
}

// The points of the three rounds; our choice, for time: a jaw of 400×400×300 voxels within ten seconds on two cores.
const (
	coarsePoints = 3000
	middlePoints = 12000
	finePoints   = 40000
)

// Scans brings the first scan into the frame of the second: the rigid transform at which the grey values of one say most
// about those of the other (their mutual information), over bone and what lies within a few millimetres of it.
//
// It returns an error wrapping [ErrRefused] where the two overlap too little, show two different jaws or one is a mirror
// image, and ctx's error when ctx ends first. How much one looks like the other decides none of it alone.
//
// Source: Maes F et al. IEEE Trans Med Imaging 1997;16:187–198. doi:10.1109/42.563664 (from memory).
func Scans(ctx context.Context, first, second *volume.Volume, o ScanOptions) (*ScanFit, error) {
	if o.Points == 0 {
		o.Points = finePoints
	}
	p, err := newPair(first, second, o)
	if err != nil {
		return nil, err
	}
	at, err := p.search(ctx)
	if err != nil {
		return nil, err
	}
	return p.finish(ctx, at)
}

// pair is two scans at three sizes of voxel, coarse first.
type pair struct {
	o              ScanOptions
	first, second  [3]*volume.Volume
	cells          []r3.Vec // coarse voxels of the first scan near bone, mm
	middle, centre r3.Vec   // of the bone of the first scan and of the second, mm
}

func newPair(first, second *volume.Volume, o ScanOptions) (*pair, error) {
	p := &pair{o: o}
	for i, v := range []*volume.Volume{first, second} {
		of := []*[3]*volume.Volume{&p.first, &p.second}[i]
		of[2] = v
		of[1] = reduced(v, middleEdge)
		of[0] = reduced(v, coarseEdge)
	}
	level := newHistogram(p.first[0]).bone()
	p.cells, p.middle = bony(p.first[0], level, o.Keep)
	if len(p.cells) < leastCells {
		return nil, &Refusal{fmt.Sprintf("the first scan has %.1f cm³ of bone where it may be used, at least %.1f are needed", p.volume(len(p.cells)), p.volume(leastCells)), "widen the mask"}
	}
	_, p.centre = bony(p.second[0], newHistogram(p.second[0]).bone(), nil)
	return p, nil
}

// leastCells is how many coarse voxels near bone are the least; our choice, some 5 cm³: less holds no transform.
const leastCells = 1800

// volume returns how much n coarse voxels hold, cm³.
func (p *pair) volume(n int) float64 {
	s := p.first[0].Spacing()
	return float64(n) * s[0] * s[1] * s[2] / 1000
}

// round returns the question of one round: of the scans of one size, at so many points.
func (p *pair) round(level, count int, at motion) *information {
	keep := p.o.Keep
	r := rand.New(rand.NewPCG(p.o.Seed, uint64(level)+1))
	own := rangeOf(p.first[level], p.cells, func(q r3.Vec) r3.Vec { return q })
	n := &information{second: newImage(p.second[level])}
	n.samples, n.blocks = scatter(p.first[level], p.first[0].Grid, p.cells, keep, own, count, r)
	n.greys = rangeOf(p.second[level], p.cells, at.apply)
	n.floor = commonError * max(slices.Max(spacingOf(p.first[level])), slices.Max(spacingOf(p.second[level])))
	return n
}

// within leaves only the points that lie in the second scan's field after m with room to move.
func (n *information) within(m motion) {
	const room = 1.0 // mm; a point that comes or goes makes a step
	kept := n.samples[:0]
	for _, s := range n.samples {
		q := m.apply(s.p)
		in := true
		for _, d := range []r3.Vec{{X: room, Y: room, Z: room}, {X: -room, Y: -room, Z: -room}, {X: room, Y: -room, Z: room}, {X: -room, Y: room, Z: -room}} {
			_, _, ok := n.second.at(r3.Add(q, d))
			in = in && ok
		}
		if in {
			kept = append(kept, s)
		}
	}
	n.samples = kept
}

// finish refines at, asks how well it is known, and refuses what is none.
func (p *pair) finish(ctx context.Context, at found) (*ScanFit, error) {
	middle := p.round(1, middlePoints, at.motion)
	at.motion, _ = middle.climb(at.motion, size)
	fit := &ScanFit{Next: at.next, Mirrored: at.mirrored}
	if err := errors.Join(ctx.Err(), p.matching(middle, at.motion, fit)); err != nil {
		return nil, err
	}
	if err := at.decided(); err != nil {
		return nil, err
	}
	n := p.round(2, p.o.Points, at.motion)
	all := len(n.samples)
	n.within(at.motion)
	fit.Points, fit.Overlap = len(n.samples), float64(len(n.samples))/float64(max(1, all))
	if err := p.enough(fit); err != nil {
		return nil, err
	}
	m, nats := n.climb(at.motion, size)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	fit.Transform, fit.Information = m.rigid(p.o.From, p.o.To), nats
	if err := n.uncertain(m, fit); err != nil {
		return nil, err
	}
	fit.caution()
	return fit, nil
}

// enough refuses too little overlap.
func (p *pair) enough(fit *ScanFit) error {
	const least = 0.25 // of the bone; our choice
	if fit.Overlap < least || fit.Points < p.o.Points/20 {
		return &Refusal{fmt.Sprintf("the two scans share %.0f %% of the first one's bone, at least %.0f %% are needed", 100*fit.Overlap, 100*least), startRemedy}
	}
	return nil
}

const startRemedy = "name three pairs of points that show the same place in both, mask the first scan to what the second one shows, or use scans that overlap"

// What one rigid bone is held against; our choice, between what pairs of one jaw and of two different jaws show
// (docs/alignment.md).
const (
	partsApart  = 0.25 // mm, the median part
	oddPart     = 0.6  // mm, a tenth of the parts: a caution
	mirrorImage = 1.25 // times as much said of the mirror image; two different jaws say as much of either
	placeAlike  = 0.9  // times as much said of another place: one jaw twice says less than half
)

// decided refuses a place that the search cannot tell from another one, more than 3 mm away: where it missed the right one it says as much of
// many, and parts of which little is said do not move.
func (f found) decided() error {
	if f.next > placeAlike*f.nats {
		return &Refusal{fmt.Sprintf("no place is found at which the two scans fit clearly better than elsewhere (%.2f nats, and %.2f at another place)", f.nats, f.next),
			"check that both show one patient and one jaw; if they do, name three pairs of points that show the same place in both"}
	}
	return nil
}

// matching refuses a mirror image and two different jaws.
func (p *pair) matching(n *information, m motion, fit *ScanFit) error {
	parts := n.partMoves(m)
	fit.Apart = parts[len(parts)/2].by
	switch {
	case fit.Mirrored > mirrorImage, fit.Mirrored > 1 && fit.Apart <= partsApart:
		return &Refusal{fmt.Sprintf("the second scan resembles the first one's mirror image more than the first one (%.2f times)", fit.Mirrored),
			"check which side is left in both series; if it is the same, name three pairs of points that show the same place in both"}
	case !(fit.Apart <= partsApart):
		return &Refusal{fmt.Sprintf("the two scans do not show one rigid bone: half of its parts still lie %.2f mm apart or more, at most %.2f mm are let pass", fit.Apart, partsApart),
			"check that both show one patient; if they do, leave out by a mask what has moved or changed (the other jaw above all), or give a start"}
	}
	if worst := parts[len(parts)*9/10]; worst.by > oddPart {
		fit.Cautions = append(fit.Cautions, fmt.Sprintf("a tenth of the bone, as about (%.0f, %.0f, %.0f) mm in the first scan, lies %.1f mm or more from where the whole says: it has changed or moved; leave it out by a mask", worst.at.X, worst.at.Y, worst.at.Z, worst.by))
	}
	return nil
}

// sizeWarned is the difference in size between two scans that earns a caution. Source: 0.4 % that go unnoticed cost 0.15 to
// 0.25 mm (docs/alignment.md); half of it is our choice.
const sizeWarned = 0.002

// caution adds what a reader of the fit must know.
func (f *ScanFit) caution() {
	if math.Abs(f.Size) > sizeWarned {
		f.Cautions = append(f.Cautions, fmt.Sprintf("lengths in the second scan are %.2f %% %s than in the first (u %.2f %%): the two devices differ in size; it is not corrected, and the uncertainty of every length that crosses carries it",
			100*math.Abs(f.Size), map[bool]string{true: "longer", false: "shorter"}[f.Size > 0], 100*f.SizeStd))
	}
	if f.Mirrored > 0.97 { // our choice
		f.Cautions = append(f.Cautions, "the jaw is so symmetrical that the scans cannot tell left from right: check it by eye")
	}
}
