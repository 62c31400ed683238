package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/phantom"
	"ridgerule/measure/solid"
)

// What a scanner of surfaces and a recorder of positions leave of a synthetic jaw.
const (
	markSD   = 0.3  // mm: of a pair marked by hand, each coordinate
	recordSD = 0.03 // mm: of a recorded platform, each coordinate; intra-oral scans have 0.04 to 0.1 in space (docs/positions.md)
	axisSD   = 0.2  // deg: of a recorded axis about each of two directions
)

// surfacesTruth is what is true of them.
type surfacesTruth struct {
	Transform align.Transform    `json:"surface_to_patient"`
	Turn      r3.Vec             `json:"recording_turn_deg"`
	Shift     r3.Vec             `json:"recording_shift_mm"`
	Placed    []phantom.Recorded `json:"placed"`
	Errors    []r3.Vec           `json:"recording_errors_mm"`
}

// writeSurfaces writes teeth.stl (standing crowns, open), setup.stl (those and the planned ones, whole), mucosa.stl (planned) in a frame of their
// own, marked pairs, planned and recorded positions (placed: as the second scan shows the implants, else as planned), and the truth. It
// needs two standing teeth at least.
func writeSurfaces(f *folder, o phantom.Options, placed bool) error {
	jaw, err := phantom.New(o)
	if err != nil {
		return err
	}
	o = jaw.Options()
	if len(o.Teeth) < 2 {
		return usagef("--surfaces needs two standing teeth at least: name them with --teeth")
	}
	r := rand.New(rand.NewPCG(o.Seed, 99))
	truth := align.Rigid(frameSurface, "patient", r3.Vec{X: 0.3, Y: -0.2, Z: 0.5}, r3.Vec{X: 12, Y: 30, Z: -7})
	open, whole, pairs, err := crowns(jaw, truth, r)
	if err != nil {
		return err
	}
	mucosa, err := jaw.Mucosa(outermost(append(append([]int{}, o.Teeth...), o.Sites...)))
	if err != nil {
		return err
	}
	rec := phantom.RecordOptions{Seed: o.Seed, Noise: recordSD, Lean: axisSD, Turn: r3.Vec{X: -8, Y: 25, Z: 4}, Shift: r3.Vec{X: -20, Y: 5, Z: 40}}
	if placed {
		rec.As = jaw.Places(o.Seed)
	}
	recorded := jaw.Record(rec)
	list := []struct {
		name string
		fill func(io.Writer) error
	}{
		{"surfaces/teeth.stl", meshWriter(open, truth)},
		{"surfaces/setup.stl", meshWriter(whole, truth)},
		{"surfaces/mucosa.stl", meshWriter(mucosa, truth)},
		{"surfaces/pairs.csv", func(w io.Writer) error { _, err := io.WriteString(w, pairs); return err }},
		{"positions/planned.csv", func(w io.Writer) error { return phantom.WritePositions(w, recorded.Planned, 0, 0) }},
		{"positions/recorded.csv", func(w io.Writer) error { return phantom.WritePositions(w, recorded.Recorded, recordSD, axisSD) }},
		{"surfaces.json", func(w io.Writer) error {
			e := json.NewEncoder(w)
			e.SetIndent("", "  ")
			return e.Encode(surfacesTruth{truth, rec.Turn, rec.Shift, recorded.Placed, recorded.Errors})
		}},
	}
	for _, x := range list {
		if err := f.write(x.name, x.fill); err != nil {
			return err
		}
	}
	return nil
}

// outermost returns the most distal tooth of the patient's right and of the left, or the ends of the side that has any.
func outermost(teeth []int) (from, to int) {
	place := func(t int) int { // along the arch, from the patient's right to the left
		if q := t / 10; q == 1 || q == 4 {
			return -(t % 10)
		}
		return t % 10
	}
	less := func(a, b int) int { return place(a) - place(b) }
	return slices.MinFunc(teeth, less), slices.MaxFunc(teeth, less)
}

// crowns returns the standing crowns (open), those and the planned ones (whole), and the table of marked pairs, two on each
// standing crown.
func crowns(jaw *phantom.Jaw, truth align.Transform, r *rand.Rand) (open, whole phantom.Mesh, pairs string, err error) {
	o := jaw.Options()
	var standing, all []phantom.Mesh
	pairs = "name,x1,y1,z1,x2,y2,z2\n"
	for _, tooth := range o.Teeth {
		m, err := jaw.Crown(tooth, false)
		if err != nil {
			return open, whole, "", err
		}
		standing = append(standing, m)
		for k, part := range []int{8, 3} { // near the edge, and lower
			p := m.Points[len(m.Points)/part]
			q, seen := truth.Inverse().Apply(p), r3.Add(p, r3.Scale(markSD, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}))
			pairs += fmt.Sprintf("%d-%d,%.3f,%.3f,%.3f,%.3f,%.3f,%.3f\n", tooth, k+1, q.X, q.Y, q.Z, seen.X, seen.Y, seen.Z)
		}
	}
	for _, tooth := range append(append([]int{}, o.Teeth...), o.Sites...) {
		m, err := jaw.Crown(tooth, true)
		if err != nil {
			return open, whole, "", err
		}
		all = append(all, m)
	}
	return phantom.Join(standing...), phantom.Join(all...), pairs, nil
}

// meshWriter writes a mesh of the patient in the surface's own frame, of which truth leads back.
func meshWriter(m phantom.Mesh, truth align.Transform) func(io.Writer) error {
	return func(w io.Writer) error {
		m := m.Moved(truth.Inverse().Apply)
		s, err := solid.NewSheet(m.Points, m.Triangles)
		if err != nil {
			return err
		}
		return solid.WriteSheet(w, s, "synthetic teeth, a frame of their own")
	}
}
