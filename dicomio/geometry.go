package dicomio

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Rules of this file. Slices are ordered by n·P, n = row × column, P = ImagePositionPatient. The step S is the
// least-squares slope of P over the slice number k, all slices at once:
//
//	P(k) ≈ Origin + k·S
//
// S need not be parallel to n: a tilted gantry shears the stack. The stack is even when, with s = n·S, every gap
// n·(P(k+1) − P(k)) is within 1 % of s of s, and every position within 1 % of s of the line.
//
// A stack that is not is read all the same when an even one, rounded, looks like it. A quantum q is the last decimal that
// the file gives of a coordinate that changes, at most 0.01 mm; rounding moves a coordinate by 0.5 q at most. So for each
// coordinate there must be a line that no slice is further from than 0.5 q: whatever the number of slices, a step that is
// read is within 2·0.5 q/(slices − 1) of the true one. And no slice may be off the least-squares line by more than 0.85·Σq
// (1.05·Σq for the outermost two): a single slice displaced by one quantum is off by nearly 1 q and is refused.
//
// A gap of a whole number of steps, as rounding allows, is a missing slice, and is named.

const (
	uneven    = 0.01 // of the step: a larger deviation of a gap is refused
	wholeGap  = 0.1  // of the step: how near a gap must be to a multiple of it to be called missing slices
	sheared   = 0.1  // degrees between S and n, from which the shear is cautioned
	disagree  = 0.05 // of the step: how far SliceThickness or SpacingBetweenSlices may be from it without a caution
	samePlace = 1e-3 // mm: two images nearer than this lie in one place

	// What scanners of jaws make, with room on both sides: cone-beam voxels are 0.075 to 0.4 mm, slices of multi-detector CT
	// up to 5 mm apart (from memory). A spacing outside is in another unit, or a typing error.
	finest, widest = 0.04, 10.0 // mm
)

// along returns the position of p along its series' normal, mm.
func (p *plane) along(n r3.Vec) float64 { return r3.Dot(n, p.position) }

// order sorts planes along n, then by name and frame so that nothing depends on the order of files.
func order(planes []*plane, n r3.Vec) {
	sort.SliceStable(planes, func(i, j int) bool {
		a, b := planes[i].along(n), planes[j].along(n)
		switch {
		case a != b:
			return a < b
		case planes[i].src.name != planes[j].src.name:
			return planes[i].src.name < planes[j].src.name
		}
		return planes[i].frame < planes[j].frame
	})
}

// judgeGeometry fits the grid. Slices are in order and lie in places of their own.
func (s *Series) judgeGeometry() {
	p := s.planes[0]
	s.Grid = volume.Grid{Size: [3]int{p.src.pixels.columns, p.src.pixels.rows, len(s.planes)}}
	if len(p.faults) > 0 || p.row == (r3.Vec{}) {
		return
	}
	s.Grid.Step[0], s.Grid.Step[1] = r3.Scale(p.spacing[1], p.row), r3.Scale(p.spacing[0], p.column)
	if len(s.planes) < fewest {
		s.Grid.Origin, s.Grid.Step[2] = p.position, p.normal()
		if len(s.planes) == 2 {
			s.Grid.Origin, s.Grid.Step[2] = line(s.planes)
		}
		if s.hasProblem("two_acquisitions", "ImagePositionPatient") {
			return // there are more slices than places
		}
		s.problem(&SeriesError{Code: "too_few", File: p.src.name, Problem: fmt.Sprintf("%d slice(s): not a volume", len(s.planes)),
			Remedy: fmt.Sprintf("give the folder that holds the whole series, at least %d slices", fewest)})
		return
	}
	s.Grid.Origin, s.Grid.Step[2] = line(s.planes)
	if e := s.gaps(p.normal()); e != nil {
		s.problem(e)
		return
	}
	if err := s.Grid.Check(); err != nil {
		s.problem(&SeriesError{Code: "bad_geometry", Attribute: "ImagePositionPatient, PixelSpacing", Problem: strings.TrimPrefix(err.Error(), "volume: "), Remedy: "export the series again"})
		return
	}
	s.judgeSpacing()
	s.judgeSize()
	s.cautionGeometry(p.normal())
}

