package desk

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
)

// What is seen: grey values as they are, 16 bits little-endian, row by row from the top, with their place in the headers.
// The page turns them into shades; it asks again only for other places.
//
//	Picture-Size      columns,rows
//	Picture-Corner    x,y,z of the centre of the upper left pixel; arc,v,0 of the panoramic; mm
//	Picture-Right     what one pixel to the right adds to it
//	Picture-Down      what one pixel down adds to it
//	Picture-Blank     the value that stands for "outside the field"
//	Picture-Sequence  the number that the request gave
const (
	blank       = math.MinInt16
	mostPixels  = 1024 // along a side
	slabStep    = 0.5  // mm between the layers of a slab
	thickest    = 20.0 // mm
	leastPixel  = 0.05 // mm
	largestStep = 5.0  // mm
	farthest    = 1e5  // mm from the scan's origin
)

// ErrPicture is wrapped by the errors of pictures that cannot be made.
var ErrPicture = errors.New("desk: no picture")

// buffers are used again: a picture that moves is asked for thirty times a second.
var buffers = sync.Pool{New: func() any { return &buffer{} }}

type buffer struct {
	sum, layer []float32
	bytes      []byte
}

func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// slab samples the mean of layers about a plane, as far apart as offsets say along normal, mm.
func (b *buffer) slab(ctx context.Context, v *volume.Volume, p volume.Plane, normal r3.Vec, offsets []float64) error {
	n := p.Width * p.Height
	b.sum, b.layer = sized(b.sum, n), sized(b.layer, n)
	for i, off := range offsets {
		if err := ctx.Err(); err != nil { // the page wants another picture by now
			return err
		}
		q := p
		q.Origin = r3.Add(p.Origin, r3.Scale(off, normal))
		if i == 0 {
			v.Sample(b.sum, q)
			continue
		}
		v.Sample(b.layer, q)
		for j, g := range b.layer {
			b.sum[j] += g
		}
	}
	for j := range b.sum {
		b.sum[j] /= float32(len(offsets))
	}
	return nil
}

// nearest samples a plane without interpolation: each pixel is the voxel that holds it.
func (b *buffer) nearest(v *volume.Volume, p volume.Plane) {
	b.sum = sized(b.sum, p.Width*p.Height)
	inside := func(x float64, n int) (int, bool) { i := int(math.Round(x)); return i, x > -0.5 && i < n }
	for n := range b.sum {
		ix := v.Index(r3.Add(p.Origin, r3.Add(r3.Scale(float64(n%p.Width), p.StepX), r3.Scale(float64(n/p.Width), p.StepY))))
		i, in := inside(ix.I, v.Size[0])
		j, jn := inside(ix.J, v.Size[1])
		k, kn := inside(ix.K, v.Size[2])
		b.sum[n] = float32(math.NaN())
		if in && jn && kn {
			b.sum[n] = float32(v.Grey(i, j, k))
		}
	}
}

// write sends grey values with their place.
func (b *buffer) write(w http.ResponseWriter, r *http.Request, grey []float32, p volume.Plane) {
	b.bytes = sized(b.bytes, 2*len(grey))
	for i, g := range grey {
		stored := int16(blank)
		if g == g {
			stored = int16(math.Round(math.Max(blank+1, math.Min(math.MaxInt16, float64(g)))))
		}
		binary.LittleEndian.PutUint16(b.bytes[2*i:], uint16(stored))
	}
	h := w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Picture-Size", fmt.Sprintf("%d,%d", p.Width, p.Height))
	h.Set("Picture-Corner", triple(p.Origin))
	h.Set("Picture-Right", triple(p.StepX))
	h.Set("Picture-Down", triple(p.StepY))
	h.Set("Picture-Blank", strconv.Itoa(blank))
	h.Set("Picture-Sequence", strconv.Itoa(int(number(r.URL.Query(), "sequence", 0, math.MaxInt32, 0))))
	_, _ = w.Write(b.bytes)
}

func triple(v r3.Vec) string { return fmt.Sprintf("%g,%g,%g", v.X, v.Y, v.Z) }

// number reads a number of a request, held between two bounds; what is none is the usual one.
func number(q url.Values, name string, low, high, usual float64) float64 {
	x, err := strconv.ParseFloat(q.Get(name), 64)
	if err != nil || math.IsNaN(x) {
		return usual
	}
	return math.Max(low, math.Min(high, x))
}

