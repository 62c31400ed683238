package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// site measures one site, whatever of it can be measured.
func (c *run) site(s *site) {
	if s.ridge == nil {
		c.failed(s)
		return
	}
	axis, err := s.findAxis()
	if err != nil {
		s.out.Err = plain(err)
		c.failed(s)
		return
	}
	s.axis = axis
	s.out.Outline, s.out.Crest, s.out.Axis = s.ridge.Points, axis.Crest, axis.Dir
	c.checkCrest(s)
	c.siteOnBone(s)
	c.heightRow(s)
	s.widthRows(s.placement)
	s.tiltRow(s.placement)
	s.undercutRows(c.plan.Jaw, s.placement)
	s.usableRows(s.placement)
	c.levelRows(s)
	s.greyRows()
	c.implantRows(s)
	c.doubtMarks(s)
	c.sizeRows(s)
	c.spaceRow(s)
	c.restorationRows(s)
	c.readingRows(s)
}

// findAxis follows the plan's rule for axis and crest.
func (s *site) findAxis() (ridge.Axis, error) {
	var fixed *reformat.UV
	switch s.plan.Axis {
	case AxisOcclusal:
		fixed = &reformat.UV{V: -1}
	case AxisGiven:
		d := reformat.UV{U: r3.Dot(s.plan.AxisVec, s.frame.U), V: r3.Dot(s.plan.AxisVec, s.frame.V)}
		if math.Hypot(d.U, d.V) < 0.5 {
			return ridge.Axis{}, errors.New("the given axis runs across the section: more than 60° out of its plane")
		}
		if d.V > 0 {
			return ridge.Axis{}, errors.New("the given axis points from base to crest; it must point from crest to base")
		}
		fixed = &d
	}
	if s.plan.Crest != nil {
		p, _ := s.frame.Section(*s.plan.Crest)
		return s.ridge.FixAxis(p, fixed)
	}
	return s.ridge.FindAxis(fixed)
}

// oddCrest is how far from the bone's edge an operator's crest point may lie, mm, or U where that is more.
const oddCrest = 0.5

// checkCrest holds the operator's crest point against the bone's edge along the axis.
func (c *run) checkCrest(s *site) {
	if s.plan.Crest == nil {
		return
	}
	top, _ := s.ridge.Near(s.axis.Crest, s.axis.Dir)
	u := uncertainty.Coverage * c.edgeSD()
	if math.Abs(top) <= math.Max(oddCrest, u) {
		return
	}
	where := "crest given by the operator, no bone is near it along the axis"
	switch {
	case top < 0:
		where = "crest given by the operator, " + mm(-top) + " below the bone's edge"
	case top > 0:
		where = "crest given by the operator, " + mm(top) + " above the bone's edge"
	}
	s.doubts = append(s.doubts, c.plan.SiteDoubt(s.index, ".crest", "crest_given", SeverityUncertain, "%s", where))
}

func (s *site) add(r Row) { s.out.Rows = append(s.out.Rows, r) }

// length makes a row of a measured length in mm, area or volume.
func length(q quantity.Name, at *float64, l uncertainty.Length) Row {
	row := newRow(q, "", "").with(l.Value, l.Budget)
	row.At = at
	return row
}

// noWidth makes a row of a width or plate that was not found at a depth.
func noWidth(q quantity.Name, depth float64, err error) Row {
	row := newRow(q, "", plain(err))
	row.At = &depth
	return row
}

func (s *site) widthRows(h ridge.Placement) {
	s.out.Chords = s.widths([3]quantity.Name{quantity.RidgeWidth, quantity.BuccalPlate, quantity.LingualPlate}, s.axis, s.plan.Depths, h, nil)
}

// widths adds the rows of width and plates (called so) at depths below the axis' crest point, and
// returns their chords. Where the crest is levelled by k, bone above it does not count.
func (s *site) widths(names [3]quantity.Name, a ridge.Axis, depths []float64, h ridge.Placement, k *cut) (chords []Chord) {
	for _, d := range depths {
		w, err := s.ridge.Width(a, d, h)
		if err != nil {
			for _, q := range names {
				s.add(noWidth(q, d, err))
			}
			continue
		}
		var gone [2]bool
		if k != nil {
			gone = k.shorten(&w, a.At(d))
		}
		chord := Chord{Depth: d, Buccal: w.Buccal, Lingual: w.Lingual}
		row := length(names[0], &d, w.Length)
		if gone[0] || gone[1] {
			row.Note = "ends at the level, which slants across the ridge"
		}
		if s.height.to == ToSinus || s.height.to == ToNasalFloor {
			if dotUV(reformat.UV{U: a.At(d).U - s.axis.Crest.U, V: a.At(d).V - s.axis.Crest.V}, s.axis.Dir) > s.height.Value {
				row.Note = fmt.Sprintf("deeper than the bone under the %s: part of this width is cavity", quantity.InWords(s.height.to))
			}
		}
		s.add(row)
		for side, q := range names[1:] {
			p := w.Plates[side]
			if gone[side] {
				p.Err = errors.New("levelled away there")
			}
			if p.Err != nil {
				s.add(noWidth(q, d, p.Err))
				continue
			}
			inner := p.Inner
			if side == 0 {
				chord.BuccalInner = &inner
			} else {
				chord.LingualInner = &inner
			}
			s.add(length(q, &d, p.Length))
		}
		chords = append(chords, chord)
	}
	return chords
}

