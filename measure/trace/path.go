package trace

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// Path is a canal as traced, from the first mark to the last: points evenly spaced along its
// centre-line. All slices have one entry a point.
type Path struct {
	Points     []r3.Vec  // centre-line, patient LPS, mm
	Radii      []float64 // of the canal's outer tube, its bony wall included: lumen + Wall, mm
	Lumen      []float64 // radius of the dark lumen, mm
	Wall       float64   // thickness of the bony wall, one number for the path, mm; 0 where none is seen
	SD         []float64 // 1-sigma of the centre toward any one direction across the path, mm; at the ends that of the mark along it, see EndSD
	RadiusSD   []float64 // 1-sigma of the radius, mm
	Confidence []float64 // how much of the canal's edge stands out of noise and marrow, 0 to 1, see [Path.Low]; no unit
	Low        []Span    // stretches of low confidence: look there first
	Length     float64   // along the centre-line, mm
	EndSD      float64   // 1-sigma of where the ends lie along the canal, mm: that of the marks
	Unlikely   []string  // what is unlike a canal about it; only with [Options.AllowUnlikely], else the path is refused
}

// Span is a stretch of a path.
type Span struct {
	From, To   float64 // arc length from the first point, mm
	Confidence float64 // least in the stretch, 0 to 1; no unit
}

// What the fits cannot know of themselves; see docs/trace.md.
const (
	unmodelled = 1.25 // surroundings are no simple shape: errors on synthetic jaws were that much above the fits' own sd
	coreSD     = 0.02 // mm; linear interpolation between voxels
	wallSD     = 0.1  // mm; a thin bright wall and a thick dull one look alike once blurred
	unseenSD   = 0.2  // mm; where no wall is seen there may be one, about 0.4 mm thick: half of it
)

// sectors divide the canal's edge for the confidence.
const sectors = 8

// confidence returns how much of the edge of the canal in this section stands out, 0 to 1
// without unit: the mean over eight sectors of
//
//	Φ(CNR − 2),  CNR = (grey just outside the lumen − grey inside) / noise
//
// where noise is the rms difference between picture and model around the canal, marrow texture
// included: this section's or the path's usual one, whichever is larger. A sector two noises above the lumen counts half.
func (c *section) confidence(f *discFit, noise float64) float64 {
	if !f.ok {
		return 0
	}
	var inside, n float64
	var ring, count [sectors]float64
	for _, p := range c.px {
		dx, dy := p.x-f.model[mx], p.y-f.model[my]
		switch rho := math.Hypot(dx, dy); {
		case rho < 0.7*f.model[mr]:
			inside, n = inside+p.grey, n+1
		case rho >= f.model[mr] && rho < f.model[mr]+0.8:
			k := int((math.Atan2(dy, dx)/math.Pi+1)/2*sectors) % sectors
			ring[k], count[k] = ring[k]+p.grey, count[k]+1
		}
	}
	sum := 0.0
	for k := range ring {
		if n > 0 && count[k] > 0 {
			sum += normal((ring[k]/count[k]-inside/n)/noise - 2)
		}
	}
	return sum / sectors
}

// path reads the last round's lines at even points.
func (c *centred) path(marks []r3.Vec, o Options) (*Path, error) {
	cur, ok := newCurve(c.centres())
	if !ok || len(cur.s) != len(c.points) {
		return nil, fmt.Errorf("%w: the centre-line folds", ErrNoPath)
	}
	wall, hidden := c.wall(), wallSD
	if wall == 0 {
		hidden = unseenSD
	}
	sd, sdR := make([]float64, len(c.points)), make([]float64, len(c.points))
	for i := range c.points {
		s := math.Sqrt((c.x[0].variance[i] + c.x[1].variance[i] + c.x[2].variance[i]) / 3)
		sd[i] = math.Hypot(unmodelled*s, coreSD)
		sdR[i] = math.Hypot(math.Sqrt(c.r.variance[i]), hidden)
	}
	from, to := cur.trim(marks[0], marks[len(marks)-1])
	p := &Path{Length: to - from, Wall: wall, EndSD: o.MarkSD}
	n := max(1, int(math.Round(p.Length/o.Spacing)))
	step := p.Length / float64(n)
	for i := range n + 1 {
		s := from + step*float64(i)
		p.Points = append(p.Points, cur.at(s))
		lumen := interpolated(cur.s, c.r.value, s)
		p.Lumen, p.Radii = append(p.Lumen, lumen), append(p.Radii, lumen+p.Wall)
		p.SD = append(p.SD, math.Hypot(interpolated(cur.s, sd, s), p.endSD(s-from)))
		p.RadiusSD = append(p.RadiusSD, interpolated(cur.s, sdR, s))
		p.Confidence = append(p.Confidence, interpolated(cur.s, c.confidence, s))
	}
	p.Low = low(p.Confidence, step, o.Low)
	return p, nil
}

