package repeat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// siteTable draws cases of three sites by two readers; half of the variance of a difference, 0.25 + 0.25, is the
// case's.
func siteTable(r *rand.Rand, cases int) *Table {
	t := &Table{Value: "value", Unit: "mm", Cluster: "case"}
	for i := range cases {
		shift := 0.5 * r.NormFloat64()
		for j := range 3 {
			size, c := 10+2*r.NormFloat64(), fmt.Sprint(i)
			t.Readings = append(t.Readings, Reading{Subject: c + joint + fmt.Sprint(j), Rater: "A", Cluster: c, Value: size + shift + 0.5*r.NormFloat64()},
				Reading{Subject: c + joint + fmt.Sprint(j), Rater: "B", Cluster: c, Value: size})
		}
	}
	return t
}

// The truth is a bias of 0, an SD of √0.5, limits of ±1.96·√0.5. The intervals that suppose independent sites fall
// short of 95 %; those by whole cases hold it to 4 %, and the noise of so few trials.
func TestClusterIntervalsCover(t *testing.T) {
	const trials = 60
	r := rand.New(rand.NewPCG(21, 22))
	truth := map[string]float64{"bias:A − B": 0, "sd_of_difference:A − B": math.Sqrt(0.5), "upper_limit:A − B": 1.96 * math.Sqrt(0.5)}
	by, naive := map[string]int{}, 0
	for range trials {
		res, err := Analyse(siteTable(r, 20), Options{})
		require.NoError(t, err)
		for key, want := range truth {
			if holds(res.Clusters.Intervals[key], want) {
				by[key]++
			}
		}
		if holds(res.Pairs[0].Bias.Interval, 0) {
			naive++
		}
	}
	t.Logf("by case %v, bias by site %d, of %d", by, naive, trials)
	for key := range truth {
		assert.GreaterOrEqual(t, float64(by[key])/trials, 0.91-2*math.Sqrt(0.05*0.95/trials), key)
	}
	assert.Less(t, float64(naive)/trials, 0.90, "sites taken as independent")
}

func TestClustersAreSaid(t *testing.T) {
	const head = "case,site,reader,value,unit\n"
	table := func(cases int) string {
		var b strings.Builder
		b.WriteString(head)
		for i := range cases * 4 {
			fmt.Fprintf(&b, "c%d,%d,%c,%d,mm\n", i/4, 36+i/2%2, 'A'+i%2, i*i%11)
		}
		return b.String()
	}
	of := func(text string, c Columns) *Result {
		c.Rater, c.Value = "reader", "value"
		r, err := Agree(strings.NewReader(text), c, Options{})
		require.NoError(t, err)
		return r
	}
	sites := Columns{Subject: []string{"site", "case"}}
	r := of(table(10), sites)
	require.Equal(t, 10, r.Clusters.Number)
	assert.Equal(t, "case", r.Clusters.Of)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "The 20 subjects are of 10 clusters (case)")
	assert.NotContains(t, r.Clusters.Intervals, "minimal_detectable_change:all", "cases say nothing of other raters")
	assert.Contains(t, r.Clusters.Intervals, "minimal_detectable_change_same_rater:all")
	for key, i := range r.Clusters.Intervals {
		assert.LessOrEqual(t, i.Low, i.High, key)
	}
	r = of(table(7), sites)
	assert.Zero(t, r.Clusters.Draws)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "a bootstrap needs 8 clusters or more")
	assert.Nil(t, of(head+"a,1,A,1,mm\na,1,B,2,mm\nb,1,A,1,mm\nb,1,B,3,mm\nc,1,A,2,mm\nc,1,B,5,mm\n", sites).Clusters, "one site a case")

	_, err := Agree(strings.NewReader(table(10)), Columns{Subject: []string{"case", "site"}, Rater: "reader", Value: "value", Cluster: "reader"}, Options{})
	require.ErrorContains(t, err, `line 3, column "reader": "B", but a reading of the same subject before is of "A"`)
}