// judgeSpacing refuses voxels that no scanner of jaws makes, and cautions coarse ones.
func (s *Series) judgeSpacing() {
	for axis, mm := range s.Grid.Spacing() {
		if mm >= finest && mm <= widest {
			continue
		}
		attribute := [...]string{"PixelSpacing", "PixelSpacing", "ImagePositionPatient"}[axis]
		if s.hasProblem("odd_spacing", attribute) {
			continue
		}
		s.problem(&SeriesError{Code: "odd_spacing", Attribute: attribute, Value: fmt.Sprintf("%.4g mm", mm),
			Problem: fmt.Sprintf("no scanner of jaws makes voxels below %g mm or above %g mm: the scale is in doubt", finest, widest),
			Remedy:  "export the series again with its spacing in mm; a length is never guessed"})
	}
	if text := s.Grid.Coarse(); text != "" {
		s.caution("coarse_voxels", text)
	}
}

// line returns the least-squares line through the positions over the slice number: position of slice 0, mm, and step, mm.
// It counts from the first position, so that a coordinate that never changes comes out exactly.
func line(planes []*plane) (origin, step r3.Vec) {
	start := planes[0].position
	n := float64(len(planes))
	middle, sum := (n-1)/2, 0.0
	var mean, slope r3.Vec
	for k, p := range planes {
		d := r3.Sub(p.position, start)
		t := float64(k) - middle
		mean = r3.Add(mean, d)
		slope = r3.Add(slope, r3.Scale(t, d))
		sum += t * t
	}
	step = r3.Scale(1/sum, slope)
	return r3.Add(start, r3.Sub(r3.Scale(1/n, mean), r3.Scale(middle, step))), step
}

// gaps returns nil when the stack is even or rounded, else which slices are missing, or where it is uneven.
func (s *Series) gaps(n r3.Vec) *SeriesError {
	gap := make([]float64, len(s.planes)-1)
	for k := range gap {
		gap[k] = s.planes[k+1].along(n) - s.planes[k].along(n)
	}
	q := s.quantum()
	if e := s.missing(n, gap, math.Abs(n.X)*q.X+math.Abs(n.Y)*q.Y+math.Abs(n.Z)*q.Z); e != nil {
		return e
	}
	step := r3.Dot(n, s.Grid.Step[2])
	var list []string
	worst := 0.0
	for k, g := range gap {
		off := math.Abs(g - step)
		worst = max(worst, off)
		if off > uneven*step+1e-6 {
			list = append(list, fmt.Sprintf("%.3f mm from %s to %s", g, s.planes[k].place(), s.planes[k+1].place()))
		}
	}
	if len(list) == 0 {
		list = s.astray(uneven*step, 0)
	}
	switch {
	case len(list) == 0:
		return nil
	case s.rounded(q, uneven*step):
		s.caution("rounded_positions", fmt.Sprintf("slice positions are rounded: gaps differ from the step of %.4f mm by up to %.4f mm; the step is fitted over all slices", step, worst))
		return nil
	}
	return &SeriesError{Code: "uneven", Attribute: "ImagePositionPatient",
		Problem: fmt.Sprintf("slices are not evenly spaced (step %.3f mm): %s", step, shorten(list)),
		Remedy:  "export the whole series again; slices are never interpolated"}
}

// rounded reports whether the positions are those of an even stack rounded to q, mm in each coordinate: see the rules of
// this file. limit, mm, is what is let pass as noise.
func (s *Series) rounded(q r3.Vec, limit float64) bool {
	return s.spread(func(v r3.Vec) float64 { return v.X }, q.X) <= max(q.X, limit)+1e-6 &&
		s.spread(func(v r3.Vec) float64 { return v.Y }, q.Y) <= max(q.Y, limit)+1e-6 &&
		s.spread(func(v r3.Vec) float64 { return v.Z }, q.Z) <= max(q.Z, limit)+1e-6 &&
		len(s.astray(limit, q.X+q.Y+q.Z)) == 0
}