// axial answers with a slab at a height of the patient, seen from the feet, face up: right on the viewer's left.
func (s *session) axial(w http.ResponseWriter, r *http.Request) error {
	q, b := r.URL.Query(), s.scan.Volume.Bounds()
	z := number(q, "z", b.Min.Z-thickest, b.Max.Z+thickest, (b.Min.Z+b.Max.Z)/2)
	step := number(q, "step", leastPixel, largestStep, 0.4)
	size := r3.Sub(b.Max, b.Min)
	p := volume.Plane{Origin: r3.Vec{X: b.Min.X, Y: b.Min.Y, Z: z}, StepX: r3.Vec{X: step}, StepY: r3.Vec{Y: step}}
	p.Width, p.Height = pixels(size.X, step), pixels(size.Y, step)
	return s.picture(w, r, p, r3.Vec{Z: 1}, number(q, "thick", 0, thickest, 0))
}

// across answers with the slice at right angles to it: from the front (coronal) or from the patient's left (sagittal).
func (s *session) across(w http.ResponseWriter, r *http.Request) error {
	q, b := r.URL.Query(), s.scan.Volume.Bounds()
	step, size := number(q, "step", leastPixel, largestStep, 0.4), r3.Sub(b.Max, b.Min)
	p := volume.Plane{StepY: r3.Vec{Z: -step}, Height: pixels(size.Z, step)}
	if q.Get("from") == "side" {
		x := number(q, "at", b.Min.X, b.Max.X, (b.Min.X+b.Max.X)/2)
		p.Origin, p.StepX, p.Width = r3.Vec{X: x, Y: b.Min.Y, Z: b.Max.Z}, r3.Vec{Y: step}, pixels(size.Y, step)
		return s.picture(w, r, p, r3.Vec{X: 1}, 0)
	}
	y := number(q, "at", b.Min.Y, b.Max.Y, (b.Min.Y+b.Max.Y)/2)
	p.Origin, p.StepX, p.Width = r3.Vec{X: b.Min.X, Y: y, Z: b.Max.Z}, r3.Vec{X: step}, pixels(size.X, step)
	return s.picture(w, r, p, r3.Vec{Y: 1}, 0)
}

// section answers with the cross-section at an arc length, the patient's head up, buccal to the right, as in the report.
func (s *session) section(w http.ResponseWriter, r *http.Request) error {
	d, _ := s.current()
	if d.curve() == nil {
		return fmt.Errorf("%w: %s", ErrPicture, d.noArch)
	}
	q := r.URL.Query()
	f := d.curve().Frame(number(q, "arc", 0, d.curve().Length(), 0))
	half := number(q, "half", 2, 60, 16)
	middle := number(q, "v", -100, 100, -8)
	step := number(q, "step", leastPixel, largestStep, 0.1)
	top, down := middle+half, r3.Scale(-step, f.V)
	if f.V.Z < 0 { // the crest points to the feet
		top, down = middle-half, r3.Scale(step, f.V)
	}
	p := volume.Plane{Origin: f.Patient(reformat.UV{U: -half, V: top}), StepX: r3.Scale(step, f.U), StepY: down}
	p.Width, p.Height = pixels(2*half, step), pixels(2*half, step)
	return s.picture(w, r, p, f.T, number(q, "thick", 0, thickest, 0))
}

// lengthwise answers with the plane along the arch that holds an implant: through its platform (at), spanned by its axis without
// its lean along the arch and by the arch's direction at an arc length; head up, the patient's right on the viewer's left.
func (s *session) lengthwise(w http.ResponseWriter, r *http.Request) error {
	d, _ := s.current()
	if d.curve() == nil {
		return fmt.Errorf("%w: %s", ErrPicture, d.noArch)
	}
	q := r.URL.Query()
	f := d.curve().Frame(number(q, "arc", 0, d.curve().Length(), 0))
	at, axis := vector(q, "at", f.Origin), vector(q, "axis", f.V)
	up := r3.Sub(axis, r3.Scale(r3.Dot(axis, f.T), f.T))
	if !(r3.Norm(up) > 0.01*r3.Norm(axis)) { // it lies along the arch: the section's own direction does
		up = f.V
	}
	if up = r3.Unit(up); up.Z < 0 {
		up = r3.Scale(-1, up)
	}
	right := f.T
	if d.laid.Landmarks.Leftward < 0 {
		right = r3.Scale(-1, right)
	}
	half, step := number(q, "half", 2, 60, 16), number(q, "step", leastPixel, largestStep, 0.1)
	corner := r3.Add(at, r3.Add(r3.Scale(-half, right), r3.Scale(half+number(q, "v", -100, 100, 0), up)))
	p := volume.Plane{Origin: corner, StepX: r3.Scale(step, right), StepY: r3.Scale(-step, up)}
	p.Width, p.Height = pixels(2*half, step), pixels(2*half, step)
	return s.picture(w, r, p, r3.Cross(right, up), 0)
}

