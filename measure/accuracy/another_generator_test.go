// Jaws of another generator: how they are drawn, rendered and truly measured was written from
// docs/method.md alone and shares no code with measure/phantom or measure/ridge, so that a fault which
// phantom and measuring have in common shows.
//
// A jaw is a smooth outline with plates of changing thickness, with a canal or a sinus, textured marrow
// and mucosa, on a straight or a bent arch, in an oblique grid. Its truth is read off the curves it is drawn
// from. Every range and grey level is our choice. A jaw's number is its seed.
//
//	r2.Vec  (u, v)     section: +u buccal, +v coronal; mm from the site
//	s                  along the arch from the site; mm
//	r3.Vec  (x, y, z)  patient, LPS; mm
package accuracy_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/accuracy"
	"ridgerule/measure/plan"
)

// A number is held to 3 U of its own, six standard uncertainties, so that a worse scan needs no other
// limit. Under it lies a floor, lest the test ask more of a very small U than that U knows: half a voxel of
// 0.3 mm for a width; twice that for a height, whose far end is softer. Our choice, not fitted to what
// comes out: edges that lie 0.1 mm too far out fail.
const (
	limitU      = 3.0
	floorWidth  = 0.15 // mm
	floorHeight = 0.3  // mm
)

// Three jaws whose heights end at the border, at a sinus and at a canal, on a clean scan; with
// RIDGERULE_ANOTHER set, the table of that many jaws at two kinds of scan instead:
//
//	RIDGERULE_ANOTHER=40 go test -run AnotherGenerator -v -timeout 2h ./measure/accuracy
func TestAnotherGenerator(t *testing.T) {
	if n, _ := strconv.Atoi(os.Getenv("RIDGERULE_ANOTHER")); n > 0 {
		tableOfJaws(t, n)
		return
	}
	for _, n := range []uint64{3, 4, 5} {
		errs, lost := oneJaw(t, n, accuracy.Cell{Voxel: 0.3, Blur: 0.22, Noise: 50}, 0.15)
		require.Empty(t, lost, "jaw %d", n)
		for _, e := range errs {
			checkError(t, e)
		}
	}
}

// checkError fails for a width or a height that is off, or withheld on so clean a scan.
func checkError(t *testing.T, e accuracy.Error) {
	t.Helper()
	floor := floorHeight
	switch {
	case e.Quantity == "ridge_width at 3–10 mm":
		floor = floorWidth
	case !strings.HasPrefix(e.Quantity, "ridge_height"):
		return
	}
	if !(math.Abs(e.Error) <= max(floor, limitU*e.U)) {
		t.Errorf("jaw %d: %s (depth %g mm) is off by %.3f mm (U %.3f mm, %q), want at most %.3g mm or %g U",
			e.Seed, e.Quantity, e.At, e.Error, e.U, e.Why, floor, limitU)
	}
}

// tableOfJaws logs bias, spread and coverage over n jaws.
func tableOfJaws(t *testing.T, n int) {
	var all []accuracy.Error
	for _, cell := range []accuracy.Cell{{Voxel: 0.2, Blur: 0.2, Noise: 50}, {Voxel: 0.4, Blur: 0.3, Noise: 100}} {
		for i := range uint64(n) {
			errs, lost := oneJaw(t, i, cell, 0.067)
			if lost != "" {
				t.Logf("jaw %d, voxel %g mm: site lost: %s", i, cell.Voxel, lost)
			}
			all = append(all, errs...)
		}
	}
	var b bytes.Buffer
	title := fmt.Sprintf("Another generator, %d jaws; scans: voxel mm / blur mm / noise", n)
	require.NoError(t, accuracy.Markdown(&b, title, accuracy.Summarise(all, func(c accuracy.Cell) string {
		return fmt.Sprintf("%g/%g/%g", c.Voxel, c.Blur, c.Noise)
	})))
	t.Logf("%s", b.String())
}

// oneJaw draws, renders and measures jaw number n, its ideal image made of cells of at most fine mm.
// lost says why the site could not be measured.
func oneJaw(t *testing.T, n uint64, cell accuracy.Cell, fine float64) (errs []accuracy.Error, lost string) {
	rng := rand.New(rand.NewPCG(1, n))
	j, ok := drawJaw(rng)
	for !ok {
		j, ok = drawJaw(rng)
	}
	v, err := j.scan(rng, cell, fine)
	require.NoError(t, err)
	p, source, err := plan.Read("plan.yaml", j.plan(), nil)
	require.NoError(t, err)
	placed, err := p.Place(v.Grid, source)
	require.NoError(t, err)
	r, err := measure.Run(context.Background(), v, placed, measure.Scan{}, measure.Options{})
	require.NoError(t, err)
	c := comparison{jaw: j, site: &r.Sites[0], blank: accuracy.Error{At: math.NaN(), Error: math.NaN(), Cell: cell, Seed: n}}
	return c.errors(), r.Sites[0].Err
}
