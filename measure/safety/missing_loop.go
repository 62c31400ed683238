package safety

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// What concerns the anterior loop, and where along the arch what is marked lies.

// loop reports an anterior loop that is not marked though the site may lie over it.
func (m *missing) loop(tooth int) {
	if m.known(AnteriorLoop) {
		return
	}
	foramen := m.ownSide(MentalForamen, tooth)
	concerns := tooth == 3 || tooth == 4
	if foramen != nil {
		_, to := m.reach(foramen)
		concerns = to < m.radius()+m.rules[string(AnteriorLoop)].Margin // not distal by the margin
	}
	if !concerns || m.ownSide(AnteriorLoop, tooth) != nil {
		return
	}
	if foramen == nil {
		m.report(AnteriorLoop, "anterior loop not marked, nor the mental foramen on this side: no fixed distance mesial to it is safe")
		return
	}
	m.report(AnteriorLoop, "anterior loop not marked, and the site does not lie distal to %q by the margin: no fixed distance mesial to the foramen is safe", foramen.Name)
}

// ownSide returns the marked structure of this kind that is nearest to a lower site on its own
// side, or nil. Foramen and loop of the own side lie distal of the site, or beside it; a front
// tooth is as near to the other side's, so there only distal counts.
func (m *missing) ownSide(kind Kind, tooth int) *Structure {
	var at *Structure
	least := math.Inf(1)
	for _, s := range m.marked(kind) {
		_, to := m.reach(s)
		d, _ := m.beside(s)
		if own := to < 0 || tooth >= 3 && d <= sideReach; own && d < least {
			at, least = s, d
		}
	}
	return at
}

// reach returns how far the structure reaches distally and mesially of the site, mm along the
// tangent, its radius included.
func (m *missing) reach(s *Structure) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for i, x := range s.points() {
		along := r3.Dot(m.flat(x), m.mesial)
		from, to = min(from, along-s.radius(i)), max(to, along+s.radius(i))
	}
	return from, to
}

// points returns the structure's path, or its surface's corners.
func (s *Structure) points() []r3.Vec {
	if s.Surface != nil {
		return s.Surface.Points
	}
	return s.Path
}