func (s *site) tiltRow(h ridge.Placement) {
	t := s.axis.TiltAngle(h)
	s.add(newRow(quantity.RidgeTilt, "", "").with(t.Value, t.Budget))
}

func (s *site) undercutRows(jaw Jaw, h ridge.Placement) {
	most := math.Inf(1)
	if jaw == Maxilla {
		most = ridge.UpperWall
	}
	for _, q := range []quantity.Name{quantity.BuccalUndercut, quantity.LingualUndercut} {
		u, err := s.ridge.Undercut(s.axis, q == quantity.BuccalUndercut, most, h)
		if err != nil {
			s.add(newRow(q, "", plain(err)))
			continue
		}
		row := length(q, nil, u.Length)
		switch {
		case u.Value > 0 && u.Seen < ridge.UpperWall:
			row.Note = fmt.Sprintf("the field shows the wall only to %.0f mm below the crest", u.Seen)
		case u.Value == 0 && !math.IsInf(u.Seen, 0):
			row.Note = fmt.Sprintf("none as far as the field shows the wall, %.0f mm below the crest", u.Seen)
		}
		if u.Value > 0 {
			row.At = &u.Depth
		}
		s.add(row)
	}
}

func (s *site) usableRows(h ridge.Placement) {
	if s.plan.WantedWidth <= 0 {
		return
	}
	depth, err := s.ridge.UsableCrest(s.axis, s.plan.WantedWidth, h)
	to := fmt.Sprintf("%g mm", s.plan.WantedWidth)
	if err != nil {
		s.add(newRow(quantity.UsableCrestDepth, to, plain(err)))
		s.add(newRow(quantity.UsableHeight, to, plain(err)))
		return
	}
	s.out.UsableDepth = &depth.Value
	row := length(quantity.UsableCrestDepth, nil, depth)
	row.To = to
	s.add(row)
	if s.height.to == "" {
		s.add(newRow(quantity.UsableHeight, to, s.height.why))
		return
	}
	left := uncertainty.Length{Value: s.height.Value - depth.Value, Budget: append(append(uncertainty.Budget{}, s.height.Budget...), depth.Budget.Scaled(-1)...)}
	row = length(quantity.UsableHeight, nil, left)
	row.To, row.Note = to, s.height.why
	s.add(row)
}

func (s *site) greyRows() {
	depth := s.height.Value
	if s.height.to == "" {
		depth = s.plan.Depths[len(s.plan.Depths)-1]
	}
	g, ok := s.ridge.Grey(s.axis, depth)
	note := "relative grey value: not a Hounsfield unit, not a density"
	for i, value := range []float64{g.Mean, g.SD, g.P05, g.P95} {
		r := newRow(greyQuantities[i], "", note)
		if ok {
			r.Value = &value
		} else {
			r.Note = "no voxel of the bone within the field"
		}
		s.add(r)
	}
}

// notes gathers what a reader of the site's numbers must know, each text once.
func (s *site) notes() []Caution {
	var notes []Caution
	add := func(code string, severity Severity, text string) {
		if text != "" && !slices.ContainsFunc(notes, func(n Caution) bool { return n.Text == text }) {
			notes = append(notes, Caution{Code: code, Severity: severity, Text: text, Site: s.plan.ID})
		}
	}
	add("not_measured", SeverityNotAssessed, s.out.Err)
	add("height", SeverityCaution, s.height.why)
	for _, r := range s.out.Rows {
		if r.Verdict == safety.NotAssessed {
			add("not_assessed", SeverityNotAssessed, r.Note)
		}
	}
	if s.ridge != nil {
		for _, text := range s.ridge.Notes(s.axis) {
			add("section", SeverityCaution, text)
		}
	}
	return notes
}

func unique(all []string) []string {
	seen := map[string]bool{"": true}
	var out []string
	for _, n := range all {
		if !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}

// plain is an error's text for a table's cell, without the packages' names.
func plain(err error) string {
	text := err.Error()
	for _, room := range []string{"ridge: ", "reformat: ", "safety: ", "solid: "} {
		text = strings.ReplaceAll(text, room, "")
	}
	return text
}

// worst returns the gravest verdict of rows; the empty verdict when nothing was held against a margin.
func worst(rows []Row) safety.Verdict {
	out := safety.NoMargin
	for _, r := range rows {
		out = safety.Worst(out, r.Verdict)
	}
	return out
}

// mm is a length in words, to the tenth.
func mm(x float64) string { return fmt.Sprintf("%.1f mm", x) }

// nameOf returns a site's tooth in number and words, its side by its place.
func nameOf(number string, side Side) string {
	t, ok := plan.ToothOf(number)
	if !ok {
		return number
	}
	return number + ", " + t.Words(side)
}
