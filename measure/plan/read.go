package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// The plan file, format 1: YAML (or JSON, which is YAML), every key described in docs/plan.md.
//
// Rules of the reader:
//   - a key that is not known is an error: a misspelt key must not silently fall back to a default;
//   - every error of the file comes at once, with line, column, value and remedy;
//   - what needs only the plan is checked here; what needs the scan, in [Plan.Place].
const (
	planFormat    = 1
	maxSites      = 1000
	maxStructures = 1000
	maxArch       = 1000  // arch points
	maxPath       = 10000 // points of one structure
)

// defaultScaleHalfWidth is the relative half-width of the scale error of an uncalibrated scan,
// without unit. Source: method, section 5; every length's budget grows with it.
const defaultScaleHalfWidth = 0.005

// handSD is the standard uncertainty of an arch point drawn by hand, mm. Our choice; the
// calibration of docs/accuracy.md draws its arch points with it.
const handSD = 0.3

var planKeys = []string{"format", "case", "jaw", "coordinates", "occlusal", "occlusal_plane",
	"orientation_note", "arch", "sites", "structures", "margins_mm", "margins_source", "scan",
	"levelling_plane", "occlusal_level", "prosthesis_end", "for", "declared", "proposed", "review", "readings", "restoration"}

// Open reads the plan file at path; files it names are looked for beside it. See [Read].
func Open(path string) (*Plan, *Source, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, planFile(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, nil, planFile(path, errors.New("not a file"))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, planFile(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxPlanBytes+1))
	if err != nil {
		return nil, nil, planFile(path, err)
	}
	return Read(filepath.Base(path), data, os.DirFS(filepath.Dir(path)))
}

// planFile is the fault of a plan that cannot be opened.
func planFile(path string, err error) error {
	var why *fs.PathError
	if errors.As(err, &why) {
		err = why.Err
	}
	return Errors{{File: filepath.Base(path), What: err.Error(), Remedy: "name a site plan (YAML or JSON)"}}
}

// Read reads a plan from the bytes of its file, and where each value stands in it. The name is used in messages;
// dir holds the files that the plan names (arch.file, surface), and may be nil when it names none.
//
// Points keep the file's coordinates: [Plan.Place] turns them into patient coordinates. What needs no scan is
// checked here; of a plan in voxels that can be done only when it is placed.
//
// The error is an [Errors] with every fault of the plan.
func Read(name string, data []byte, dir fs.FS) (*Plan, *Source, error) {
	r := &reader{file: filepath.Base(name), source: &Source{filepath.Base(name), map[string]Position{}}}
	p := r.read(data, dir)
	if err := r.err(); err != nil {
		return nil, nil, err
	}
	return p, r.source, nil
}

// read reads and checks the plan; nil after a fault in its first lines.
func (r *reader) read(data []byte, dir fs.FS) *Plan {
	if len(data) > maxPlanBytes {
		r.add(Position{File: r.file}, "", "leave out what is not a site plan", "the file is larger than %d MB", maxPlanBytes>>20)
		return nil
	}
	data = lineEnds(data)
	tree := parseYAML(r.file, yamlBytes(data), &r.faults)
	if tree == nil {
		return nil
	}
	top := r.node(tree, "", "").mapping(planKeys...)
	if !top.isMapping() || !r.format(top) {
		return nil
	}
	p := r.plan(top, dir)
	p.Path, p.SHA256, p.Files = r.file, Hash(data), r.files
	if !p.Voxels && !r.astray {
		p.settle(&r.faults, r.source).checkItself(&r.faults)
	}
	return p
}

// checkItself adds what is wrong about a plan in patient coordinates that needs no scan, so that all its
// faults come at once; not where the arch or the jaw is a fault, of which others would follow.
func (p *Placed) checkItself(f *faults) {
	told := slices.ContainsFunc(f.list, func(e *Error) bool { return e.Where == "" || e.Where == "arch" })
	if told || len(p.Arch) < minArch || p.Occlusal == (r3.Vec{}) {
		return
	}
	if p.lay() == nil {
		p.examine(f, nil)
	}
}

