package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// Right plans with a hand's ordinary scatter: what they read must not be an alarm.

// rightKinds are the kinds of right plan: each changes what an ordinary one has, before the scatter; false
// where the jaw does not offer it.
var rightKinds = []struct {
	kind     string
	quadrant bool
	make     func(d *draft, r *rand.Rand) bool
}{
	{"ordinary", false, func(*draft, *rand.Rand) bool { return true }},
	{"quadrant scan", true, func(d *draft, _ *rand.Rand) bool { d.clip(); return true }},
	{"quadrant arch on a whole jaw", false, func(d *draft, _ *rand.Rand) bool { return d.halve() }},
	{"turned head", false, func(d *draft, r *rand.Rand) bool {
		d.head.turn = r3.NewRotation((40*r.Float64()-20)*math.Pi/180, r3.Vec{Z: 1})
		return true
	}},
	{"tilted head, occlusal direction given", false, func(d *draft, r *rand.Rand) bool {
		d.head.turn = r3.NewRotation((40*r.Float64()-20)*math.Pi/180, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		d.occlusal = true
		return true
	}},
	{"tilted head by up to 8°, no occlusal direction", false, func(d *draft, r *rand.Rand) bool {
		d.head.turn = r3.NewRotation((16*r.Float64()-8)*math.Pi/180, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64()})
		return true
	}},
	{"head off the centre", false, func(d *draft, r *rand.Rand) bool {
		d.head.shift = r3.Scale(60, r3.Vec{X: r.Float64() - 0.5, Y: r.Float64() - 0.5, Z: 4 * (r.Float64() - 0.5)})
		return true
	}},
	{"distal lean of 30 to 45°", false, func(d *draft, r *rand.Rand) bool { return d.leanDistally(r) }},
	{"several candidates for one tooth", false, func(d *draft, r *rand.Rand) bool { return d.candidates(r) }},
	{"sites between two teeth", false, func(d *draft, r *rand.Rand) bool { return d.between(r) }},
	{"quadrant scan, turned head", true, func(d *draft, r *rand.Rand) bool {
		d.clip()
		d.head.turn = r3.NewRotation((40*r.Float64()-20)*math.Pi/180, r3.Vec{Z: 1})
		return true
	}},
}

// rightDraft plans one to six sites with everything marked that they need.
func rightDraft(j *drawnJaw, r *rand.Rand) *draft {
	d := newDraft(j)
	open := slices.Clone(j.open)
	r.Shuffle(len(open), func(a, b int) { open[a], open[b] = open[b], open[a] })
	most := 1 + r.IntN(6)
	for _, tooth := range open {
		p := j.at(tooth)
		if len(d.sites) == most || !j.inField(p, 8) {
			continue
		}
		if s, ok := j.siteAt(tooth, p, 0.5+1.5*r.Float64()); ok && j.outOfBone(s.implant()) == 0 {
			d.sites = append(d.sites, s)
		}
	}
	if r.IntN(2) == 0 && j.centre == 0 {
		mid := j.along(0)
		d.midline = &mid
	}
	d.named = r.IntN(2) == 0
	return d
}

// thin leaves the arch and the canals as many points as a hand marks: every one to three of them.
func (d *draft) thin(r *rand.Rand) {
	every := func(n, all int) func(i int) bool {
		return func(i int) bool { return i%n != 0 && i != all-1 }
	}
	n := 1 + r.IntN(3)
	drop := every(n, len(d.arch))
	var arch []r3.Vec
	for i, p := range d.arch {
		if !drop(i) {
			arch = append(arch, p)
		}
	}
	if len(arch) >= 5 {
		d.arch = arch
	}
	for k := range d.structures {
		s := &d.structures[k]
		drop := every(n, len(s.Path))
		var path []r3.Vec
		var radius []float64
		for i, p := range s.Path {
			if s.Kind != "canal" || !drop(i) {
				path, radius = append(path, p), append(radius, s.Radius[i])
			}
		}
		s.Path, s.Radius = path, radius
	}
}

// clip leaves what the scan shows.
func (d *draft) clip() {
	in := func(p r3.Vec) bool { return d.jaw.inField(p, 1) }
	d.arch = slices.DeleteFunc(d.arch, func(p r3.Vec) bool { return !in(p) })
	for k := range d.structures {
		s := &d.structures[k]
		var path []r3.Vec
		var radius []float64
		for i, p := range s.Path {
			if in(p) {
				path, radius = append(path, p), append(radius, s.Radius[i])
			}
		}
		s.Path, s.Radius = path, radius
	}
	d.structures = slices.DeleteFunc(d.structures, func(s draftStructure) bool { return len(s.Path) == 0 })
}

// halve leaves one side of the arch, a little past the midline, and its sites.
func (d *draft) halve() bool {
	side := 1.0
	if d.sites[0].at.X < 0 {
		side = -1
	}
	d.arch = slices.DeleteFunc(d.arch, func(p r3.Vec) bool { return p.X*side < -6 })
	d.sites = slices.DeleteFunc(d.sites, func(s draftSite) bool { return s.at.X*side < 0 })
	d.midline = nil
	return len(d.sites) > 0
}

