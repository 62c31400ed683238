package measure

import (
	"context"

	"ridgerule/measure/fault"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// The series is estimated from stations of the arch and never from the plan's sites: a site added, removed or
// moved changes no other site's numbers.

// stationStep is how far apart the stations lie, mm, and mostStations how many there are at most: a longer
// arch has them farther apart. Our choice: two lie closer together than two teeth, and the arch of a jaw
// has some thirty.
const (
	stationStep  = 4.0
	mostStations = 32
)

// stations returns the arc lengths of the stations, mm: evenly along the arch, whatever the plan's sites
// are, and the same places from either end.
func (c *run) stations() []float64 {
	length := c.curve.Length()
	arcs := make([]float64, max(1, min(mostStations, int(length/stationStep))))
	for i := range arcs {
		arcs[i] = length * (float64(i) + 0.5) / float64(len(arcs))
	}
	return arcs
}

// estimate reads what the series has in common off the stations. A panic, a fault of ours, stays with its
// station, which then tells nothing, and is said.
func (c *run) estimate(ctx context.Context) (*seriesModel, error) {
	arcs := c.stations()
	seen, faults := make([]ridge.Station, len(arcs)), make([]string, len(arcs))
	err := each(ctx, len(arcs), func(i int) {
		defer func() {
			if p := recover(); p != nil {
				faults[i] = fault.Sentence(p)
			}
		}()
		seen[i] = ridge.NewStation(reformat.NewField(c.v, c.curve.Frame(arcs[i])))
	})
	if err != nil {
		return nil, err
	}
	l := &seriesModel{}
	for i, said := range faults {
		if said != "" {
			l.said = append(l.said, Cautionf("internal_fault", SeverityCaution, "at %.1f mm of the arch: %s", arcs[i], said))
		}
	}
	l.tissue = ridge.EstimateImage(seen)
	for _, text := range l.tissue.Cautions() {
		l.said = append(l.said, Cautionf("series_not_learnt", SeverityCaution, "%s", text))
	}
	l.motion = ridge.Motion(seen, c.plan.Jaw == Mandible)
	l.sections = newSections(c.v, c.curve, l.tissue)
	return l, nil
}
