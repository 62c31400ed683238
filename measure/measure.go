// Package measure takes a volume and a site plan and returns a [Result]: the whole way from grey
// values to verdicts, in [Run], which is the function to read first.
//
// Frames: points of the plan and the result are patient LPS (r3.Vec, mm) or section (reformat.UV,
// mm); the package's only grey values are in the volume it is given.
package measure

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/cells"
	"ridgerule/measure/fault"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/trace"
)

// Options tune a run; the zero value is ready.
type Options struct {
	Progress func(done, total int) // called after each site, from one goroutine at a time; nil: silent
	PlacedBy *float64              // standard uncertainty of the arch points, mm; nil: the plan's
	Other    bool                  // measure another scan than the plan names, with a caution
	Cautions []Caution             // what the caller knows of the case, carried into the result
	Cache    *Cache                // keeps what the series tells, and its sites, for the next run; nil: nothing is kept
}

// Run measures the sites of plan p, which is placed on the grid of volume v. scan says what v is; it is carried into
// the result. Nothing that Run is given is changed.
//
// A site that cannot be measured carries its reason in the result; Run itself fails for a plan made on another scan
// ([plan.Errors]) or placed on another grid, a structure that is no body ([solid.ErrBody]) and a cancelled context.
func Run(ctx context.Context, v *volume.Volume, p *plan.Placed, scan Scan, opt Options) (*Result, error) {
	if p.Grid() != v.Grid {
		return nil, fmt.Errorf("measure: %s is placed on another grid than the volume's", p.Path)
	}
	doubts := p.Doubts()
	if err := doubts.Add(p.CheckMadeFor(plan.MadeFor{Series: scan.SeriesHash, Frame: scan.FrameHash}, opt.Other)...); err != nil {
		return nil, err
	}
	rules, err := safety.Margins().With(p.Margins, p.MarginsSource)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.Path, err)
	}
	scene, err := safety.NewScene(p.Structures)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.Path, err)
	}
	c := &run{plan: p, v: v, beyond: map[string]trace.Answer{}, curve: p.Curve, marks: p.Landmarks, rules: rules, scene: scene,
		placed: placedBy(p, opt), voxel: v.Spacing(), doubts: doubts, said: opt.Cautions, teeth: plannedTeeth(p.Restoration), scanHash: scan.SeriesHash}
	l, err := opt.Cache.of(ctx, c)
	if err != nil {
		return nil, err
	}
	c.take(l)
	known := opt.Cache.recall(c)
	sites, err := c.trace(ctx, v, known)
	if err != nil {
		return nil, err
	}
	if err := c.measure(ctx, sites, known, opt.Progress); err != nil {
		return nil, err
	}
	opt.Cache.remember(c, sites, known)
	return c.result(sites, scan), nil
}

// run is what the sites of one case share.
type run struct {
	plan          *plan.Placed
	v             *volume.Volume
	curve         *reformat.Curve
	marks         plan.Landmarks
	sections      *sections
	doubts        *plan.Doubts
	rules         safety.Rules
	scene         *safety.Scene
	placed        float64 // standard uncertainty of the arch points, mm
	tissue        ridge.ImageModel
	beyond        map[string]trace.Answer // what the image shows, by name, of the canals where they concern no site
	said          []Caution               // of the case by the caller
	modelCautions []Caution               // about what the series tells of itself
	voxel         [3]float64              // mm
	teeth         []tooth                 // planned
	scanHash      string                  // of the series that is measured; "": not known
}

// placedBy returns the standard uncertainty of the plan's arch points, in mm.
func placedBy(p *plan.Placed, opt Options) float64 {
	if opt.PlacedBy != nil {
		return *opt.PlacedBy
	}
	return p.PlacedSD
}

// placementAt turns the scatter of hand-drawn arch points into what the section at arc length s feels:
// its place along the arch, and its direction, which the points around it set. The points of an arch
// are drawn on one plane, so that the section does not lean.
func (c *run) placementAt(s float64) ridge.Placement {
	return ridge.Placement{Position: c.placed, Rotation: c.placed * c.curve.TangentSpread(s), Scale: c.plan.ScaleHalfWidth}
}

// placementFor is what the hand that drew the arch does to the bone beside an implant of this site, at an arc
// length: one that the plan places stands where it stands, and only the section's direction moves.
func (c *run) placementFor(s *site, arc float64) ridge.Placement {
	h := c.placementAt(arc)
	if s.plan.Implant != nil && s.plan.Implant.Platform != nil {
		h.Position = 0
	}
	return h
}

// site is one site on its way through a run.
type site struct {
	index     int // in the plan
	plan      plan.Site
	frame     reformat.Frame
	ridge     *ridge.Ridge // nil: no bone was outlined
	axis      ridge.Axis
	placement ridge.Placement
	height    height
	cut       *cut      // nil: the crest is not levelled
	stands    platform  // of an implant without one of its own
	implants  *standing // what answers for them, once asked
	cavity    *cavity   // found over it, once asked for
	doubts    []doubt   // found in the image
	shown     []string  // names of the canals that the image shows at their mark here
	out       SiteResult
}

