package align

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// leastRepeats is how many recordings a repeatability needs: the workflow of docs/positions.md. Two would tell a spread
// too, with half the degrees of freedom.
const leastRepeats = 3

// Repeats says how well repeated recordings of the same implants agree. It is no uncertainty for a budget: what all
// recordings have wrong alike is not in it.
type Repeats struct {
	Recordings int
	SD         float64            // of one coordinate of one platform, mm
	Freedom    int                // its degrees of freedom
	Implants   map[string]float64 // root mean square distance of each platform from its mean place, all recordings best fitted to the first, mm
}

// repeated fits each recording to the first and asks how far the platforms scatter about their means.
//
// Each fit takes 6 degrees of freedom, and each mean place 3: of m recordings of n implants (m − 1)(3n − 6) are left.
func repeated(sets []Set) (*Repeats, error) {
	if len(sets) < leastRepeats {
		return nil, fmt.Errorf("%w: %d recordings tell no repeatability, at least %d are needed", ErrPoints, len(sets), leastRepeats)
	}
	first := sets[0].Positions
	n := len(first)
	all := make([][]r3.Vec, n)
	for k, s := range sets {
		from, to, only := common(Set{Positions: first}, s)
		if len(only) > 0 {
			return nil, fmt.Errorf("%w: recording %d does not have the same implants as the first: %v", ErrPoints, k+1, only)
		}
		f, err := FitPoints(places(to), places(from))
		if err != nil {
			return nil, fmt.Errorf("recording %d: %w", k+1, err)
		}
		for i := range to {
			all[i] = append(all[i], f.Apply(to[i].At))
		}
	}
	out := &Repeats{Recordings: len(sets), Freedom: (len(sets) - 1) * (3*n - 6), Implants: map[string]float64{}}
	total := 0.0
	for i, list := range all {
		c, sum := centroid(list), 0.0
		for _, p := range list {
			sum += r3.Norm2(r3.Sub(p, c))
		}
		out.Implants[first[i].Name] = math.Sqrt(sum / float64(len(list)-1))
		total += sum
	}
	out.SD = math.Sqrt(total / float64(out.Freedom))
	return out, nil
}
