package dicomio

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"
)

// Rules of this file: images are grouped by SeriesInstanceUID and by what they are (an original axial image, a
// localizer, …), then by geometry. A group of fewer than three images beside a stack is no stack of its own: with
// another orientation it is left out, as a localizer; with the same orientation it is a slice that does not fit, and
// spoils the stack.

const (
	// sameDirection is how far two directions of one stack may differ, unitless. At 1e-3 the edge of a 100 mm field
	// moves by 0.1 mm; differences above steadyDirection are cautioned.
	sameDirection   = 1e-3
	steadyDirection = 1e-4
	// sameSpacing is how far two pixel spacings of one stack may differ, relative: 1e-5 of 200 mm is 0.002 mm.
	sameSpacing = 1e-5
	// fewest is the least number of slices of a volume.
	fewest = 3
)

type grouper struct {
	input   *Input
	limits  Limits
	planes  []*plane
	damaged []found

	noImages   []stray // passed over
	unreadable string  // what could not be opened, in words; empty when nothing
}

// series groups and judges everything found.
func (g *grouper) series(ctx context.Context) ([]*Series, error) {
	var out []*Series
	for _, bucket := range g.buckets() {
		out = append(out, g.split(bucket)...)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].planes[0].src.name < out[j].planes[0].src.name })
	for i, s := range out {
		s.Number = i + 1
		if err := s.settle(ctx); err != nil {
			return nil, err
		}
	}
	for _, s := range out {
		s.judgeOtherKinds(out)
		s.judgeStrays(g.noImages)
		s.judgeNumbers(g.numbers(s.UID))
	}
	g.assignDamaged(out)
	return out, nil
}

// judgeOtherKinds looks for images that stand under the UID of a stack, on its grid and beyond its ends, but are of
// another kind: they may be slices of it. A colour picture refuses the stack; what else was left out is cautioned.
func (s *Series) judgeOtherKinds(all []*Series) {
	if !s.candidate() || s.UID == "" {
		return
	}
	p := s.planes[0]
	for _, other := range all {
		q := other.planes[0]
		kind := q.kind()
		if other.UID != s.UID || kind == "" || kind == "localizer" || q.row == (r3.Vec{}) || p.row == (r3.Vec{}) ||
			!q.sameGrid(p) || !q.sameDirections(p, sameDirection) || !s.beyond(other.planes) {
			continue
		}
		if kind == "colour" {
			s.problem(&SeriesError{Code: "mixed", File: q.src.name, Attribute: "PhotometricInterpretation", Value: printable(q.src.pixels.photometric, 24),
				Problem: fmt.Sprintf("%s has %s: a colour picture among the slices", called(p.src.name), printable(p.src.pixels.photometric, 24)),
				Remedy:  "export the series again"})
			continue
		}
		s.caution("left_out", fmt.Sprintf("%d image(s) of the same series, matrix and orientation were left out (%s); slices may be missing at the ends of the stack",
			len(other.planes), kindWords[kind]))
	}
}

// beyond reports whether an image of planes lies before the first slice or after the last.
func (s *Series) beyond(planes []*plane) bool {
	n := s.planes[0].normal()
	first, last := s.planes[0].along(n), s.planes[len(s.planes)-1].along(n)
	return slices.ContainsFunc(planes, func(q *plane) bool { return q.along(n) < first-samePlace || q.along(n) > last+samePlace })
}

// buckets groups planes by series and by kind, in order of first file.
func (g *grouper) buckets() [][]*plane {
	index := map[string]int{}
	var out [][]*plane
	for _, p := range g.planes {
		key := p.src.series + "\x00" + p.src.class + "\x00" + p.kind()
		i, ok := index[key]
		if !ok {
			i = len(out)
			index[key] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], p)
	}
	return out
}