// spread returns the width, mm, of the narrowest strip about a line over the slice number that holds one coordinate of
// every position. The width is a convex function of the slope; slopes within q of the fitted one are searched by thirds.
func (s *Series) spread(of func(r3.Vec) float64, q float64) float64 {
	width := func(slope float64) float64 {
		low, high := math.Inf(1), math.Inf(-1)
		for k, p := range s.planes {
			off := of(p.position) - float64(k)*slope
			low, high = min(low, off), max(high, off)
		}
		return high - low
	}
	from, to := of(s.Grid.Step[2])-q, of(s.Grid.Step[2])+q
	for range 60 { // (2/3)^60: 1e-11 of the first width
		a, b := from+(to-from)/3, to-(to-from)/3
		if width(a) < width(b) {
			to = b
		} else {
			from = a
		}
	}
	return width((from + to) / 2)
}

// quantum returns the last decimal that the file gives of each coordinate, mm: that of the slice with most decimals; 0
// for a coordinate that never changes.
func (s *Series) quantum() r3.Vec {
	p := s.planes[0]
	q, moves := p.quantum, r3.Vec{}
	for _, other := range s.planes {
		d := r3.Sub(other.position, p.position)
		moves = r3.Vec{X: max(moves.X, math.Abs(d.X)), Y: max(moves.Y, math.Abs(d.Y)), Z: max(moves.Z, math.Abs(d.Z))}
		q = r3.Vec{X: min(q.X, other.quantum.X), Y: min(q.Y, other.quantum.Y), Z: min(q.Z, other.quantum.Z)}
	}
	return r3.Vec{X: min(q.X, moves.X), Y: min(q.Y, moves.Y), Z: min(q.Z, moves.Z)}
}

// astray lists the slices further from the line than limit, or than rounding by q explains; both mm.
func (s *Series) astray(limit, q float64) (list []string) {
	last := len(s.planes) - 1
	for k, p := range s.planes {
		rounding := 0.85 * q
		if k < 2 || k > last-2 {
			rounding = 1.05 * q // the line gives way to its ends
		}
		off := r3.Norm(r3.Sub(p.position, r3.Add(s.Grid.Origin, r3.Scale(float64(k), s.Grid.Step[2]))))
		if off > max(limit, rounding)+1e-6 {
			list = append(list, fmt.Sprintf("the slice at %s is %.3f mm out of place", p.place(), off))
		}
	}
	return list
}

// oneStep returns the distance of neighbours, mm, whatever slices are missing: the mean of the gaps that are within half
// of the median one, which rounding moves less than it moves any.
func oneStep(gap []float64) float64 {
	sorted := append([]float64(nil), gap...)
	sort.Float64s(sorted)
	median := sorted[(len(sorted)-1)/2] // the lower median: of two gaps the smaller is the step
	sum, n := 0.0, 0.0
	for _, g := range gap {
		if math.Abs(g-median) <= median/2 {
			sum, n = sum+g, n+1
		}
	}
	return sum / n
}