// lineEnds returns the text with LF at the end of each line: the parser counts a comment's CR as a line.
func lineEnds(data []byte) []byte {
	if !bytes.Contains(data, []byte("\r")) {
		return data
	}
	return bytes.ReplaceAll(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
}

// yamlBytes returns the text without what YAML minds and JSON does not: a byte order mark, and
// tabs between the values of a JSON file. (JSON allows no raw tab within a text.)
func yamlBytes(data []byte) []byte {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if strings.HasPrefix(strings.TrimLeft(string(data[:min(len(data), 64)]), " \t\r\n"), "{") {
		return bytes.ReplaceAll(data, []byte("\t"), []byte(" "))
	}
	return data
}

// format reports whether the file says that it is of the one format there is; otherwise nothing
// else in it can be judged.
func (r *reader) format(top fields) bool {
	n, ok := top.need("format", "begin the plan with format: 1")
	if !ok {
		return false
	}
	if v, ok := n.number(); ok && v != planFormat {
		n.fail("this program reads format: 1", "format is %g", v)
		return false
	}
	return true
}

func (r *reader) plan(top fields, dir fs.FS) *Plan {
	p := &Plan{Contents: Contents{ScaleHalfWidth: defaultScaleHalfWidth, PlacedSD: handSD, Margins: map[string]float64{}}}
	r.label(top, p)
	if n, ok := top.need("jaw", "write jaw: mandible or jaw: maxilla"); ok {
		r.source.at["jaw"] = n.mark
		p.Jaw = Jaw(n.oneOf(string(Mandible), string(Maxilla)))
	}
	if n, ok := top.get("coordinates"); ok {
		p.Voxels = n.oneOf("patient", "voxel") == "voxel"
	}
	r.occlusal(top, p)
	if n, ok := top.get("orientation_note"); ok {
		p.OrientationNote, _ = n.text(500)
	}
	if n, ok := top.need("arch", "give arch: points: with at least 4 points along the arch"); ok {
		p.Arch = r.arch(n, dir, p)
	}
	if n, ok := top.need("sites", "list at least one site: tooth, and at or arc_mm"); ok {
		p.Sites = r.sites(n, p.Jaw)
	}
	if n, ok := top.get("structures"); ok {
		p.Structures = r.structures(n, dir)
	}
	r.margins(top, p)
	r.levels(top, p)
	r.madeFor(top, p)
	p.Declared, p.Proposed = r.declared(top), r.proposals(top)
	p.Review, p.Readings = r.review(top), r.readings(top, p.Sites)
	p.Restoration = r.restoration(top, dir)
	if n, ok := top.get("scan"); ok {
		r.scan(n, p)
	}
	return p
}

// label reads the case's label, which becomes a file and folder name.
func (r *reader) label(top fields, p *Plan) {
	n, ok := top.need("case", "give the case a label of your own, not the patient's name: case: pine-042")
	if !ok {
		return
	}
	s, ok := n.text(64)
	if !ok {
		return
	}
	if why := badFileName(s); why != "" {
		n.fail("use letters, digits, - and _", "case %s %s", quoted(s), why)
		return
	}
	p.Case = s
}

// badFileName says why s is no safe file name on any system; "" when it is one.
func badFileName(s string) string {
	switch {
	case strings.TrimSpace(s) == "":
		return "is empty"
	case strings.ContainsAny(s, `/\:*?"<>|`):
		return `holds one of / \ : * ? " < > |`
	case strings.Trim(s, ". ") != s:
		return "begins or ends with a dot or space"
	case s[0] == '-' || s[0] == '~':
		return fmt.Sprintf("begins with %c", s[0])
	case len(s) > 128:
		return "is too long for a file name"
	case isDevice(s):
		return "is a device name on some systems"
	}
	return ""
}

// isDevice reports whether a file name is a device's, whatever follows its first dot.
func isDevice(s string) bool {
	device, _, _ := strings.Cut(strings.ToLower(s), ".")
	if slices.Contains([]string{"con", "prn", "aux", "nul"}, device) {
		return true
	}
	return len(device) == 4 && (device[:3] == "com" || device[:3] == "lpt") && device[3] >= '0' && device[3] <= '9'
}

// occlusal reads the direction toward the biting surface, or the three points of its plane.
func (r *reader) occlusal(top fields, p *Plan) {
	given, isGiven := top.get("occlusal")
	plane, isPlane := top.get("occlusal_plane")
	switch {
	case isGiven && isPlane:
		plane.fail("keep one of them", "occlusal (line %d) and occlusal_plane (line %d) are both given", given.mark.Line, plane.mark.Line)
	case isGiven:
		p.OcclusalGiven, _ = given.direction()
	case isPlane:
		r.source.at["occlusal_plane"] = plane.mark
		p.OcclusalPlane = plane.threePoints()
	}
	r.astray = (isGiven || isPlane) && p.OcclusalGiven == r3.Vec{} && p.OcclusalPlane == nil
}

// usualOcclusal returns the direction from the base of a jaw toward its biting surface in a
// patient whose occlusal plane is horizontal.
func usualOcclusal(j Jaw) r3.Vec {
	if j == Maxilla {
		return r3.Vec{Z: -1}
	}
	return r3.Vec{Z: 1}
}

// marginKeys are the margins that a plan may change.
var marginKeys = []string{"canal", "mental_foramen", "anterior_loop", "incisive_canal", "sinus",
	"nasal_floor", "root", "implant", "other", "buccal_plate", "lingual_plate", "basal_cortex"}

func (r *reader) margins(top fields, p *Plan) {
	if n, ok := top.get("margins_mm"); ok {
		f := n.mapping(marginKeys...)
		for _, key := range marginKeys {
			if v, ok := f.get(key); ok {
				p.Margins[key], _ = v.between(0, 50, " mm")
			}
		}
	}
	if n, ok := top.get("margins_source"); ok {
		p.MarginsSource, _ = n.text(500)
	}
}

func (r *reader) scan(n node, p *Plan) {
	if v, ok := n.mapping("scale_half_width").get("scale_half_width"); ok {
		if x, ok := v.between(0, 0.1, ""); ok {
			p.ScaleHalfWidth = x
		}
	}
}