// leanDistally leans the last site's implant: its platform distal, its apex mesial, in the bone.
func (d *draft) leanDistally(r *rand.Rand) bool {
	slices.SortFunc(d.sites, func(a, b draftSite) int { return int(a.tooth[1]) - int(b.tooth[1]) })
	s := &d.sites[len(d.sites)-1]
	if n := s.tooth[1]; n < '4' || n > '6' {
		return false
	}
	sec, _ := d.jaw.made.SectionAt(s.at)
	mesial := r3.Cross(sec.Buccal, sec.Up)
	if mesial.Y > 0 {
		mesial = r3.Scale(-1, mesial)
	}
	lean := (30 + 15*r.Float64()) * math.Pi / 180
	s.axis = r3.Unit(r3.Add(r3.Scale(math.Cos(lean), s.axis), r3.Scale(math.Sin(lean), mesial)))
	s.length = math.Max(8, s.length)
	return d.jaw.outOfBone(s.implant()) == 0
}

// candidates adds one or two more sites for the first one's tooth, 0.5 to 2.5 mm along the arch.
func (d *draft) candidates(r *rand.Rand) bool {
	s := d.sites[0]
	sec, _ := d.jaw.made.SectionAt(s.at)
	for i := range 1 + r.IntN(2) {
		by := r3.Scale((0.5+2*r.Float64())*float64(1-2*i), r3.Cross(sec.Buccal, sec.Up))
		more, ok := d.jaw.siteAt(0, r3.Add(s.at, by), 0.5)
		if !ok {
			return false
		}
		more.tooth, more.id = s.tooth, fmt.Sprintf("%s-%c", s.tooth, 'b'+i)
		d.sites = append(d.sites, more)
	}
	return true
}

// between moves every site half-way toward the next tooth, of a number one more or less, under its own
// number or that one's.
func (d *draft) between(r *rand.Rand) bool {
	var kept []draftSite
	for _, s := range d.sites {
		var tooth int
		fmt.Sscan(s.tooth, &tooth)
		next := tooth + 1 - 2*r.IntN(2)
		if !slices.Contains(d.jaw.open, next) {
			continue
		}
		more, ok := d.jaw.siteAt(tooth, r3.Scale(0.5, r3.Add(d.jaw.at(tooth), d.jaw.at(next))), 0.5)
		if !ok || slices.ContainsFunc(kept, func(k draftSite) bool { return r3.Norm(r3.Sub(k.at, more.at)) < 7 }) {
			continue
		}
		if r.IntN(2) == 0 {
			more.tooth = fmt.Sprint(next)
		}
		if slices.ContainsFunc(kept, func(k draftSite) bool { return k.tooth == more.tooth }) {
			continue
		}
		kept = append(kept, more)
	}
	d.sites = kept
	return len(d.sites) > 0
}

// rightTally counts what right plans read, by kind.
type rightTally struct {
	plans, sites, alarms int // alarms: plans with an error, or a site not assessed
	rows, held           int // with a true distance of margin + 2·U and more
	heldWrongly, heldAll int // of the rows that read held, those whose true distance breaks the margin
	elsewhere, visible   int // canals called elsewhere; asked and visible
	codes                map[string]int
	why                  map[string]int
}

func TestRightPlansAreNoAlarm(t *testing.T) {
	n := campaignSize(t)
	r := rand.New(rand.NewPCG(campaignSeed(), 12))
	all, order := map[string]*rightTally{}, []string{}
	sum := &rightTally{codes: map[string]int{}, why: map[string]int{}}
	for i := 0; i < n; i++ {
		k := rightKinds[i%len(rightKinds)]
		if !picked(k.kind) {
			continue
		}
		var d *draft
		for range 20 {
			try := rightDraft(jawOf(anyJaw(r), k.quadrant), r)
			if len(try.sites) > 0 && k.make(try, r) {
				d = try
				break
			}
		}
		if d == nil {
			continue
		}
		d.thin(r)
		d.scatter(r, 0.3)
		if all[k.kind] == nil {
			all[k.kind] = &rightTally{codes: map[string]int{}, why: map[string]int{}}
			order = append(order, k.kind)
		}
		d.judgeRight(t, i, k.kind, []*rightTally{all[k.kind], sum})
	}
	for _, kind := range append(order, "all") {
		a := all[kind]
		if kind == "all" {
			a = sum
		}
		t.Logf("| %s | %d | %d | %d | %d | %.1f %% | %d of %d | %d of %d | %s |", kind, a.plans, a.sites, a.alarms, a.rows, 100*float64(a.held)/float64(max(a.rows, 1)),
			a.heldWrongly, a.heldAll, a.elsewhere, a.visible, (&tally{codes: a.codes}).words())
	}
	t.Logf("why: %s", (&tally{codes: sum.why}).words())
	assert.LessOrEqual(t, sum.alarms, sum.plans*2/100, "false errors and sites not assessed")
	assert.GreaterOrEqual(t, sum.held*100, sum.rows*95, "rows with a true distance of margin + 2·U that read held")
	assert.LessOrEqual(t, sum.elsewhere*100, sum.visible*2, "rightly marked, visible canals called elsewhere")
}