// vector reads x,y,z of a request; what is none is the usual one.
func vector(q url.Values, name string, usual r3.Vec) r3.Vec {
	var v point
	words := strings.Split(q.Get(name), ",")
	if len(words) != len(v) {
		return usual
	}
	for i, text := range words {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || !(math.Abs(x) < farthest) {
			return usual
		}
		v[i] = x
	}
	return vecOf(v)
}

// panoramic answers with the scan unrolled along the arch, the patient's right on the viewer's left, head up.
func (s *session) panoramic(w http.ResponseWriter, r *http.Request) error {
	d, _ := s.current()
	if d.curve() == nil {
		return fmt.Errorf("%w: %s", ErrPicture, d.noArch)
	}
	q := r.URL.Query()
	step := number(q, "step", 0.1, largestStep, 0.3)
	above, below := number(q, "above", 0, 60, 15), number(q, "below", 0, 60, 30)
	thick := number(q, "thick", 1, thickest, 10)
	shown := reformat.Unroll(s.scan.Volume, d.curve(), -below, above, thick/2, step)
	if err := r.Context().Err(); err != nil {
		return err
	}
	p := volume.Plane{Origin: r3.Vec{Y: shown.Top}, StepX: r3.Vec{X: shown.Step}, StepY: r3.Vec{Y: -shown.Step}, Width: shown.Width, Height: shown.Height}
	if d.laid.Occlusal.Z < 0 { // v grows toward the feet
		flipRows(shown.Grey, shown.Width)
		p.Origin.Y -= float64(p.Height-1) * shown.Step
		p.StepY.Y = shown.Step
	}
	if d.laid.Landmarks.Leftward < 0 { // drawn from the patient's left
		flipColumns(shown.Grey, shown.Width)
		p.Origin.X = float64(p.Width-1) * shown.Step
		p.StepX.X = -shown.Step
	}
	b := buffers.Get().(*buffer)
	defer buffers.Put(b)
	b.write(w, r, shown.Grey, p)
	return nil
}

func flipRows(grey []float32, width int) {
	rows := len(grey) / width
	for i := range rows / 2 {
		a, b := grey[i*width:(i+1)*width], grey[(rows-1-i)*width:(rows-i)*width]
		for j := range a {
			a[j], b[j] = b[j], a[j]
		}
	}
}

func flipColumns(grey []float32, width int) {
	for row := range slices.Chunk(grey, width) {
		slices.Reverse(row)
	}
}

func pixels(length, step float64) int { return max(1, min(mostPixels, int(length/step)+1)) }

// picture samples and sends a slab so thick (mm) about a plane; 0 is the plane itself. Asked for voxels, it sends those that the
// plane runs through, as they are.
func (s *session) picture(w http.ResponseWriter, r *http.Request, p volume.Plane, normal r3.Vec, thick float64) error {
	b := buffers.Get().(*buffer)
	defer buffers.Put(b)
	if r.URL.Query().Get("voxels") != "" {
		b.nearest(s.scan.Volume, p)
		b.write(w, r, b.sum, p)
		return nil
	}
	n := int(math.Round(thick / slabStep))
	offsets := []float64{}
	for i := range n + 1 {
		offsets = append(offsets, (float64(i)-float64(n)/2)*slabStep)
	}
	if err := b.slab(r.Context(), s.scan.Volume, p, normal, offsets); err != nil {
		return err
	}
	b.write(w, r, b.sum, p)
	return nil
}

// quantileStep is the distance between two of the grey values' quantiles that the page is told, percent.
const quantileStep = 0.5

// quantiles returns the grey values at every half percent of the scan's voxels within the field, from a sample of them.
func quantiles(v *volume.Volume) []float64 {
	const most = 1 << 18
	var sample []float64
	slice := v.Size[0] * v.Size[1]
	for i := 0; i < len(v.Stored); i += max(1, len(v.Stored)/most|1) {
		if v.Blank != nil && v.Stored[i] == *v.Blank {
			continue
		}
		scale := v.RescaleOf(i / slice)
		sample = append(sample, scale.Slope*float64(v.Stored[i])+scale.Intercept)
	}
	return quantilesOf(sample)
}

// quantilesOf returns the quantiles of a sample, which it sorts.
func quantilesOf(sample []float64) []float64 {
	if len(sample) == 0 {
		return []float64{0, 1}
	}
	slices.Sort(sample)
	var out []float64
	for q := 0.0; q <= 100; q += quantileStep {
		out = append(out, math.Round(sample[int(q/100*float64(len(sample)-1))]))
	}
	return out
}
