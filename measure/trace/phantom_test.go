package trace_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"sort"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/trace"
)

// distance returns the distance from p to a polyline, mm.
func distance(line []r3.Vec, p r3.Vec) float64 {
	best := math.Inf(1)
	for i := 1; i < len(line); i++ {
		d := r3.Sub(line[i], line[i-1])
		t := min(1, max(0, r3.Dot(r3.Sub(p, line[i-1]), d)/r3.Norm2(d)))
		best = min(best, r3.Norm(r3.Sub(p, r3.Add(line[i-1], r3.Scale(t, d)))))
	}
	return best
}

// leftCanal returns the left canal of a jaw's plan.
func leftCanal(t *testing.T, j *phantom.Jaw) phantom.PlanStructure {
	for _, s := range j.Plan().Structures {
		if s.Kind == "canal" && s.Path[0].X > 0 {
			return s
		}
	}
	t.Fatal("the jaw has no left canal")
	return phantom.PlanStructure{}
}

// about scans only the piece of jaw around the canal, for speed.
func about(o *phantom.Options, path []r3.Vec) {
	lo, hi := path[0], path[0]
	for _, p := range path {
		lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y), Z: min(lo.Z, p.Z)}
		hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y), Z: max(hi.Z, p.Z)}
	}
	d, c := r3.Add(r3.Sub(hi, lo), r3.Vec{X: 14, Y: 8, Z: 14}), r3.Scale(0.5, r3.Add(lo, hi))
	o.Scan.Centre, o.Scan.Turn = &c, r3.Vec{}
	o.Scan.Size = [3]int{int(d.X / o.Scan.Voxel[0]), int(d.Y / o.Scan.Voxel[1]), int(d.Z / o.Scan.Voxel[2])}
}

// The demand on held-out jaws: from two end points, 0.3 mm voxels, noise 50, mean error 0.5 mm
// and 1.0 mm for 95 %. The phantom knows nothing of this package.
func TestJawsCanalIsFoundFromItsEnds(t *testing.T) {
	if os.Getenv("RIDGERULE_LONG") == "" {
		t.Skip("half a minute of painting; set RIDGERULE_LONG=1 to run it")
	}
	for _, wall := range []float64{0.4, -1} {
		t.Run(fmt.Sprintf("wall %g", wall), func(t *testing.T) {
			o := phantom.Demo(phantom.Mandible)
			o.Scan.Voxel, o.Scan.Noise, o.Shape.CanalWall = [3]float64{0.3, 0.3, 0.3}, 50, wall
			full, err := phantom.New(o)
			if err != nil {
				t.Fatal(err)
			}
			canal := leftCanal(t, full)
			about(&o, canal.Path)
			j, err := phantom.New(o)
			if err != nil {
				t.Fatal(err)
			}
			v, err := j.Volume(context.Background(), nil)
			if err != nil {
				t.Fatal(err)
			}
			p, err := trace.Follow(t.Context(), v, []r3.Vec{canal.Path[0], canal.Path[len(canal.Path)-1]}, trace.Options{})
			if err != nil {
				t.Fatal(err)
			}
			look(t, v, p, wall)
			var e []float64
			sum := 0.0
			for _, q := range p.Points {
				e = append(e, distance(canal.Path, q))
				sum += e[len(e)-1]
			}
			sort.Float64s(e)
			mean, p95 := sum/float64(len(e)), e[len(e)*95/100]
			t.Logf("mean %.3f mm, 95 %% %.3f mm, largest %.3f mm", mean, p95, e[len(e)-1])
			if mean > 0.5 || p95 > 1 {
				t.Errorf("error %.3f mm in the mean, %.3f mm at 95 %%", mean, p95)
			}
		})
	}
}

// look writes the curved slice along the path, straightened, and the numbers along it, into the
// folder RIDGERULE_LOOK names: for a person's eyes. Upper strip: up; lower: sideways. The path
// runs along the middle of each, its radius above and below it.
func look(t *testing.T, v *volume.Volume, p *trace.Path, wall float64) {
	dir := os.Getenv("RIDGERULE_LOOK")
	if dir == "" {
		return
	}
	const half, zoom, perMM = 8.0, 5, 2
	rows := int(2 * half * zoom)
	n := (len(p.Points) - 1) * zoom
	img := image.NewRGBA(image.Rect(0, 0, n*perMM, 2*rows+10))
	for x := range n * perMM {
		f := float64(x) / (zoom * perMM)
		i := min(len(p.Points)-2, int(f))
		q := r3.Add(p.Points[i], r3.Scale(f-float64(i), r3.Sub(p.Points[i+1], p.Points[i])))
		tangent := r3.Unit(r3.Sub(p.Points[i+1], p.Points[i]))
		side := r3.Unit(r3.Cross(tangent, r3.Vec{Z: 1}))
		for strip, dir := range [2]r3.Vec{r3.Cross(side, tangent), side} {
			for y := range rows {
				h := half - float64(y)/zoom
				g := (v.At(r3.Add(q, r3.Scale(h, dir))) + 200) / 2000 * 255
				c := color.RGBA{uint8(min(255, max(0, g))), uint8(min(255, max(0, g))), uint8(min(255, max(0, g))), 255}
				if math.Abs(h) < 0.1 || math.Abs(math.Abs(h)-p.Radii[i]) < 0.1 && x%8 < 4 {
					c = color.RGBA{255, 180, 0, 255}
				}
				img.Set(x, strip*(rows+10)+y, c)
			}
		}
	}
	write(t, filepath.Join(dir, fmt.Sprintf("trace-wall%g.png", wall)), func(f *os.File) error { return png.Encode(f, img) })
	write(t, filepath.Join(dir, fmt.Sprintf("trace-wall%g.csv", wall)), func(f *os.File) error {
		w := csv.NewWriter(f)
		for i := range p.Points {
			_ = w.Write([]string{fmt.Sprintf("%.3f", p.Radii[i]), fmt.Sprintf("%.3f", p.SD[i]), fmt.Sprintf("%.3f", p.Confidence[i])})
		}
		w.Flush()
		return w.Error()
	})
}

func write(t *testing.T, name string, f func(*os.File) error) {
	file, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := f(file); err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
}
