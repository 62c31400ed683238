package plan

import (
	"fmt"

	"ridgerule/measure/safety"
)

// Sites, implants, structures and declarations as the blocks that they are in a file.

// mapOf writes out one of the plan's own types; what has its default is left out.
func mapOf(v any) (Map, error) {
	var b blockMap
	switch v := v.(type) {
	case Site:
		b.site(v)
	case PlannedImplant:
		b.implant(v)
	case Sizes:
		b.sizes(v)
	case Declared:
		b.declared(v)
	case safety.Structure:
		if v.Surface != nil {
			return nil, fmt.Errorf("%w: structure %q is a surface: write a Map that names its file", ErrEdit, v.Name)
		}
		b.structure(v)
	}
	return Map(b), nil
}

// blockMap is a block that is being written.
type blockMap Map

func (b *blockMap) put(key string, v any) { *b = append(*b, Entry{key, v}) }

// putIf writes a value that is not its type's zero.
func putIf[T comparable](b *blockMap, key string, v T) {
	if v != *new(T) {
		b.put(key, v)
	}
}

// putAt writes what a pointer points to.
func putAt[T any](b *blockMap, key string, v *T) {
	if v != nil {
		b.put(key, *v)
	}
}

func (b *blockMap) site(s Site) {
	b.put("tooth", s.Tooth)
	if s.ID != s.Tooth {
		putIf(b, "id", s.ID)
	}
	putAt(b, "at", s.At)
	putAt(b, "arc_mm", s.ArcMM)
	switch s.Axis {
	case AxisGiven:
		b.put("axis", Direction(s.AxisVec))
	case AxisOcclusal:
		b.put("axis", string(s.Axis))
	}
	if s.HeightTo != ToAuto {
		putIf(b, "height_to", string(s.HeightTo))
	}
	putAt(b, "crest", s.Crest)
	if len(s.Depths) > 0 {
		b.put("depths_mm", s.Depths)
	}
	putIf(b, "wanted_width_mm", s.WantedWidth)
	if s.Level != nil {
		b.put("level", Map{{"depth_mm", *s.Level}})
	}
	putAt(b, "implant", s.Implant)
	putAt(b, "sizes", s.Sizes)
	if len(s.Confirmed) > 0 {
		b.put("confirmed", s.Confirmed)
	}
	putIf(b, "proposed", s.Proposed)
}

func (b *blockMap) implant(im PlannedImplant) {
	putAt(b, "platform", im.Platform)
	if im.Axis != nil {
		b.put("axis", Direction(*im.Axis))
	}
	b.put("diameter_mm", im.Diameter)
	putIf(b, "apex_diameter_mm", im.ApexDiameter)
	b.put("length_mm", im.Length)
	putIf(b, "beyond_ridge", im.BeyondRidge)
}

func (b *blockMap) sizes(s Sizes) {
	b.put("diameters_mm", s.Diameters)
	b.put("lengths_mm", s.Lengths)
	for _, l := range []struct {
		key string
		to  *[2]float64
	}{{"lateral_mm", s.Lateral}, {"depth_mm", s.Depth}, {"lean_deg", s.Lean}, {"along_deg", s.Along}} {
		if l.to != nil {
			b.put(l.key, l.to[:])
		}
	}
}

func (b *blockMap) declared(d Declared) {
	b.put("kind", string(d.Kind))
	side := "both"
	if len(d.Sides) == 1 {
		side = string(d.Sides[0])
	}
	b.put("side", side)
	as := "not_visible"
	if d.Visible {
		as = "absent"
	}
	b.put("as", as)
	putIf(b, "by", d.By)
}

func (b *blockMap) structure(s safety.Structure) {
	b.put("name", s.Name)
	b.put("kind", string(s.Kind))
	b.put("path", s.Path)
	b.put("radii_mm", s.Radii)
	b.put("sd_mm", s.SD)
	putAt(b, "margin_mm", s.Margin)
	putIf(b, "planned_removal", s.PlannedRemoval)
	putIf(b, "planned_lift_mm", s.PlannedLift)
	if s.Confidence != nil {
		b.put("traced", Map{{"confirmed", !s.Proposed}, {"confidence", *s.Confidence}})
		return
	}
	putIf(b, "proposed", s.Proposed)
}
