package measure_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// What of a canal lies near no site is looked at, too: marked 2.5 mm beside the canal there, it is said of the whole case.
func TestCanalMarkedElsewhereFarFromEverySite(t *testing.T) {
	j := jawOf(1279, false)
	require.True(t, j.visible)
	for _, by := range []float64{0, 2.5} {
		d := newDraft(j)
		s, ok := j.siteAt(33, j.at(33), 1)
		require.True(t, ok)
		d.sites = append(d.sites, s)
		for i := range d.structures {
			if d.structures[i].Name != "left canal" {
				continue
			}
			for k, p := range d.structures[i].Path {
				if p.Y > s.at.Y+16 {
					d.structures[i].Path[k] = r3.Add(p, r3.Vec{Z: -by})
				}
			}
		}
		res, err := d.measure()
		require.NoError(t, err)
		said, ok := caution(res, "canal_elsewhere")
		assert.Equal(t, by > 0, ok, "%v", codes(res))
		assert.Empty(t, said.Site)
	}
}
