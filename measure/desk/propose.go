package desk

import (
	"context"
	"errors"
	"net/http"
	"sync"

	"ridgerule/measure/plan"
	"ridgerule/measure/propose"
)

// proposals keeps what the image suggests for each jaw that was asked about; "" lets the image vote.
type proposals struct {
	mu   sync.Mutex
	last map[plan.Jaw]*proposal
}

// proposal is what the page is told: what may be taken, and why there is no more of it. Nothing of it is in the plan
// before a person takes it.
type proposal struct {
	Jaw     string   `json:"jaw"`
	Votes   []string `json:"votes"`
	Arch    []point  `json:"arch"`
	Midline *point   `json:"midline"`
	None    []string `json:"none"`
}

func (s *session) propose(ctx context.Context, jaw plan.Jaw) (*proposal, error) {
	s.proposals.mu.Lock()
	defer s.proposals.mu.Unlock()
	if p := s.proposals.last[jaw]; p != nil {
		return p, nil
	}
	found, err := propose.Look(ctx, s.scan.Volume, propose.Options{Jaw: jaw})
	out := &proposal{Votes: []string{}, Arch: []point{}, None: []string{}}
	var refused *propose.Refusal
	switch {
	case errors.As(err, &refused):
		out.None = append(out.None, said(refused))
	case err != nil:
		return nil, err
	default:
		out.Jaw, out.Arch = string(found.Jaw), pointsOf(found.Arch)
		out.Votes, out.None = append(out.Votes, found.Votes...), append(out.None, found.None...)
		if found.Midline != nil {
			at := pointOf(*found.Midline)
			out.Midline = &at
		}
	}
	if s.proposals.last == nil {
		s.proposals.last = map[plan.Jaw]*proposal{}
	}
	s.proposals.last[jaw] = out
	return out, nil
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
