package measure

import (
	"reflect"
	"slices"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

// Sites that nobody touched since the run before. What a site says by itself hangs on its own entry in the plan, on the arch,
// and on what is marked; what hangs on other sites is added afterwards. So of a site that was not touched, in a plan whose
// rest was not, the numbers of the run before are those of this one, and only the others are measured.

// remembered are the sites of one run, each as it was before anything of other sites was added to it.
type remembered struct {
	volume *volume.Volume
	plan   *plan.Placed
	placed float64
	sites  []*site // nil: cannot be used again
	fresh  int     // of them were measured by that run
}

// remember keeps the sites of a run.
func (t *Cache) remember(c *run, sites, known []*site) {
	if t == nil {
		return
	}
	kept := &remembered{volume: c.v, plan: c.plan, placed: c.placed, sites: make([]*site, len(sites))}
	for i, s := range sites {
		if known[i] == nil {
			kept.fresh++
		}
		if s.ridge != nil {
			kept.sites[i] = s.apart()
		}
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.before = kept
}

// recall returns the sites of the run before that this one need not measure again, nil for each other, in the plan's order.
func (t *Cache) recall(c *run) []*site {
	out := make([]*site, len(c.plan.Sites))
	if t == nil {
		return out
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	b := t.before
	if b == nil || b.volume != c.v || b.placed != c.placed || !sameBut(b.plan, c.plan) {
		return out
	}
	for i := range out {
		if i < len(b.sites) && b.sites[i] != nil && reflect.DeepEqual(b.plan.Sites[i], c.plan.Sites[i]) && slices.Equal(readingsOf(b.plan, i), readingsOf(c.plan, i)) {
			out[i] = b.sites[i].apart()
		}
	}
	return out
}

// apart returns a copy that shares nothing which a run changes after a site was measured.
func (s *site) apart() *site {
	k := *s
	k.ridge, k.implants = s.ridge.Clone(), nil
	k.doubts, k.shown = slices.Clone(s.doubts), slices.Clone(s.shown)
	k.out.Rows, k.out.Findings, k.out.SizesTried = slices.Clone(s.out.Rows), slices.Clone(s.out.Findings), slices.Clone(s.out.SizesTried)
	for i := range k.out.SizesTried {
		k.out.SizesTried[i].Findings = slices.Clone(k.out.SizesTried[i].Findings)
	}
	return &k
}

// readingsOf returns the readings of a plan's site.
func readingsOf(p *plan.Placed, site int) (all []plan.Reading) {
	for _, one := range p.Readings {
		if one.Site == p.Sites[site].ID {
			all = append(all, one)
		}
	}
	return all
}

// sameBut reports whether two plans on one grid are the same but for their sites, their readings, who reviewed them, and what
// they are called.
func sameBut(a, b *plan.Placed) bool {
	rest := func(p *plan.Placed) plan.Contents {
		c := p.Contents
		c.Sites, c.Readings, c.Review, c.SHA256, c.Case, c.Path = nil, nil, nil, "", "", ""
		c.Structures = slices.Clone(c.Structures)
		for i := range c.Structures {
			c.Structures[i].Surface = nil // a file's: its bytes are compared
		}
		return c
	}
	return a.Occlusal == b.Occlusal && a.OcclusalFrom == b.OcclusalFrom && reflect.DeepEqual(a.LevelPlane, b.LevelPlane) && reflect.DeepEqual(a.OcclusalLevel, b.OcclusalLevel) &&
		a.Landmarks.Same(b.Landmarks) && reflect.DeepEqual(rest(a), rest(b))
}
