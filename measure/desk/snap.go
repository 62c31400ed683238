package desk

import (
	"fmt"
	"net/http"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
)

// Ends of callipers that snap to the bone's edge. A length is never computed here: an end goes into the plan, and the
// reading comes back with the other numbers.

// snaps keeps the edges of the section that was asked about last. It may be used by several goroutines.
type snaps struct {
	mu    sync.Mutex
	tag   string
	arc   float64
	edges *measure.Edges
}

// edge returns the place of the edge nearest to p in the section at an arc length, mm, of a state of the plan.
func (s *session) edge(d *draft, arc float64, p r3.Vec) (r3.Vec, error) {
	k := &s.snaps
	k.mu.Lock()
	defer k.mu.Unlock()
	if d.placed == nil {
		return r3.Vec{}, fmt.Errorf("nothing is measured yet: %s", d.why())
	}
	if k.edges == nil || k.tag != d.tag || k.arc != arc {
		edges, err := s.measured.cache.EdgesAt(s.scan.Volume, d.placed, arc)
		if err != nil {
			return r3.Vec{}, err
		}
		k.tag, k.arc, k.edges = d.tag, arc, edges
	}
	at, _, err := k.edges.Near(p)
	return at, err
}

// snap answers with the end's place on the bone's edge, or with why it stays where the hand put it.
func (d *Desk) snap(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[struct {
		Arc float64 `json:"arc_mm"`
		At  point   `json:"at"`
	}](r)
	if err != nil {
		return err
	}
	now, _ := d.session.current()
	c := now.curve()
	if c == nil || !(asked.Arc >= 0 && asked.Arc <= c.Length()) {
		return fmt.Errorf("%w: no such section", ErrAct)
	}
	at, err := d.session.edge(now, asked.Arc, vecOf(asked.At))
	if err != nil {
		return send(w, map[string]any{"snapped": false, "at": asked.At, "why": said(err)})
	}
	return send(w, map[string]any{"snapped": true, "at": pointOf(at)})
}
