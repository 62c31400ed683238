package desk

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/propose"
	"ridgerule/measure/reformat"
)

// proposals keeps what the image suggests for each jaw that was asked about; "" lets the image vote.
type proposals struct {
	mu   sync.Mutex
	last map[plan.Jaw]*proposal
}

// proposal is what the page is told: what may be taken, and why there is no more of it. Nothing of it is in the plan
// before a person takes it.
type proposal struct {
	Jaw         string           `json:"jaw"`
	Votes       []string         `json:"votes"`
	Occlusal    *point           `json:"occlusal"`
	OcclusalWhy string           `json:"occlusal_why"`
	Arch        []point          `json:"arch"` // as many points as a hand would set
	Midline     *point           `json:"midline"`
	Sites       []proposedSite   `json:"sites"`
	Cavities    []proposedCavity `json:"cavities"`
	None        []string         `json:"none"`
}

type proposedSite struct {
	At    point  `json:"at"`
	Tooth string `json:"tooth"` // empty: no midline to count from
}

type proposedCavity struct {
	Name   string  `json:"name"`
	Kind   string  `json:"kind"`
	Path   []point `json:"path"`
	Radius float64 `json:"radius_mm"`
	SD     float64 `json:"sd_mm"`
}

func (s *session) propose(ctx context.Context, jaw plan.Jaw) (*proposal, error) {
	s.proposals.mu.Lock()
	defer s.proposals.mu.Unlock()
	if p := s.proposals.last[jaw]; p != nil {
		return p, nil
	}
	found, err := propose.Look(ctx, s.scan.Volume, propose.Options{Jaw: jaw})
	out := &proposal{Votes: []string{}, Arch: []point{}, Sites: []proposedSite{}, Cavities: []proposedCavity{}, None: []string{}}
	var refused *propose.Refusal
	switch {
	case errors.As(err, &refused):
		out.None = append(out.None, said(refused))
	case err != nil:
		return nil, err
	default:
		out.tell(found)
	}
	if s.proposals.last == nil {
		s.proposals.last = map[plan.Jaw]*proposal{}
	}
	s.proposals.last[jaw] = out
	return out, nil
}

// tell takes over what was found.
func (p *proposal) tell(found *propose.Proposal) {
	occlusal := pointOf(found.Occlusal)
	p.Jaw, p.Arch = string(found.Jaw), pointsOf(fewer(found.Arch, found.Occlusal))
	p.Occlusal, p.OcclusalWhy = &occlusal, found.OcclusalWhy
	p.Votes, p.None = append(p.Votes, found.Votes...), append(p.None, found.None...)
	if found.Midline != nil {
		at := pointOf(*found.Midline)
		p.Midline = &at
	}
	for _, s := range found.Sites {
		p.Sites = append(p.Sites, proposedSite{pointOf(s.At), s.Tooth})
	}
	for _, c := range found.Cavities {
		p.Cavities = append(p.Cavities, proposedCavity{c.Name, c.Kind, pointsOf(c.Path), propose.CavityRadius, propose.CavitySD})
	}
}

// How few points an arch is shown with, and how far its curve may then pass from those left out, mm: a third of what a
// proposal may be wrong by. A hand corrects a curve by moving one point of a few; of many it makes a dent. Our choice.
const (
	fewestPoints = 7
	archWithin   = 0.5
)

// fewer returns as few of an arch's points, evenly taken, as lead its curve past all of them within [archWithin].
func fewer(all []r3.Vec, occlusal r3.Vec) []r3.Vec {
	for n := fewestPoints; n < len(all); n++ {
		some := make([]r3.Vec, n)
		for i := range some {
			some[i] = all[i*(len(all)-1)/(n-1)]
		}
		c, err := reformat.NewCurve(some, occlusal)
		if err != nil {
			continue
		}
		if !slices.ContainsFunc(all, func(p r3.Vec) bool { _, off := c.Project(p); return off > archWithin }) {
			return some
		}
	}
	return all
}

// propose answers with what the image suggests for the plan's jaw, or for either where the plan has none.
func (d *Desk) propose(w http.ResponseWriter, r *http.Request) error {
	now, _ := d.session.current()
	jaw := plan.Jaw("")
	if now.plan != nil {
		jaw = now.plan.Jaw
	}
	p, err := d.session.propose(r.Context(), jaw)
	if err != nil {
		return err
	}
	return send(w, p)
}
