package plan

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// defaultMarkingSD is the standard uncertainty of a marked structure when the plan gives none, mm.
const defaultMarkingSD = 0.5

const (
	maxRadius = 50 // of a structure's path, mm: a slip of the decimal point
	maxLift   = 30 // of a sinus floor, mm: likewise
)

// maxSurfaceBytes bounds the file of a closed surface.
const maxSurfaceBytes = 256 << 20

var structureKinds = []string{
	string(safety.Canal), string(safety.MentalForamen), string(safety.AnteriorLoop),
	string(safety.IncisiveCanal), string(safety.Sinus), string(safety.NasalFloor),
	string(safety.Root), string(safety.ImplantBody), string(safety.Other),
}

func (r *reader) structures(n node, dir fs.FS) []safety.Structure {
	var all []safety.Structure
	seen := map[string]int{} // line by name
	for i, e := range n.list(maxStructures) {
		s := r.structure(e, i, dir)
		if first, twice := seen[s.Name]; twice && s.Name != "" {
			e.where = "structure " + quoted(s.Name)
			e.fail("give each structure a name of its own", "the structure at line %d has this name too", first)
		}
		seen[s.Name] = e.mark.Line
		all = append(all, s)
	}
	return all
}

func (r *reader) structure(n node, i int, dir fs.FS) safety.Structure {
	s := safety.Structure{SD: defaultMarkingSD}
	n.where = fmt.Sprintf("structure %d", i+1)
	n.where = peekName(n, "structure", "name")
	f := n.mapping("name", "kind", "path", "radius_mm", "radii_mm", "surface", "sd_mm", "margin_mm", "planned_removal",
		"planned_lift_mm", "traced", "proposed")
	r.name(f, &s)
	if v, ok := f.need("kind", "say what it is: kind: canal"); ok {
		s.Kind = safety.Kind(v.oneOf(structureKinds...))
	}
	r.shape(f, &s, dir)
	if v, ok := f.get("sd_mm"); ok {
		s.SD, _ = v.between(0, 20, " mm")
	}
	if v, ok := f.get("margin_mm"); ok {
		if x, ok := v.between(0, 50, " mm"); ok {
			s.Margin = &x
		}
	}
	if v, ok := f.get("planned_removal"); ok {
		s.PlannedRemoval = v.flag()
		if s.PlannedRemoval && s.Kind != "" && s.Kind != safety.Root && s.Kind != safety.ImplantBody {
			v.fail("leave it out: only a root or an implant is taken out", "planned_removal on a %s would silence its margin", quantity.InWords(s.Kind))
		}
	}
	if v, ok := f.get("planned_lift_mm"); ok {
		s.PlannedLift, _ = v.size(maxLift)
		if s.Kind != "" && s.Kind != safety.Sinus {
			v.fail("leave it out: only the floor of a sinus is lifted", "planned_lift_mm on a %s", quantity.InWords(s.Kind))
		}
	}
	r.traced(f, &s)
	return s
}

func (r *reader) name(f fields, s *safety.Structure) {
	n, ok := f.need("name", "give it a name: name: right canal")
	if !ok {
		return
	}
	if s.Name, ok = n.text(100); ok && strings.TrimSpace(s.Name) == "" {
		n.fail("give it a name: name: right canal", "name is empty")
	}
}

// shape reads a capsule chain or a closed surface.
func (r *reader) shape(f fields, s *safety.Structure, dir fs.FS) {
	path, hasPath := f.get("path")
	surface, hasSurface := f.get("surface")
	switch {
	case f.has("path") && f.has("surface"):
		f.fail("keep one of them", "path (line %d) and surface (line %d) are both given", f.line("path"), f.line("surface"))
	case hasPath:
		var good bool
		s.Path, good = path.points(maxPath)
		if len(s.Path) == 0 && isList(path) {
			path.fail("give at least one point", "path is an empty list")
		}
		s.Radii = r.radii(f, len(s.Path), good)
	case hasSurface:
		if f.has("radius_mm") || f.has("radii_mm") {
			f.fail("leave the radius out", "a closed surface has no radius")
		}
		s.Surface = surface.surface(dir)
	case !f.has("path") && !f.has("surface") && f.isMapping():
		f.fail("give path: [[x, y, z], …] with radius_mm, or surface: file.stl", "neither path nor surface says where it is")
	}
}

