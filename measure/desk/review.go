package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// A review is a record of who looked at what, over which bytes; it is no signature. It asks for everything that is left
// open, one by one: what is passed over has a reason.

// openPoint is what a review must look at or give a reason for.
type openPoint struct {
	Site    string `json:"site"`
	Finding string `json:"finding"`
}

// openPoints lists what is not as it should be: proposals nobody confirmed, kinds of structure nobody answered for, and
// every verdict but held.
func openPoints(s *state, n *numbers) []openPoint {
	all := []openPoint{}
	for _, p := range s.Proposed {
		all = append(all, openPoint{Finding: p + " is proposed and not confirmed"})
	}
	for _, st := range s.Structures {
		if st.Proposed {
			all = append(all, openPoint{Finding: st.Name + " is proposed and not confirmed"})
		}
	}
	for _, site := range s.Sites {
		if site.Proposed {
			all = append(all, openPoint{site.ID, "the site is proposed and not confirmed"})
		}
	}
	for _, a := range s.Asked {
		if a.Answer == "" {
			all = append(all, openPoint{Finding: strings.ReplaceAll(a.Kind, "_", " ") + ", " + a.Side + ": not marked"})
		}
	}
	if n.result == nil {
		return all
	}
	for _, site := range n.result.Sites {
		for _, row := range site.Rows {
			if row.Verdict != measure.NoMargin && row.Verdict != measure.Held {
				all = append(all, openPoint{site.ID, finding(row)})
			}
		}
	}
	return slices.Compact(all)
}

// finding names a row in words.
func finding(r measure.Row) string {
	text := strings.ReplaceAll(string(r.Quantity), "_", " ")
	if r.To != "" {
		text += " to " + r.To
	}
	if r.At != nil {
		text += fmt.Sprintf(" at %g mm", *r.At)
	}
	return text + ": " + string(r.Verdict)
}

// reviewAsked is what the page says of a review.
type reviewAsked struct {
	By      string        `json:"by"`
	Role    string        `json:"role"`
	Looked  []string      `json:"looked"`
	Reasons []givenReason `json:"reasons"`
	Ask     bool          `json:"ask"` // say only what is open
}

type givenReason struct {
	openPoint
	Reason string `json:"reason"`
}

// reasons returns why each open point is passed over; it is an error where one is not said.
func (a reviewAsked) reasons(open []openPoint) (plan.List, error) {
	var out plan.List
	for _, p := range open {
		i := slices.IndexFunc(a.Reasons, func(g givenReason) bool { return g.openPoint == p && strings.TrimSpace(g.Reason) != "" })
		if i < 0 {
			return nil, fmt.Errorf("%w: %s %s: give a reason for passing it over", ErrAct, p.Site, p.Finding)
		}
		out = append(out, reasonOf(p, a.Reasons[i].Reason))
	}
	return out, nil
}

// review records a review, or answers what it still has to say.
func (d *Desk) review(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[reviewAsked](r)
	if err != nil {
		return err
	}
	now, _ := d.session.current()
	n, err := d.session.numbers(r.Context(), now)
	if err != nil {
		return err
	}
	open := openPoints(d.session.state(), n)
	if asked.Ask {
		return send(w, map[string]any{"open": open})
	}
	if now.placed == nil || n.result == nil {
		return fmt.Errorf("%w: nothing is measured yet: %s", ErrAct, n.Why)
	}
	reasons, err := asked.reasons(open)
	if err != nil {
		return err
	}
	for _, s := range now.placed.Sites {
		if !slices.Contains(asked.Looked, s.ID) {
			return fmt.Errorf("%w: the section of site %s was not looked at", ErrAct, s.ID)
		}
	}
	if strings.TrimSpace(asked.By) == "" || strings.TrimSpace(asked.Role) == "" {
		return fmt.Errorf("%w: a review says who, and in which role", ErrAct)
	}
	record := plan.Map{{Key: "by", Value: asked.By}, {Key: "role", Value: asked.Role}, {Key: "at", Value: d.options.Now().Format(time.RFC3339)},
		{Key: "plan_sha256", Value: plan.Hash(now.text)}, {Key: "series", Value: d.session.scan.Facts.SeriesHash}, {Key: "looked", Value: asked.Looked}}
	if len(reasons) > 0 {
		record = append(record, plan.Entry{Key: "reasons", Value: reasons})
	}
	if err := d.session.record("review recorded", tagOf(r), record); err != nil {
		return err
	}
	return d.sendState(w)
}

func reasonOf(p openPoint, reason string) plan.Map {
	m := plan.Map{}
	if p.Site != "" {
		m = append(m, plan.Entry{Key: "site", Value: p.Site})
	}
	return append(m, plan.Entry{Key: "finding", Value: p.Finding}, plan.Entry{Key: "reason", Value: reason})
}

// output writes everything that the measure verb writes, into the folder that the command line named.
func (d *Desk) output(w http.ResponseWriter, r *http.Request) error {
	now, _ := d.session.current()
	n, err := d.session.numbers(r.Context(), now)
	if err != nil {
		return err
	}
	switch {
	case d.options.Write == nil:
		return fmt.Errorf("%w: no folder was named when the page was opened; open it with -o DIR", ErrAct)
	case n.result == nil:
		return fmt.Errorf("%w: %s", ErrAct, n.Why)
	}
	if err := d.options.Write(context.WithoutCancel(r.Context()), now.placed, n.result); err != nil {
		return err
	}
	return send(w, map[string]string{"written": "measurements.csv, sites.csv, report.html, result.json, pictures"})
}