// judgeRight measures a right plan and counts what is said of it.
func (d *draft) judgeRight(t *testing.T, number int, kind string, to []*rightTally) {
	add := func(f func(a *rightTally)) {
		for _, a := range to {
			f(a)
		}
	}
	add(func(a *rightTally) { a.plans++; a.sites += len(d.sites) })
	alarm := func(format string, args ...any) {
		why := fmt.Sprintf(format, args...)
		add(func(a *rightTally) { a.alarms++ })
		t.Logf("ALARM: plan %d, %s, %s: %s", number, kind, d.jaw.name, why)
		if dir := os.Getenv("RIDGERULE_PLANS"); dir != "" {
			_ = os.WriteFile(fmt.Sprintf("%s/right%d.yaml", dir, number), d.write(), 0o644)
		}
	}
	res, err := d.measure()
	if err != nil {
		alarm("%v", err)
		return
	}
	for _, c := range res.Cautions {
		add(func(a *rightTally) { a.codes[c.Code]++ })
		if c.Code != "scan_not_named" && c.Code != "canal_not_shown" && c.Code != "place_not_checked" {
			t.Logf("said: plan %d, %s, %s: %s", number, kind, d.jaw.name, c.Line())
		}
		if c.Code == "canal_elsewhere" && d.jaw.visible {
			add(func(a *rightTally) { a.elsewhere++ })
		}
	}
	said := false
	for _, s := range res.Sites {
		if s.Verdict == measure.NotAssessed || s.Err != "" || slices.ContainsFunc(s.Rows, func(r measure.Row) bool { return r.Verdict == measure.NotAssessed }) {
			for _, row := range s.Rows {
				if row.Verdict == measure.NotAssessed && row.Kind == safety.Canal && d.besideForamen(s) {
					add(func(a *rightTally) { a.why["by the rule: an implant beside a foramen, no canal in its section"]++ })
				} else if row.Verdict == measure.NotAssessed {
					add(func(a *rightTally) { a.why[string(row.Quantity)+" "+row.To+": "+row.Note]++ })
					if !said {
						alarm("site %s: %s %s: %s", s.ID, row.Quantity, row.To, row.Note)
						said = true
					}
				}
			}
		}
		d.judgeRows(t, number, kind, s, add)
	}
}

// besideForamen reports whether a site stands so near to a true foramen along the arch that the rule leaves it
// open, where no canal crosses its section: its edge within the implant's radius, the margin and the hand's scatter.
func (d *draft) besideForamen(s measure.SiteResult) bool {
	im, ok := d.trueImplant(s)
	for _, f := range d.jaw.truth {
		if ok && f.Kind == safety.MentalForamen {
			sec, _ := d.jaw.made.SectionAt(im.Platform)
			along := r3.Cross(sec.Buccal, sec.Up)
			for _, p := range []r3.Vec{im.Platform, im.Apex(), r3.Add(im.Apex(), r3.Scale(2, im.Axis))} {
				if off := r3.Sub(f.Path[0], p); math.Abs(r3.Dot(off, along))-f.Radii[0] < im.Diameter/2+2+0.6 && r3.Norm(off) < 20 {
					return true
				}
			}
		}
	}
	return false
}

// judgeRows holds the rows of a site against the true distances.
func (d *draft) judgeRows(t *testing.T, number int, kind string, s measure.SiteResult, add func(func(*rightTally))) {
	im, ok := d.trueImplant(s)
	if !ok {
		return
	}
	for _, row := range s.Rows {
		if row.Quantity != "clearance" || row.Margin == nil || row.Value == nil {
			continue
		}
		distance, known := d.trueDistance(row.To, im)
		if !known {
			continue
		}
		if row.Kind == safety.Canal && d.jaw.visible && distance < 10 {
			add(func(a *rightTally) { a.visible++ })
		}
		if distance >= *row.Margin+2*row.Budget.U() {
			add(func(a *rightTally) { a.rows++ })
			if row.Verdict == measure.Held {
				add(func(a *rightTally) { a.held++ })
			} else {
				t.Logf("not held: plan %d, %s, %s, site %s: %s reads %s at %.2f ± %.2f, true %.2f: %s", number, kind, d.jaw.name, s.ID, row.To, row.Verdict, *row.Value, row.Budget.U(), distance, row.Note)
			}
		}
		if row.Verdict == measure.Held {
			add(func(a *rightTally) {
				a.heldAll++
				if distance < *row.Margin {
					a.heldWrongly++
				}
			})
			if distance < *row.Margin {
				t.Logf("held wrongly: plan %d, %s, %s, site %s: %s at %.2f ± %.2f, true %.2f", number, kind, d.jaw.name, s.ID, row.To, *row.Value, row.Budget.U(), distance)
			}
		}
	}
}

// trueDistance returns the distance of an implant from the true structure of that name, mm.
func (d *draft) trueDistance(name string, im safety.Implant) (float64, bool) {
	for _, s := range d.jaw.truth {
		if s.Name == name {
			g, err := solid.Distance(im, s)
			return g.Distance, err == nil
		}
	}
	return 0, false
}
