package main

import (
	"os"
	"path/filepath"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/align"
	"ridgerule/measure/plan"
	"ridgerule/measure/solid"
)

// readLandmarks reads a table of places marked in both; "" is none.
func readLandmarks(path string) ([]align.Pair, error) {
	if path == "" {
		return nil, nil
	}
	r, err := os.Open(path)
	if err != nil {
		return nil, usagef("%s cannot be read: %v", path, reason(err))
	}
	defer r.Close()
	pairs, err := align.ReadLandmarks(r)
	if err != nil {
		return nil, usagef("%s: %w", path, err)
	}
	return pairs, nil
}

// readStart reads about where the second lies: pairs of points, or another alignment; "" is nothing.
func readStart(path string) (*align.Transform, error) {
	if path == "" {
		return nil, nil
	}
	if !isTable(path) {
		f, err := readAlignment(path)
		return &f.Transform, err
	}
	pairs, err := readLandmarks(path)
	if err != nil {
		return nil, err
	}
	fit, err := align.FitLandmarks(pairs)
	if err != nil {
		return nil, usagef("%s: %w", path, err)
	}
	return &fit.Transform, nil
}

// readMask reads what of the first scan may be used; "" is all.
func readMask(path string, g volume.Grid) (func(r3.Vec) bool, error) {
	switch {
	case path == "":
		return nil, nil
	case strings.EqualFold(filepath.Ext(path), ".stl"):
		return surfaceMask(path)
	}
	p, err := readPlan(path)
	if err != nil {
		return nil, err
	}
	placed, err := p.place(g)
	if err != nil {
		return nil, err
	}
	return planMask(placed), nil
}

func surfaceMask(path string) (func(r3.Vec) bool, error) {
	r, err := os.Open(path)
	if err != nil {
		return nil, usagef("%s cannot be read: %v", path, reason(err))
	}
	defer r.Close()
	info, err := r.Stat()
	if err != nil {
		return nil, err
	}
	s, err := solid.ReadSTL(r, info.Size())
	if err != nil {
		return nil, usagef("%s: %w", path, err)
	}
	return align.Inside(s)
}

// planMask is basal bone by a plan: below its arch curve, away from its implants.
func planMask(p *plan.Placed) func(r3.Vec) bool {
	var implants []align.Segment
	for _, s := range p.Sites {
		if s.Implant == nil {
			continue
		}
		from, axis := siteOnArch(p, s), r3.Scale(-1, p.Occlusal) // about there, where the plan leaves the place to the measurement
		if s.Implant.Platform != nil {
			from = *s.Implant.Platform
		}
		if s.Implant.Axis != nil {
			axis = *s.Implant.Axis
		}
		implants = append(implants, align.Segment{From: from, To: r3.Add(from, r3.Scale(s.Implant.Length, axis))})
	}
	var arch []r3.Vec
	const step = 1.0 // mm: of an arch's curve of 10 mm radius its chord leaves 0.01 mm
	for s := 0.0; s <= p.Curve.Length(); s += step {
		arch = append(arch, p.Curve.At(s))
	}
	return align.Basal(arch, p.Occlusal, implants)
}

// siteOnArch returns where a site lies on the arch curve, mm.
func siteOnArch(p *plan.Placed, s plan.Site) r3.Vec {
	if s.At == nil {
		return p.Curve.At(*s.ArcMM)
	}
	arc, _ := p.Curve.Project(*s.At)
	return p.Curve.At(arc)
}
