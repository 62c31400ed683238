package desk

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
)

// draft is the plan at one state of its text, read as far as it goes. It does not change.
type draft struct {
	text   []byte
	tag    string // stands for the text and the files that it names
	stamp  string // of those files: size and time of each
	voxels bool
	plan   *plan.Plan    // in patient coordinates; nil: nothing of it can be read
	faults []*plan.Error // what is wrong or missing
	laid   *plan.Placed  // its arch, not checked; its curve is nil where there is none
	noArch string        // why
	placed *plan.Placed  // whole and on the scan; nil: it is not
}

// parse reads a text as the session's plan.
func (s *session) parse(text []byte) (*plan.Plan, *plan.Source, plan.Errors) {
	return plan.ReadDraft(filepath.Base(s.path), text, os.DirFS(filepath.Dir(s.path)))
}

func (s *session) read(text []byte) *draft {
	d := &draft{text: text, tag: hashOf(text)}
	p, source, missing := s.parse(text)
	d.faults = missing
	if p == nil {
		d.noArch = "the plan cannot be read"
		return d
	}
	d.stamp = s.stamp(p)
	for _, name := range slices.Sorted(maps.Keys(p.Files)) {
		d.tag = hashOf([]byte(d.tag + "\n" + name + "\n" + p.Files[name]))
	}
	d.voxels = p.Voxels
	grid := s.scan.Volume.Grid
	if p.Voxels {
		inPatient, err := p.InPatient(grid, source)
		if err != nil {
			d.addFaults(err)
			return d
		}
		p = inPatient
	}
	d.plan = p
	laid, err := p.Lay()
	d.laid = laid
	if err != nil {
		d.noArch = said(err)
	}
	if len(d.faults) > 0 || d.laid.Curve == nil {
		return d
	}
	if d.placed, err = p.Place(grid, source); err != nil {
		d.addFaults(err)
	}
	return d
}

// stamp tells whether a file that a plan names was changed, without reading it.
func (s *session) stamp(p *plan.Plan) (all string) {
	if p == nil {
		return ""
	}
	for _, name := range slices.Sorted(maps.Keys(p.Files)) {
		if info, err := os.Stat(filepath.Join(filepath.Dir(s.path), filepath.FromSlash(name))); err == nil {
			all += fmt.Sprintln(name, info.Size(), info.ModTime().UnixNano())
		}
	}
	return all
}

// addFaults adds an error's faults, each with its line where it has one.
func (d *draft) addFaults(err error) {
	var all plan.Errors
	if !errors.As(err, &all) {
		all = plan.Errors{{What: said(err)}}
	}
	d.faults = append(d.faults, all...)
}

// curve is the arch curve; nil: none.
func (d *draft) curve() *reformat.Curve {
	if d.laid == nil {
		return nil
	}
	return d.laid.Curve
}

// arcOf returns where a site stands on the curve, mm; ok is false where there is no curve or the site says nothing.
func (d *draft) arcOf(s plan.Site) (arc float64, ok bool) {
	if d.curve() == nil || s.At == nil && s.ArcMM == nil {
		return 0, false
	}
	return plan.SiteArc(d.curve(), s), true
}

// sideOf returns the patient's side that points lie on, by the arch where there is one, else by x about the scan's middle.
func (s *session) sideOf(d *draft, points []r3.Vec) plan.Side {
	if len(points) == 0 {
		return ""
	}
	var sum r3.Vec
	for _, p := range points {
		sum = r3.Add(sum, p)
	}
	at := r3.Scale(1/float64(len(points)), sum)
	if c := d.curve(); c != nil {
		arc, _ := c.Project(at)
		return d.laid.Landmarks.Side(arc)
	}
	b := s.scan.Volume.Bounds()
	if at.X > (b.Min.X+b.Max.X)/2 {
		return plan.Left
	}
	return plan.Right
}

// said is an error as the page says it: without the name of a room.
func said(err error) string {
	text := fmt.Sprint(err)
	for _, room := range []string{"desk: ", "plan: ", "reformat: ", "trace: ", "measure: ", "report: "} {
		for i := 0; i+len(room) <= len(text); i++ {
			if text[i:i+len(room)] == room && (i == 0 || text[i-1] == ' ') {
				text = text[:i] + text[i+len(room):]
			}
		}
	}
	return text
}