// split divides one bucket by geometry.
func (g *grouper) split(bucket []*plane) []*Series {
	stacks, lost := cluster(bucket)
	var out, strays []*Series
	for _, planes := range stacks {
		s := &Series{input: g.input, limits: g.limits, planes: planes}
		if len(planes) >= fewest || len(stacks) == 1 {
			out = append(out, s)
		} else {
			strays = append(strays, s)
		}
	}
	if len(out) == 0 {
		out, strays = strays, nil
	}
	if len(out) == 0 { // no image of the bucket has a place
		out = append(out, &Series{input: g.input, limits: g.limits, planes: lost})
		lost = nil
	}
	for _, stray := range strays {
		out = place(stray, out)
	}
	out[0].lost = append(out[0].lost, lost...)
	if len(out) > 1 {
		for i, s := range out {
			s.Part = i + 1
		}
	}
	return out
}

// place decides what a group of one or two images beside real stacks is.
func place(stray *Series, stacks []*Series) []*Series {
	p := stray.planes[0]
	for _, s := range stacks {
		if len(s.planes) >= fewest && p.sameDirections(s.planes[0], sameDirection) {
			s.misfits = append(s.misfits, stray.planes...)
			return stacks
		}
	}
	stray.leftOut = fmt.Sprintf("%d image(s) of another orientation beside a stack: a localizer", len(stray.planes))
	return append(stacks, stray)
}

// cluster divides planes by matrix, spacing and orientation; lost are those without a place.
func cluster(bucket []*plane) (stacks [][]*plane, lost []*plane) {
	for _, p := range bucket {
		if len(p.faults) > 0 || p.row == (r3.Vec{}) {
			lost = append(lost, p)
			continue
		}
		fits := -1
		for i, stack := range stacks {
			if p.sameGrid(stack[0]) && p.sameDirections(stack[0], sameDirection) {
				fits = i
				break
			}
		}
		if fits < 0 {
			if len(stacks) == maxStacks {
				p.fault(&SeriesError{Code: "odd_slice", Problem: fmt.Sprintf("images of more than %d geometries in one series", maxStacks),
					Remedy: "export each series by itself"})
				lost = append(lost, p)
				continue
			}
			stacks = append(stacks, nil)
			fits = len(stacks) - 1
		}
		stacks[fits] = append(stacks[fits], p)
	}
	return stacks, lost
}

// maxStacks bounds how many stacks one series may be split into.
const maxStacks = 256

// sameGrid reports whether p has the matrix and pixel spacing of q.
func (p *plane) sameGrid(q *plane) bool {
	near := func(a, b float64) bool { return math.Abs(a-b) <= sameSpacing*b }
	return p.src.pixels.rows == q.src.pixels.rows && p.src.pixels.columns == q.src.pixels.columns &&
		near(p.spacing[0], q.spacing[0]) && near(p.spacing[1], q.spacing[1])
}

// sameDirections reports whether the directions of p are those of q, within tolerance (unitless).
func (p *plane) sameDirections(q *plane, tolerance float64) bool {
	return r3.Norm(r3.Sub(p.row, q.row)) <= tolerance && r3.Norm(r3.Sub(p.column, q.column)) <= tolerance
}

// assignDamaged hands each damaged file to the series it belongs to; one that cannot be told spoils every candidate, for it may
// be the missing end of any.
func (g *grouper) assignDamaged(series []*Series) {
	for _, r := range g.damaged {
		known := false
		for _, s := range series {
			if r.source.series != "" && s.UID == r.source.series && s.leftOut == "" {
				s.fileProblem(r.broken)
				known = true
			}
		}
		for _, s := range series {
			if !known && r.source.series == "" && s.candidate() {
				s.fileProblem(r.broken)
			}
		}
	}
	for _, s := range series {
		if n := len(g.input.absent); n > 0 {
			s.caution("files_missing", fmt.Sprintf("%d file(s) listed by the DICOMDIR are not there, the first is %s", n, called(g.input.absent[0])))
		}
		if g.unreadable != "" {
			s.caution("files_unreadable", g.unreadable+"; slices may be missing at the ends of the stack")
		}
		if n := len(g.input.refused); n > 0 {
			s.caution("files_refused", fmt.Sprintf("%d file(s) were refused on the way in (%s); slices may be missing at the ends of the stack", n, countEach(g.input.refused)))
		}
	}
}