// radii returns one radius a point, mm.
func (r *reader) radii(f fields, points int, check bool) []float64 {
	one, hasOne := f.get("radius_mm")
	many, hasMany := f.get("radii_mm")
	radii := make([]float64, points)
	switch {
	case f.has("radius_mm") && f.has("radii_mm"):
		f.fail("keep one of them", "radius_mm (line %d) and radii_mm (line %d) are both given", f.line("radius_mm"), f.line("radii_mm"))
	case hasOne:
		x, _ := one.size(maxRadius)
		for i := range radii {
			radii[i] = x
		}
	case hasMany:
		elements := many.list(maxPath)
		if check && isList(many) && len(elements) != points {
			many.fail("give one radius a point, or radius_mm for all", "radii_mm has %d values, path has %d points", len(elements), points)
			return radii
		}
		for i, e := range elements[:min(points, len(elements))] {
			radii[i], _ = e.size(maxRadius)
		}
	case !f.has("radius_mm") && !f.has("radii_mm"):
		f.fail("give radius_mm: 1.5, or radii_mm with one a point", "the path has no radius")
	}
	return radii
}

// surface reads the closed surface that the plan names.
func (n node) surface(dir fs.FS) *solid.Surface {
	s, _ := stl(n, dir, maxSurfaceBytes, solid.ReadSTL, "export it as one closed STL surface in patient coordinates (LPS, mm)")
	return s
}

// stl reads the STL file that the plan names, of most bytes; remedy is against what read does not take.
func stl[S any](n node, dir fs.FS, most int64, read func(io.Reader, int64) (S, error), remedy string) (none S, ok bool) {
	name, ok := n.text(500)
	if !ok {
		return none, false
	}
	data, ok := n.open(name, dir, most)
	if !ok {
		return none, false
	}
	s, err := read(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		if size := (*solid.ExtentError)(nil); errors.As(err, &size) {
			remedy = "export the surface in mm"
		}
		n.fail(remedy, "surface %s: %v", quoted(name), err)
		return none, false
	}
	return s, true
}

// open returns the bytes of a file that the plan names, from the plan's folder or below.
func (n node) open(name string, dir fs.FS, most int64) ([]byte, bool) {
	const beside = "put the file into the plan's folder and name it by its path from there"
	if dir == nil || !fs.ValidPath(name) || name == "." {
		n.fail(beside, "%s %s is not a path below the plan's folder", n.key(), quoted(name))
		return nil, false
	}
	info, err := fs.Stat(dir, name)
	switch {
	case err != nil:
		n.fail(beside, "%s %s cannot be opened", n.key(), quoted(name))
		return nil, false
	case !info.Mode().IsRegular():
		n.fail(beside, "%s %s is not a file", n.key(), quoted(name))
		return nil, false
	case info.Size() > most:
		n.fail("make it smaller", "%s %s is larger than %d MB", n.key(), quoted(name), most>>20)
		return nil, false
	}
	f, err := dir.Open(name)
	if err != nil {
		n.fail(beside, "%s %s cannot be opened", n.key(), quoted(name))
		return nil, false
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		n.fail(beside, "%s %s cannot be read", n.key(), quoted(name))
		return nil, false
	}
	if n.r.files == nil {
		n.r.files = map[string]string{}
	}
	sum := sha256.Sum256(data)
	n.r.files[name] = hex.EncodeToString(sum[:])
	return data, true
}

// peekName returns what messages call an element of a list: its name where it has a plain one,
// else its number in n.where.
func peekName(n node, what string, keys ...string) string {
	m, ok := n.tree.(*ast.MappingNode)
	if !ok {
		return n.where
	}
	for _, key := range keys {
		for _, pair := range m.Values {
			if pair.Key.GetToken().Value != key || pair.Value == nil {
				continue
			}
			switch pair.Value.(type) {
			case *ast.StringNode, *ast.IntegerNode:
				return what + " " + quoted(pair.Value.GetToken().Value)
			}
		}
	}
	return n.where
}
