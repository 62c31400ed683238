package report

import (
	"fmt"
	"math"

	"ridgerule/measure/change"
	"ridgerule/measure/uncertainty"
)

// deviationSheet draws a placed implant against its plan, to scale: along the arch, and in the section. The deviations stand where they
// are, each with its U.
func deviationSheet(site string, p *change.Placed) *sheet {
	const edge, between, head, foot = 14.0, 34.0, 9.0, 13.0 // mm of paper
	d := &p.Deviation
	wide := math.Max(p.Planned.Diameter, p.Planned.Apex)
	scale := math.Min(5, 46/(p.Planned.Length+2)) // as tall as a section of the page
	low, high := deviationSpan(p)
	half := scale * (wide/2 + math.Max(maxAbs(d.Mesial, d.MesialApical), maxAbs(d.Buccal, d.BuccalApical)))
	s := &sheet{Title: "Placed against planned at " + site, Scale: scale, Width: edge + 4*half + 2*between, Height: head + scale*(high-low) + foot,
		About: "The planned implant dashed, the placed one solid, to scale; deviations in mm with U."}
	top := head - scale*low
	for i, v := range []deviationView{
		{"along the arch, mesial right", "mesial", "distal", d.Mesial, d.MesialApical},
		{"in the section, buccal right", "buccal", "lingual", d.Buccal, d.BuccalApical},
	} {
		v.draw(s, p, spot{edge + half + float64(i)*(2*half+between), top}, scale)
	}
	foots := []string{
		fmt.Sprintf("depth %s, angle %s ± %s°", sidedWords(d.Depth, "deeper", "shallower"), rounded(d.Angle.Value, 1), roundUp(d.Angle.U(), 1)),
		fmt.Sprintf("coronal %s, lateral %s; apical %s, lateral %s mm", plusMinus(d.Coronal), plusMinus(d.LateralCoronal), plusMinus(d.Apical), plusMinus(d.LateralApical)),
		fmt.Sprintf("dashed: planned; solid: placed; %s : 1", plain(math.Round(10*scale)/10)),
	}
	for i, text := range foots {
		s.write(label{At: spot{0, s.Height - foot + 4.2*float64(i) + 3.5}, Text: text, Size: small, Ink: []ink{black, black, soft}[i]})
	}
	return s
}

// deviationSpan is from how far above the planned platform to how far below it the two bodies reach, mm.
func deviationSpan(p *change.Placed) (low, high float64) {
	down := p.Deviation.Depth.Value + p.Deviation.ApexAt*math.Cos(p.Deviation.Angle.Value*math.Pi/180)
	return math.Min(0, p.Deviation.Depth.Value) - 0.5, math.Max(p.Planned.Length, down) + 0.5
}

func maxAbs(list ...uncertainty.Length) (most float64) {
	for _, l := range list {
		most = math.Max(most, math.Abs(l.Value))
	}
	return most
}

// deviationView is one of the two: what lies to the right and to the left, and how far the placed one is off to the right, mm.
type deviationView struct {
	words, right, left string
	platform, apex     uncertainty.Length
}

// draw draws both bodies with the planned platform's middle at o.
func (v deviationView) draw(s *sheet, p *change.Placed, o spot, scale float64) {
	d := &p.Deviation
	at := func(x, down float64) spot { return spot{o.X + scale*x, o.Y + scale*down} }
	apex := p.Planned.Apex
	if apex == 0 {
		apex = p.Planned.Diameter
	}
	planned := bodyOutline([2]float64{0, 0}, [2]float64{0, p.Planned.Length}, p.Planned.Diameter, apex)
	down := d.Depth.Value + d.ApexAt*math.Cos(d.Angle.Value*math.Pi/180)
	placed := bodyOutline([2]float64{v.platform.Value, d.Depth.Value}, [2]float64{v.apex.Value, down}, p.Found.Diameter, p.Found.Apex)
	paper := func(list [4][2]float64) (out []spot) {
		for _, q := range list {
			out = append(out, at(q[0], q[1]))
		}
		return out
	}
	s.line(stroke{Points: paper(planned), Closed: true, Width: 0.35, Dash: []float64{1.2, 0.9}, Ink: soft})
	s.line(stroke{Points: []spot{at(0, 0), at(0, p.Planned.Length)}, Width: 0.2, Dash: []float64{1.2, 0.9}, Ink: soft})
	s.line(stroke{Points: paper(placed), Closed: true, Width: 0.45, Ink: petrol})
	s.line(stroke{Points: []spot{at(v.platform.Value, d.Depth.Value), at(v.apex.Value, down)}, Width: 0.25, Ink: petrol})
	s.write(label{At: spot{o.X, 3.5}, Text: v.words, Size: small, Anchor: middleOf, Ink: black, Weight: bold})
	edge := scale*(math.Max(p.Planned.Diameter, apex)/2+maxAbs(v.platform, v.apex)) + 1.5
	for _, x := range []struct {
		l uncertainty.Length
		y float64
	}{{v.platform, at(0, 0).Y + 3}, {v.apex, at(0, p.Planned.Length).Y - 3.5}} {
		word := v.right
		if x.l.Value < 0 {
			word = v.left
		}
		s.write(label{At: spot{o.X + edge, x.y}, Text: word, Size: small, Ink: black})
		s.write(label{At: spot{o.X + edge, x.y + 3.6}, Text: rounded(math.Abs(x.l.Value), 2) + " ± " + roundUp(x.l.U(), 2), Size: small, Ink: black})
	}
}

// bodyOutline is a flat-ended cone between two middles, as wide as it is at each, mm.
func bodyOutline(top, end [2]float64, wide, narrow float64) [4][2]float64 {
	x, y := end[0]-top[0], end[1]-top[1]
	n := math.Hypot(x, y)
	x, y = x/n, y/n
	side := func(p [2]float64, r float64) [2]float64 { return [2]float64{p[0] + r*y, p[1] - r*x} }
	return [4][2]float64{side(top, wide/2), side(end, narrow/2), side(end, -narrow/2), side(top, -wide/2)}
}

func plusMinus(l uncertainty.Length) string { return rounded(l.Value, 2) + " ± " + roundUp(l.U(), 2) }

// sidedWords writes a signed length without its sign, with what it means.
func sidedWords(l uncertainty.Length, plus, minus string) string {
	word := plus
	if l.Value < 0 {
		word = minus
	}
	return rounded(math.Abs(l.Value), 2) + " ± " + roundUp(l.U(), 2) + " mm " + word
}