// missing names the slices missing where gaps are whole multiples of one step, or are so when rounded: by q, mm along n,
// the gap moves, and the step that is taken so many times.
func (s *Series) missing(n r3.Vec, gap []float64, q float64) *SeriesError {
	step := oneStep(gap)
	if !(step > 0) {
		return nil
	}
	var list []string
	count := 0
	for k, g := range gap {
		times := math.Round(g / step)
		if times < 2 || times > 1e6 || math.Abs(g-times*step) > max(wholeGap*step, min((1+times)*q, 4*wholeGap*step)) {
			continue
		}
		count += int(times) - 1
		from, to := s.planes[k], s.planes[k+1]
		for m := 1.0; m < times && len(list) < 8; m++ {
			at := r3.Add(from.position, r3.Scale(m/times, r3.Sub(to.position, from.position)))
			list = append(list, "at "+point(at))
		}
	}
	if count == 0 {
		return nil
	}
	s.Grid.Step[2] = r3.Scale(step/r3.Dot(n, s.Grid.Step[2]), s.Grid.Step[2]) // what a listing should show
	text := strings.Join(list, ", ")
	if count > len(list) {
		text += fmt.Sprintf(" and %d more", count-len(list))
	}
	return &SeriesError{Code: "missing_slice", Attribute: "ImagePositionPatient",
		Problem: fmt.Sprintf("%d slice(s) missing %s (step %.3f mm)", count, text, step),
		Remedy:  "export the whole series again; a gap is never filled in"}
}

// place words where a slice lies and which file it is.
func (p *plane) place() string {
	where := point(p.position) + " (" + called(p.src.name)
	if p.src.frames > 1 {
		where += fmt.Sprintf(", frame %d", p.frame+1)
	}
	return where + ")"
}

// point writes a patient position, mm.
func point(p r3.Vec) string { return fmt.Sprintf(`%.3f\%.3f\%.3f mm`, p.X, p.Y, p.Z) }

// shorten joins at most eight entries of a list.
func shorten(list []string) string {
	if len(list) > 8 {
		return strings.Join(list[:8], ", ") + fmt.Sprintf(" and %d more", len(list)-8)
	}
	return strings.Join(list, ", ")
}

// cautionGeometry tells what a reader of the numbers should know about the grid.
func (s *Series) cautionGeometry(n r3.Vec) {
	step := s.Grid.Step[2]
	angle := math.Atan2(r3.Norm(r3.Cross(n, step)), r3.Dot(n, step)) * 180 / math.Pi
	if angle > sheared {
		s.caution("sheared", fmt.Sprintf("the slices are sheared by %.2f degrees (tilted gantry); the volume is sampled on its sheared grid", angle))
	}
	along, src := r3.Dot(n, step), s.planes[0].src
	for _, stated := range []struct {
		keyword string
		mm      float64
	}{{"SliceThickness", src.thickness}, {"SpacingBetweenSlices", src.between}} {
		if stated.mm != 0 && math.Abs(math.Abs(stated.mm)-along) > disagree*along {
			s.caution("stated_"+strings.ToLower(stated.keyword), fmt.Sprintf("%s says %g mm, the slice positions say %.4g mm: positions are used", stated.keyword, stated.mm, along))
		}
	}
}

// orientation words the directions of the grid: which body direction each index grows toward.
func orientation(g volume.Grid) string {
	name := "oblique"
	n := r3.Unit(r3.Cross(g.Step[0], g.Step[1]))
	for _, plane := range []struct {
		cosine float64
		name   string
	}{{n.Z, "axial"}, {n.Y, "coronal"}, {n.X, "sagittal"}} {
		switch c := math.Abs(plane.cosine); {
		case c > math.Cos(0.5*math.Pi/180):
			name = plane.name
		case c > math.Sqrt2/2:
			name = fmt.Sprintf("oblique, %.1f degrees from %s", math.Acos(min(1, c))*180/math.Pi, plane.name)
		}
	}
	return fmt.Sprintf("%s: columns toward %s, rows toward %s, slices toward %s", name, toward(g.Step[0]), toward(g.Step[1]), toward(g.Step[2]))
}

// toward names the body direction nearest to v.
func toward(v r3.Vec) string {
	x, y, z := math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)
	pick := func(c float64, negative, positive string) string {
		if c < 0 {
			return negative
		}
		return positive
	}
	switch {
	case x >= y && x >= z:
		return pick(v.X, "Right", "Left")
	case y >= z:
		return pick(v.Y, "Anterior", "Posterior")
	}
	return pick(v.Z, "Inferior", "Superior")
}
