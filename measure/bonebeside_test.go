package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/safety"
)

// besideTally counts rows of the bone beside implants against the truth in the section of the true arch.
type besideTally struct {
	rows, none, covered int
	least, leastCovered int // of them, those over the whole length
	held, under         int // rows held; rows whose truth lies under the margin by U at most
	wrong, wrongly      int // of those, held; held though the truth is under the margin by more than U/2 + 0.02 mm
}

// The bone beside implants that lean up to 30° along the arch and stand up to a millimetre off the ridge's axis, under
// the hand of 0.3 mm: U covers as it says, and held is rarely wrong.
func TestBoneBesideImplantsIsAsUncertainAsItSays(t *testing.T) {
	plans := campaignSize(t)
	r := rand.New(rand.NewPCG(campaignSeed(), 13))
	var a besideTally
	for n := range plans {
		j := jawOf(100_000+40*int(campaignSeed())+n%40, false)
		d := newDraft(j)
		for _, tooth := range j.open {
			if s, ok := j.siteAt(tooth, j.at(tooth), 1); ok && r.IntN(2) == 0 {
				d.sites = append(d.sites, j.leaning(s, r))
			}
		}
		if len(d.sites) == 0 {
			continue
		}
		d.scatter(r, 0.3)
		res, err := d.measure()
		if err != nil {
			t.Logf("plan %d, %s: %v", n, j.name, err)
			continue
		}
		for _, s := range res.Sites {
			j.judgeBeside(t, s, &a)
		}
	}
	t.Logf("%d rows, %d without a number; covered %.1f %%; least over the length %d, covered %.1f %%; held %d, under the margin within U %d, of them held %d, worse %d",
		a.rows, a.none, 100*float64(a.covered)/float64(a.rows), a.least, 100*float64(a.leastCovered)/float64(a.least), a.held, a.under, a.wrong, a.wrongly)
	share, sd := float64(a.covered)/float64(a.rows), math.Sqrt(0.95*0.05/float64(a.rows))
	assert.InDelta(t, 0.95, share, 0.02+2*sd)
	assert.Zero(t, a.wrongly)
	assert.LessOrEqual(t, float64(a.wrong), 0.025*float64(a.under)+2*math.Sqrt(0.025*float64(a.under)))
}

// leaning moves a site's implant off the ridge's axis and leans it, in the section and along the arch.
func (j *drawnJaw) leaning(s draftSite, r *rand.Rand) draftSite {
	sec, _ := j.made.SectionAt(s.at)
	along := r3.Cross(sec.Buccal, sec.Up)
	s.platform = r3.Add(s.platform, r3.Scale(2*r.Float64()-1, sec.Buccal))
	lean := func(dir r3.Vec, most float64) r3.Vec {
		return r3.Scale(math.Tan((2*r.Float64()-1)*most*math.Pi/180), dir)
	}
	s.axis = r3.Unit(r3.Add(s.axis, r3.Add(lean(sec.Buccal, 8), lean(along, 30))))
	s.diameter = 3 + 1.5*r.Float64()
	return s
}

// judgeBeside holds a site's rows of the bone beside its implant against the truth.
func (j *drawnJaw) judgeBeside(t *testing.T, s measure.SiteResult, a *besideTally) {
	if s.Implant == nil || len(j.breaches(*s.Implant)) > 0 { // in a canal or a sinus there is no bone beside it
		return
	}
	for _, row := range s.Rows {
		if row.Quantity != "buccal_bone" && row.Quantity != "lingual_bone" {
			continue
		}
		want, known := j.boneBeside(*s.Implant, row.At, row.Quantity == "buccal_bone")
		if !known || want < 0 {
			continue
		}
		if row.Value == nil {
			a.none++
			continue
		}
		a.rows++
		u, off := row.Budget.U(), *row.Value-want
		if math.Abs(off) <= u {
			a.covered++
		} else if math.Abs(off) > 2*u {
			t.Logf("%s, site %s: %s %v reads %.3f ± %.3f, true %.3f", j.name, s.ID, row.Quantity, depthOf(row), *row.Value, u, want)
		}
		if row.At == nil {
			a.least++
			if math.Abs(off) <= u {
				a.leastCovered++
			}
		}
		held, under := row.Verdict == measure.Held, *row.Margin-want
		if held {
			a.held++
		}
		if under > 0 && under <= u {
			a.under++
			if held {
				a.wrong++
			}
		}
		if held && under > u/2+0.02 {
			a.wrongly++
			t.Logf("held wrongly: %s, site %s: %s %v reads %.3f ± %.3f, true %.3f", j.name, s.ID, row.Quantity, depthOf(row), *row.Value, u, want)
		}
	}
}

func depthOf(row measure.Row) any {
	if row.At == nil {
		return "least"
	}
	return *row.At
}

// boneBeside is the true bone beside an implant at a depth, or the least over its whole length, mm; not known where the
// implant stands in a sinus.
func (j *drawnJaw) boneBeside(im safety.Implant, depth *float64, buccal bool) (float64, bool) {
	side := func(d float64) (float64, bool) {
		q := r3.Add(im.Platform, r3.Scale(d, im.Axis))
		if j.made.Grey(q) < 0 {
			return 0, false
		}
		sec, _ := j.made.SectionAt(q)
		lingual, outer, known := j.beside(sec, q, im.Axis)
		if !buccal {
			outer = lingual
		}
		return outer - im.Diameter/2, known
	}
	if depth != nil {
		return side(*depth)
	}
	least := math.Inf(1)
	for d := 0.0; d <= im.Length; d += 0.1 {
		x, known := side(d)
		if !known {
			return 0, false
		}
		least = min(least, x)
	}
	return least, true
}
