package repeat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Clusters are subjects that do not stand alone, as the sites of a case: what errs in one errs in its
// neighbours. The intervals of the figures suppose subjects that are independent; these do not.
type Clusters struct {
	Of     string `json:"of"`     // the column that holds them
	Number int    `json:"number"` // of clusters
	Draws  int    `json:"draws"`  // of the bootstrap; 0 where there are too few clusters

	// Intervals of the figures by [CSVColumns]' key. Those that hold for any raters are not in it: cases drawn
	// anew say nothing of raters drawn anew. Of a large unequal table it has those of raters and pairs alone.
	Intervals map[string]Interval `json:"intervals"`
}

const (
	mostDraws   = 999 // an end of a 95 % interval is then the 25th from its side
	leastDraws  = 199 // of tables so large that more would take minutes
	drawnInAll  = 20_000_000
	largeREML   = 2000 // readings of an unequal table from which REML in every draw would take minutes
	fewClusters = 8    // from fewer a bootstrap says nothing; our choice
)

// newClusters draws whole clusters with replacement and takes the figures each time; nil where every subject
// stands alone. The same table gives the same draws. The interval is from the quantile Φ(2z₀ − z) to Φ(2z₀ + z):
// z₀ takes off that a figure of drawn clusters is too low or too high as a rule, and z of C clusters is what a
// mean of them needs:
//
//	z₀ = Φ⁻¹(share of the draws below the figure)    z = t(1−α/2; C−1)·√(C/(C−1))
//
// Source: Efron B. Can J Stat 1981;9:139–158 (bias correction; from memory); Hesterberg TC. Am Stat
// 2015;69:371–386 (expansion; from memory). Coverage in TestClusterIntervalsCover.
func newClusters(g *grid, s settings) *Clusters {
	members := map[string][]int{}
	for i, c := range g.cluster {
		members[c] = append(members[c], i)
	}
	if g.clusterOf == "" || len(members) == len(g.cell) {
		return nil
	}
	c := &Clusters{Of: g.clusterOf, Number: len(members), Intervals: map[string]Interval{}}
	if c.Number < fewClusters {
		return c
	}
	pairs := len(g.Raters) * (len(g.Raters) - 1) / 2
	c.Draws = min(mostDraws, max(leastDraws, drawnInAll/(g.Readings+50*pairs)))
	s.pairsOnly = g.Model == TwoWayUnequal && g.Readings > largeREML
	found := map[string][]float64{}
	s.bare = true
	rng := rand.New(rand.NewPCG(uint64(len(g.cell)), uint64(c.Number)))
	names := slices.Compact(slices.Sorted(slices.Values(g.cluster)))
	for range c.Draws {
		drawn := *g
		drawn.cell = nil
		for range names {
			for _, i := range members[names[rng.IntN(len(names))]] {
				drawn.cell = append(drawn.cell, g.cell[i])
			}
		}
		for _, x := range compare(&drawn, s).rows() {
			if x.Value.Known() && (!x.anyRater || g.Sessions) {
				found[x.key()] = append(found[x.key()], float64(x.Value))
			}
		}
	}
	n := float64(c.Number)
	z := tQuantile(1-s.tail(), n-1) * math.Sqrt(n/(n-1))
	for _, x := range compare(g, s).rows() {
		if values := found[x.key()]; len(values) > c.Draws*9/10 {
			slices.Sort(values)
			below, _ := slices.BinarySearch(values, float64(x.Value))
			z0 := normalQuantile((float64(below) + 0.5) / float64(len(values)+1))
			c.Intervals[x.key()] = pairOf(at(values, normalCDF(2*z0-z)), at(values, normalCDF(2*z0+z)))
		}
	}
	return c
}

// at is the quantile p of sorted values, in their unit.
func at(values []float64, p float64) float64 {
	i := int(math.Round(p*float64(len(values)+1))) - 1
	return values[min(max(i, 0), len(values)-1)]
}

// note says what clusters do to the intervals.
func (c *Clusters) note(subjects int) string {
	text := fmt.Sprintf("The %s are of %d clusters (%s), and the intervals suppose subjects that are independent: ", plural(subjects, "subject"), c.Number, c.Of)
	if c.Draws == 0 {
		return text + fmt.Sprintf("they may be too narrow, and a bootstrap needs %d clusters or more.", fewClusters)
	}
	return text + "those by bootstrap of whole clusters (cluster_low, cluster_high) are to be read instead; p values suppose independence too. What is said of any rater has none."
}
