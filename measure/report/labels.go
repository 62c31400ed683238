package report

import "math"

// labels puts names beside what they name, apart from each other and from what must be seen.
type labels struct {
	*sheet
	taken []box2 // where nothing else may be written
	soft  []spot // places that are better left free
}

// box2 is a rectangle on the paper, mm.
type box2 struct{ low, high spot }

func (b box2) overlaps(o box2) bool {
	return b.low.X < o.high.X && o.low.X < b.high.X && b.low.Y < o.high.Y && o.low.Y < b.high.Y
}

func (b box2) holds(p spot) bool {
	return p.X > b.low.X && p.X < b.high.X && p.Y > b.low.Y && p.Y < b.high.Y
}

// boxOf returns the room of a label, mm of paper, with a little air around it.
func boxOf(t label) box2 {
	w, x := textWidth(t.Text, t.Size, t.Weight), t.At.X
	switch t.Anchor {
	case middleOf:
		x -= w / 2
	case end:
		x -= w
	}
	return box2{spot{x - 0.4, t.At.Y - 0.8*t.Size}, spot{x + w + 0.4, t.At.Y + 0.3*t.Size}}
}

// fixed writes a label where it stands.
func (l *labels) fixed(t label) {
	l.taken = append(l.taken, boxOf(t))
	l.write(t)
}

// beside writes a label near one of the spots, where it covers least; ways are the directions, unit vectors,
// in which it may stand from them. It is pushed into the sheet, and a hair leads to it from where it stands far.
func (l *labels) beside(t label, at []spot, ways []spot) {
	best, least, from := t, math.Inf(1), spot{}
	for _, p := range at {
		for _, d := range []float64{2.4, 4.5, 7, 10, 14, 19} {
			for _, way := range ways {
				c := l.inside(t, spot{p.X + d*way.X, p.Y + d*way.Y}, way)
				if cost := l.cost(c) + d/4; cost < least {
					best, least, from = c, cost, p
				}
			}
		}
	}
	room := boxOf(best)
	foot := spot{math.Max(room.low.X, math.Min(room.high.X, from.X)), math.Max(room.low.Y, math.Min(room.high.Y, from.Y))}
	if apart(from, foot) > 3 {
		l.rule(from, foot, 0.12, soft)
	}
	l.fixed(best)
}

// inside returns the label with the edge that faces back along way at p, pushed into the sheet.
func (l *labels) inside(t label, p, way spot) label {
	w := textWidth(t.Text, t.Size, t.Weight)
	t.Anchor = start
	t.At = spot{p.X - w/2 + way.X*w/2, p.Y + t.Size*(0.35+0.35*way.Y)}
	t.At.X = math.Max(1, math.Min(t.At.X, l.Width-1-w))
	return t
}

// cost says how much a label covers: other labels must not be, lines rather not.
func (l *labels) cost(t label) float64 {
	room, cost := boxOf(t), 0.0
	for _, b := range l.taken {
		if room.overlaps(b) {
			cost += 1000
		}
	}
	if room.low.Y < 0 || room.high.Y > l.Height {
		cost += 1000
	}
	for _, p := range l.soft {
		if room.holds(p) {
			cost++
		}
	}
	return cost
}