// endSD returns what the end marks' scatter adds to the sd of a point at arc length s, mm: all of it at the
// ends, where a canal ends or turns the path goes on straight by as much, and nothing two of it
// farther in.
func (p *Path) endSD(s float64) float64 {
	if p.EndSD == 0 {
		return 0
	}
	in := min(s, p.Length-s)
	return p.EndSD * max(0, 1-in/(2*p.EndSD))
}

// wall returns the thickness of the canal's wall, mm, or 0 when it does not stand out of noise.
func (c *centred) wall() float64 {
	if c.usual(mWall) < 2*c.noise {
		return 0
	}
	return c.usual(mThick)
}

// interpolated reads y at s on the rising row x; the unit is that of y.
func interpolated(x, y []float64, s float64) float64 {
	i := 1
	for i < len(x)-1 && x[i] < s {
		i++
	}
	f := min(1, max(0, (s-x[i-1])/(x[i]-x[i-1])))
	return y[i-1] + f*(y[i]-y[i-1])
}

// low returns the stretches whose confidence lies below limit.
func low(confidence []float64, step, limit float64) []Span {
	var spans []Span
	open := false
	for i, c := range confidence {
		s := step * float64(i)
		switch {
		case c >= limit:
			open = false
		case !open:
			spans, open = append(spans, Span{s, s, c}), true
		default:
			last := &spans[len(spans)-1]
			last.To, last.Confidence = s, min(last.Confidence, c)
		}
	}
	return spans
}

// MarkingSD returns the 1-sigma uncertainty of the traced surface that a plan carries as
// sd_mm, in mm: centre and radius together where they are least certain, because a plan has
// one number for the whole canal. The ends' own scatter, which is along the canal, is not in it unless the path
// is all ends: it would make the whole canal as uncertain as its marks.
func (p *Path) MarkingSD() float64 {
	worst, all := 0.0, 0.0
	for i := range p.SD {
		sd := math.Hypot(p.SD[i], p.RadiusSD[i])
		all = max(all, sd)
		if p.endSD(p.step()*float64(i)) == 0 {
			worst = max(worst, sd)
		}
	}
	if worst == 0 {
		return all
	}
	return worst
}

// MeanConfidence returns the mean of the confidence along the path, 0 to 1 without unit.
func (p *Path) MeanConfidence() float64 {
	sum := 0.0
	for _, c := range p.Confidence {
		sum += c
	}
	return sum / float64(max(1, len(p.Confidence)))
}

// WriteYAML writes the path as one entry of a plan's structures, of the kind given (canal,
// incisive_canal …), marked as traced and not confirmed, as data and in words. How far its ends can be
// trusted, what is unlikely about it and its stretches of low confidence are comments.
func (p *Path) WriteYAML(w io.Writer, name, kind string) error {
	if len(p.Points) == 0 || len(p.Radii) != len(p.Points) {
		return errors.New("trace: a path without points or radii cannot be written")
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# traced, to be confirmed: %.1f mm of canal\n", p.Length)
	if p.EndSD > 0 {
		fmt.Fprintf(&b, "# its ends lie where the marks are: along the canal they are no surer than %.1f mm (1 sd)\n", p.EndSD)
	}
	for _, why := range p.Unlikely {
		fmt.Fprintf(&b, "# unlikely: %s\n", why)
	}
	for _, s := range p.Low {
		fmt.Fprintf(&b, "# low confidence (down to %.2f) from %.1f to %.1f mm along the path: look there first\n", s.Confidence, s.From, s.To)
	}
	fmt.Fprintf(&b, "- name: %s\n  kind: %s\n  path:\n", strconv.Quote(name), kind)
	for _, q := range p.Points {
		fmt.Fprintf(&b, "    - [%.3f, %.3f, %.3f]\n", q.X, q.Y, q.Z)
	}
	b.WriteString("  radii_mm: [")
	for i, r := range p.Radii {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%.3f", r)
	}
	fmt.Fprintf(&b, "]\n  sd_mm: %.3f\n", p.MarkingSD())
	fmt.Fprintf(&b, "  traced: {confirmed: false, confidence: %.2f}\n", p.MeanConfidence())
	_, err := io.WriteString(w, b.String())
	return err
}
