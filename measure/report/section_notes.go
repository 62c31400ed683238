package report

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// What stands to the right of a section and under it: the numbers, each at the level of the ruler where it was
// taken, and what the lines mean.

// marginNote is one number in the right margin.
type marginNote struct {
	from  *spot   // what it belongs to on the picture: a hair leads there; nil: nothing
	level float64 // where it wants to stand, mm of paper
	tall  float64 // mm of paper
	write func(at spot)
}

const (
	noteIndent = 5.0 // from the picture's edge, mm of paper
	noteWidth  = sectionRight - noteIndent - 1
)

// notes writes widths, height and the least clearances down the right margin, and returns where they end, mm of
// paper. None stands higher than its level, or over another.
func (v *sectionView) notes() float64 {
	list := append(v.widthNotes(), v.heightNotes()...)
	slices.SortStableFunc(list, func(a, b marginNote) int { return cmp.Compare(a.level, b.level) })
	y := v.top
	if len(v.site.Chords) > 0 && len(list) > 0 {
		y = math.Max(y+3, list[0].level-4.2)
		v.write(label{At: spot{v.right() + noteIndent, y}, Text: "depth", Size: tiny, Ink: soft})
		v.write(label{At: spot{v.right() + noteIndent + 9, y}, Text: "width, mm", Size: tiny, Ink: soft})
		y += 4.2
	}
	for _, n := range append(list, v.clearanceNotes()...) {
		y = math.Max(y, n.level)
		if n.from != nil {
			v.line(stroke{Points: []spot{{math.Min(n.from.X+1, v.right()), n.from.Y}, {v.right(), n.level}}, Width: 0.12, Ink: paper, Dash: []float64{0.4, 0.6}})
			v.line(stroke{Points: []spot{{v.right(), n.level}, {v.right() + noteIndent - 1, y}}, Width: 0.12, Ink: soft})
		}
		n.write(spot{v.right() + noteIndent, y + 0.9})
		y += n.tall
	}
	return y
}

// widthNotes are the widths by depth.
func (v *sectionView) widthNotes() []marginNote {
	return each(v.site.Chords, func(c measure.Chord) marginNote {
		from := v.spot(c.Buccal)
		return marginNote{&from, v.level(c.Depth), 3.4, func(at spot) {
			v.write(label{At: at, Text: plain(c.Depth), Size: small, Ink: soft})
			if row, known := v.site.Lookup(quantity.RidgeWidth, c.Depth); known && row.Value != nil {
				v.write(label{At: spot{at.X + 9, at.Y}, Text: read(*row.Value, row.Budget.U()).String(), Size: small, Ink: black, Weight: bold})
			}
		}}
	})
}

// heightNotes are the height and what it ends at, or none.
func (v *sectionView) heightNotes() []marginNote {
	h := v.said.Height
	if h.Reading == "" || math.IsNaN(v.site.HeightEnd.U+v.site.HeightEnd.V) {
		return nil
	}
	cut := bold
	if h.Open {
		cut = regular
	}
	from, to := v.spot(v.site.HeightEnd), wrapped(h.To, tiny, regular, noteWidth)
	return []marginNote{{&from, from.Y, 8.5 + 2.8*float64(len(to)), func(at spot) {
		v.write(label{At: at, Text: h.Name + ", mm", Size: tiny, Ink: soft})
		v.write(label{At: spot{at.X, at.Y + 3.4}, Text: h.Reading, Size: small, Ink: black, Weight: cut})
		for i, text := range to {
			v.write(label{At: spot{at.X, at.Y + 6.4 + 2.8*float64(i)}, Text: text, Size: tiny, Ink: soft})
		}
	}}}
}

// mostClearances is how many of the distances from the implant stand on a section; the tables have all.
const mostClearances = 2

// clearanceNotes are the least reserves of the implant's distances, each with its verdict.
func (v *sectionView) clearanceNotes() []marginNote {
	rows := slices.DeleteFunc(slices.Clone(v.site.Rows), func(r measure.Row) bool {
		return r.Quantity != quantity.Clearance || r.Value == nil || r.Margin == nil
	})
	slices.SortStableFunc(rows, func(a, b measure.Row) int { return cmp.Compare(a.Reserve(), b.Reserve()) })
	return each(rows[:min(len(rows), mostClearances)], func(row measure.Row) marginNote {
		name := wrapped(initial(rowName(row, v.result.Jaw), strings.ToLower), tiny, regular, noteWidth)
		after := textWidth(rowReading(row), small, bold) + 1.2
		first := 2.8*float64(len(name)) + 0.4 // where the number stands under the name's first line
		verdict, tall := spot{after, first}, first+4.2
		if after+textWidth(string(row.Verdict), tiny, regular) > noteWidth {
			verdict, tall = spot{0, first + 2.8}, tall+2.8
		}
		return marginNote{nil, 0, tall, func(at spot) {
			for i, text := range name {
				v.write(label{At: spot{at.X, at.Y + 2.8*float64(i)}, Text: text, Size: tiny, Ink: soft})
			}
			v.write(label{At: spot{at.X, at.Y + first}, Text: rowReading(row), Size: small, Ink: black, Weight: bold})
			v.write(label{At: spot{at.X + verdict.X, at.Y + verdict.Y}, Text: string(row.Verdict), Size: tiny, Ink: black})
		}}
	})
}

