package change

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
)

// An implant of the second scan where the plan has none is said among the cautions, with its place; a planned one is not, nor is
// lost bone.
func TestMetalThatNobodyPlannedIsSaid(t *testing.T) {
	v := pair(t)
	placed, err := v.plan.Place(v.before.Volume.Grid, nil)
	require.NoError(t, err)
	first, err := measure.Run(context.Background(), v.before.Volume, placed, v.before.Facts, measure.Options{})
	require.NoError(t, err)
	planned := v.jaw.Places(3)
	stray := planned[0]
	arch := v.jaw.Plan().Arch
	stray.Platform = r3.Add(arch[len(arch)/2], r3.Vec{Z: -3}) // the front of the arch, far from both sites
	for name, c := range map[string]struct {
		implants []phantom.Placed
		want     int
	}{"none": {nil, 0}, "planned alone": {planned, 0}, "and one more": {append([]phantom.Placed{stray}, planned...), 1}} {
		after := v.after
		if c.implants != nil {
			visit := theVisit()
			visit.Implants, visit.Artefacts = c.implants, phantom.Artefacts{Streaks: 100, Bloom: 0.2, Top: 3500}
			again, err := v.jaw.Again(visit)
			require.NoError(t, err)
			after.Volume, err = again.Volume(context.Background(), nil)
			require.NoError(t, err)
		}
		both := &comparison{before: v.before, after: after, file: v.file, t: v.file.Transform, placed: placed, first: first, second: first}
		both.metal = both.newMetal()
		said := both.cautions()
		said = slices.DeleteFunc(said, func(s string) bool { return !strings.Contains(s, "as bright as metal") })
		require.Len(t, said, c.want, name)
		if c.want == 1 {
			require.Contains(t, said[0], "where the plan has no implant")
			var x, y, z float64
			_, err := fmt.Sscanf(said[0][strings.Index(said[0], "(")+1:], "%f, %f, %f", &x, &y, &z)
			require.NoError(t, err)
			middle := r3.Add(stray.Platform, r3.Scale(stray.Length/2, stray.Axis))
			require.Less(t, r3.Norm(r3.Sub(r3.Vec{X: x, Y: y, Z: z}, middle)), 2.0)
		}
	}
}
