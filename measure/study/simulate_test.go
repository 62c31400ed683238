package study

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// marked is a plan with one of each mark, none at the origin.
func marked(t *testing.T) *plan.Plan {
	t.Helper()
	p, _, err := plan.Read("plan.yaml", []byte(`format: 1
case: wall
jaw: mandible
arch: {points: [[-18, 0, 20], [-6, 0.2, 20], [6, 0.2, 20], [18, 0, 20]]}
sites:
  - {tooth: "36", at: [10, 1, 20], crest: [10, 1, 21]}
structures:
  - {name: left canal, kind: canal, path: [[10, 0, 5], [0, 0, 5]], radius_mm: 1.5, sd_mm: 0.4}
`), nil)
	require.NoError(t, err)
	return p
}

// linear is a measurement of which everything is known: each number is a sum of marks' coordinates,
// and its budget says what scatter that gives.
func linear(_ context.Context, p *plan.Plan, o measure.Options) (*measure.Result, error) {
	number := func(q quantity.Name, value, placing float64) measure.Row {
		r := measure.Row{Quantity: q, Value: &value, Unit: "mm"}
		r.Budget = append(r.Budget, budgetOf("noise", 0.1)...)
		r.Budget = append(r.Budget, budgetOf("placing", placing)...)
		return r
	}
	s := p.Sites[0]
	place := s.At.Y + s.Crest.Z
	return &measure.Result{Case: p.Case, Sites: []measure.SiteResult{{ID: "36", Rows: []measure.Row{
		number("arch", p.Arch[0].X+p.Arch[1].Z, math.Sqrt2**o.PlacedBy),
		number("site", place, 0),
		number("mark", p.Structures[0].Path[1].Y, p.Structures[0].SD),
		number("still", 7, 0),
		{Quantity: "none", Unit: "mm"},
		verdict(place),
	}}}}, nil
}

// Closed form: the sum of two independent marks of SD s has SD s·√2. From n draws an SD is known to
// s/√(2n); four of those here.
func TestSimulatedSpreadOfASumOfMarks(t *testing.T) {
	const draws = 20_000
	arch, site := 0.3, 0.2
	s, err := Simulate(context.Background(), marked(t), SimulateOptions{Draws: draws, Seed: 1, Placement: Placement{Arch: &arch, Sites: &site}, Measure: linear})
	require.NoError(t, err)
	want := map[string]struct{ sd, placing float64 }{
		"arch": {0.3 * math.Sqrt2, 0.3 * math.Sqrt2}, "site": {0.2 * math.Sqrt2, 0}, "mark": {0.4, 0.4},
	}
	for _, r := range s.Rows[:3] {
		w := want[string(r.Quantity)]
		require.InDelta(t, w.sd, r.SD, 4*w.sd/math.Sqrt(2*draws), r.Quantity)
		require.InDelta(t, w.placing, r.Placement, 1e-9, r.Quantity)
		require.InDelta(t, r.Value, r.Mean, 4*w.sd/math.Sqrt(draws), r.Quantity)
		require.Equal(t, draws, r.N)
	}
	still, none, held := s.Rows[3], s.Rows[4], s.Rows[5]
	require.Zero(t, still.SD)
	require.True(t, math.IsNaN(none.Value) && none.N == 0 && math.IsNaN(none.SD))
	// clear where the place is above its plan's value: half of the draws, within 4 SD of a coin's.
	require.InDelta(t, 0.5, held.Kept, 4*0.5/math.Sqrt(draws))
}

func TestSimulationIsOfItsSeedAlone(t *testing.T) {
	run := func(o SimulateOptions) string {
		o.Draws, o.Measure = 50, linear
		s, err := Simulate(context.Background(), marked(t), o)
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, s.WriteCSV(&b))
		return b.String()
	}
	require.Equal(t, run(SimulateOptions{Seed: 3}), run(SimulateOptions{Seed: 3}))
	require.NotEqual(t, run(SimulateOptions{Seed: 3}), run(SimulateOptions{Seed: 4}))

	p, zero := marked(t), 0.0
	before := *p.Sites[0].At
	s, err := Simulate(context.Background(), p, SimulateOptions{Draws: 10, Measure: linear, Placement: Placement{&zero, &zero, &zero}})
	require.NoError(t, err)
	for _, r := range s.Rows[:4] {
		require.Zero(t, r.SD, "a hand that does not move moves nothing")
	}
	require.Equal(t, before, *p.Sites[0].At, "the plan is left as it is")
	require.Equal(t, r3.Vec{X: -18, Z: 20}, p.Arch[0])

	table, err := csv.NewReader(bytes.NewBufferString(run(SimulateOptions{}))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, simulationColumns, table[0])
	require.Len(t, table, 7)
}

// χ² with 9 degrees of freedom has its 2.5 and 97.5 % points at 2.700 and 19.023.
// Source: common practice, printed in the tables of any textbook (from memory).
func TestIntervalOfAStandardDeviation(t *testing.T) {
	low, high := sdInterval(1, 10)
	require.InDelta(t, math.Sqrt(9/19.023), low, 1e-4)
	require.InDelta(t, math.Sqrt(9/2.700), high, 1e-3)
}

func budgetOf(name string, sd float64) uncertainty.Budget {
	return uncertainty.Budget{{Name: name, Std: sd}}
}

func verdict(place float64) measure.Row {
	r := measure.Row{Quantity: "clearance", Value: &place, Unit: "mm", Verdict: safety.Held}
	if place < 22 {
		r.Verdict = safety.NotHeld
	}
	return r
}