// level returns the height on the paper of depth mm below the crest along the site's axis: the ruler's, and that of the
// numbers in the margin. Where there is no axis to go along it is depth straight down from the ruler's zero.
func (v *sectionView) level(depth float64) float64 {
	s := v.site
	if v.leaning() {
		return v.spot(along(s.Crest, s.Axis, depth)).Y
	}
	zero := s.Crest.V
	if s.Err != "" || math.IsNaN(zero) || zero < v.box[0].V || zero > v.box[1].V {
		zero = 0
	}
	return v.spot(reformat.UV{V: zero - depth}).Y
}

// leaning reports whether the ruler runs along the site's axis: where it is known and steep enough for levels, which
// stand at least half a mm apart then.
func (v *sectionView) leaning() bool {
	s := v.site
	return s.Err == "" && !math.IsNaN(s.Crest.U+s.Crest.V) && s.Axis.V < -0.5
}

// legendEntry is a line of the drawing and what it means.
type legendEntry struct {
	there bool
	line  stroke // without its points
	text  string
}

func (v *sectionView) entries() []legendEntry {
	s, marked := v.site, false
	for _, m := range v.result.Structures {
		marked = marked || len(crossing(m, s.Frame, v.box)) > 0
	}
	ended := s.HeightTo != "" && !math.IsNaN(s.HeightEnd.U+s.HeightEnd.V)
	open := v.said.Height.Open
	return slices.DeleteFunc([]legendEntry{
		{len(s.Outline) > 0, stroke{Width: 0.3}, "bone's outline"},
		{len(s.Outline) > 0 && v.leaning(), stroke{Width: 0.22, Dash: []float64{3, 0.8, 0.5, 0.8}}, "axis"},
		{len(s.Chords) > 0, stroke{Width: 0.25}, "width, ringed where a plate ends"},
		{ended && !open, stroke{Width: 0.7}, "ends of the height"},
		{ended && open, stroke{Width: 0.2}, "ends of the height, not its limit"},
		{s.UsableDepth != nil, stroke{Width: 0.25, Dash: []float64{1.6, 0.5, 0.4, 0.5, 0.4, 0.5}}, "wanted width reached"},
		{s.Level != nil, stroke{Width: 0.5}, "levelled crest"},
		{s.Implant != nil, stroke{Width: 0.5}, "virtual implant"},
		{marked, stroke{Width: 0.35, Dash: []float64{0.9, 0.7}}, "marked structure"},
		{len(s.Restoration) > 0, stroke{Width: 0.35, Dash: toothDots}, "planned tooth"},
		{len(s.Mucosa) > 0, stroke{Width: 0.3, Dash: mucosaDashes}, "planned mucosa"},
	}, func(e legendEntry) bool { return !e.there })
}

const (
	legendSample = 8.0 // mm of paper
	legendRow    = 3.1
	legendGap    = 3.0
)

// legend writes what the lines mean, from y down, as many beside each other as have room, and returns where it ends.
func (v *sectionView) legend(y float64) float64 {
	x := sectionLeft
	for _, e := range v.entries() {
		wide := legendSample + 1.2 + textWidth(e.text, tiny, regular)
		if x > sectionLeft && x+wide > v.Width-1 {
			x, y = sectionLeft, y+legendRow
		}
		v.sample(e, spot{x, y - 0.8})
		v.write(label{At: spot{x + legendSample + 1.2, y}, Text: e.text, Size: tiny, Ink: soft})
		x += wide + legendGap
	}
	return y
}

// sample draws a line of the legend, with the ends that it has on the picture.
func (v *sectionView) sample(e legendEntry, at spot) {
	e.line.Points, e.line.Ink = []spot{at, {at.X + legendSample, at.Y}}, black
	switch e.text {
	case "virtual implant":
		e.line.Points, e.line.Closed = box(spot{at.X + 1, at.Y - 0.9}, legendSample-2, 1.8), true
	case "width, ringed where a plate ends":
		for _, x := range []float64{at.X, at.X + legendSample} {
			v.rule(spot{x, at.Y - 0.8}, spot{x, at.Y + 0.8}, 0.3, black)
		}
	}
	v.line(e.line)
	if e.text == "width, ringed where a plate ends" {
		v.line(stroke{Points: disc(spot{at.X + 2.5, at.Y}, 0.55), Closed: true, Width: 0.2, Ink: black, Fill: paper})
	}
}