// trace outlines the bone of every site but those that are known.
func (c *run) trace(ctx context.Context, v *volume.Volume, known []*site) ([]*site, error) {
	sites := slices.Clone(known)
	return sites, each(ctx, len(sites), func(i int) {
		if known[i] != nil {
			return
		}
		s := &site{index: i, plan: c.plan.Sites[i]}
		sites[i] = s
		defer c.recovered(s)
		s.frame = c.curve.Frame(c.arc(s.plan))
		s.placement = c.placementAt(s.frame.Arc)
		s.out = SiteResult{ID: s.plan.ID, Tooth: s.plan.Tooth, Side: c.marks.Side(s.frame.Arc), Name: nameOf(s.plan.Tooth, c.marks.Side(s.frame.Arc)), Frame: s.frame, AxisFrom: s.plan.Axis}
		o, err := ridge.Trace(reformat.NewField(v, s.frame), c.tissue)
		if err != nil {
			s.out.Err = plain(err)
			return
		}
		s.ridge = o.Weigh()
	})
}

// arc returns a site's arc length, in mm.
func (c *run) arc(s plan.Site) float64 { return plan.SiteArc(c.curve, s) }

// measure measures every site but those that are known; what fails stays with its site.
func (c *run) measure(ctx context.Context, sites, known []*site, progress func(done, total int)) error {
	done := make(chan struct{}, len(sites))
	var told errgroup.Group
	told.Go(func() error {
		for n := 1; n <= len(sites); n++ {
			if _, more := <-done; !more {
				return nil
			}
			if progress != nil {
				progress(n, len(sites))
			}
		}
		return nil
	})
	err := each(ctx, len(sites), func(i int) {
		if known[i] == nil {
			c.measureSite(sites[i])
		}
		done <- struct{}{}
	})
	close(done)
	_ = told.Wait()
	return err
}

// measureSite measures one site. A panic, a fault of ours, stays with it: the other sites' numbers are not
// lost.
func (c *run) measureSite(s *site) {
	defer c.recovered(s)
	c.site(s)
}

// recovered turns a panic into the site's error, with an empty row for every number that it was asked for.
func (c *run) recovered(s *site) {
	panicked := recover()
	if panicked == nil {
		return
	}
	s.ridge, s.doubts, s.shown = nil, nil, nil
	s.out.Err = fault.Sentence(panicked)
	s.out.Rows, s.out.Findings, s.out.Implant = nil, nil, nil
	for _, r := range c.asked(s) {
		r.Note = s.out.Err
		if r.Quantity == quantity.RidgeHeight {
			r.Verdict = safety.NotAssessed
		}
		s.add(r)
	}
	if s.plan.Implant != nil {
		s.hold(c.unplaced(s.out.Err))
		c.boneFailed(s, s.out.Err)
	}
}

// each calls do(0…n−1) on as many goroutines as there are processors, until ctx is done.
func each(ctx context.Context, n int, do func(i int)) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			do(i)
			return nil
		})
	}
	return g.Wait()
}

// result gathers the sites, the arch and the facts.
func (c *run) result(sites []*site, scan Scan) *Result {
	scan.Blur, scan.Noise = math.NaN(), math.NaN()
	if c.tissue.Edges > 0 {
		scan.Blur, scan.Noise = c.tissue.Blur, c.tissue.Noise
	}
	cautions := slices.Concat(scan.Cautions, c.said, coarse(c.v.Grid, scan.Cautions), c.modelCautions)
	if c.curve.Straight() {
		cautions = append(cautions, Cautionf("arch_straight", SeverityCaution, "the arch points lie on a straight line: buccal was taken as away from the midline, or forward; check it on the pictures"))
	}
	r := &Result{Case: c.plan.Case, Jaw: c.plan.Jaw, Occlusal: c.plan.Occlusal, OcclusalFrom: c.plan.OcclusalFrom,
		OrientationNote: c.plan.OrientationNote, Structures: c.plan.Structures, Margins: c.namedRules(), Scan: scan,
		Plan: PlanFacts{c.plan.SHA256, reviewed(c.plan, scan.SeriesHash)}, ScaleHalfWidth: c.plan.ScaleHalfWidth}
	r.Arch = c.arch(sites)
	seen := c.bodyDoubts(sites)
	for _, s := range sites {
		seen = append(seen, s.doubts...)
	}
	seen = slices.Concat(c.frameDoubt(seen), seen, c.sharedSlip(sites, seen), c.archDoubts())
	_ = c.doubts.Add(seen...) // what the image shows is a caution, never an error
	c.doubts.AddIdle(true)
	c.applyDoubts(sites, r.Arch.Rows, c.doubts.All())
	r.Cautions = once(slices.Concat(cautions, c.doubts.Cautions()))
	for _, s := range sites {
		s.out.Rows = ordered(s.out.Rows)
		s.out.Verdict = worst(s.out.Rows)
		s.out.Notes = s.notes()
		for _, n := range s.out.Notes {
			s.out.Note = cells.Note(s.out.Note, n.Text)
		}
		r.Sites = append(r.Sites, s.out)
	}
	return r
}

// once returns the cautions without those that stand before: series, caller and image may say the same.
func once(all []Caution) []Caution {
	var out []Caution
	for _, c := range all {
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// coarse returns the caution that large voxels earn, unless the scan has it already.
func coarse(g volume.Grid, known []Caution) []Caution {
	const code = "coarse_voxels"
	text := g.Coarse()
	if text == "" || slices.ContainsFunc(known, func(c Caution) bool { return c.Code == code }) {
		return nil
	}
	return []Caution{{Code: code, Severity: SeverityCaution, Text: text}}
}

func (c *run) namedRules() []NamedRule {
	var named []NamedRule
	for _, name := range safety.RuleNames() {
		if rule, ok := c.rules[name]; ok {
			named = append(named, NamedRule{Name: name, Rule: rule, Changed: c.rules.Changed(name)})
		}
	}
	return named
}
