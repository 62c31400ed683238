package desk

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// A review is a record of who looked at what, over which bytes; it is no signature. It asks for everything that is left
// open, one by one: what is passed over has a reason.

// openPoint is what a review must look at or give a reason for.
type openPoint struct {
	Site    string `json:"site"`
	Finding string `json:"finding"`
	Kind    string `json:"kind,omitempty"` // of a structure that nobody answered for: it is marked or declared, and no reason does instead
	Side    string `json:"side,omitempty"`
}

// unseen is what is found of a section that nobody looked at.
const unseen = "the section was not looked at"

// openPoints lists what is not as it should be: proposals nobody confirmed, kinds of structure nobody answered for, sections
// nobody looked at, and every verdict but held.
func openPoints(s *state, n *numbers, looked []string) []openPoint {
	all := []openPoint{}
	for _, p := range s.Proposed {
		all = append(all, openPoint{Finding: p + " is proposed and not confirmed"})
	}
	for _, st := range s.Structures {
		if st.Proposed {
			all = append(all, openPoint{Finding: st.Name + " is proposed and not confirmed"})
		}
	}
	for _, a := range s.Asked {
		if a.Answer == "" {
			all = append(all, openPoint{Finding: quantity.InWords(a.Kind) + ", " + a.Side + ": not marked", Kind: a.Kind, Side: a.Side})
		}
	}
	for _, site := range s.Sites {
		if site.Proposed {
			all = append(all, openPoint{Site: site.ID, Finding: "the site is proposed and not confirmed"})
		}
		if !slices.Contains(looked, site.ID) {
			all = append(all, openPoint{Site: site.ID, Finding: unseen})
		}
	}
	if n.result != nil {
		all = append(all, openVerdicts(n.result)...)
	}
	return slices.Compact(all)
}

// openVerdicts lists the margins whose verdict is not held.
func openVerdicts(r *measure.Result) (all []openPoint) {
	add := func(site string, row measure.Row) {
		if row.Verdict != measure.NoMargin && row.Verdict != measure.Held {
			all = append(all, openPoint{Site: site, Finding: finding(row)})
		}
	}
	for _, site := range r.Sites {
		for _, row := range site.Rows {
			add(site.ID, row)
		}
	}
	for _, row := range r.Arch.Rows {
		add(row.Sites, row.Row)
	}
	return all
}

// finding names a row in words.
func finding(r measure.Row) string {
	text := quantity.InWords(r.Quantity)
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

// reasons returns why each open point is passed over; it is an error where one is not said, or cannot be passed over.
func (a reviewAsked) reasons(open []openPoint) (plan.List, error) {
	var out plan.List
	for _, p := range open {
		if p.Kind != "" {
			return nil, fmt.Errorf("%w: %s: mark it, or declare it absent or not visible", ErrAct, p.Finding)
		}
		i := slices.IndexFunc(a.Reasons, func(g givenReason) bool {
			return g.Site == p.Site && g.Finding == p.Finding && strings.TrimSpace(g.Reason) != ""
		})
		if i < 0 {
			return nil, fmt.Errorf("%w: %s: give a reason for passing it over", ErrAct, strings.TrimSpace(p.Site+" "+p.Finding))
		}
		out = append(out, reasonOf(p, a.Reasons[i].Reason))
	}
	return out, nil
}

// review records a review, or answers what it still has to say. Where a folder was named its outputs are written: the record
// names the result that was reviewed, and every output then says who reviewed it.
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
	open := openPoints(d.session.state(), n, asked.Looked)
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
	if strings.TrimSpace(asked.By) == "" || strings.TrimSpace(asked.Role) == "" {
		return fmt.Errorf("%w: a review says who, and in which role", ErrAct)
	}
	if err := d.recordReview(context.WithoutCancel(r.Context()), tagOf(r), asked, now, n, reasons); err != nil { // half of it helps nobody
		return err
	}
	return d.sendState(w)
}

// recordReview writes what was reviewed, records the review of it, and writes the outputs again, with who reviewed it.
func (d *Desk) recordReview(ctx context.Context, tag string, asked reviewAsked, now *draft, n *numbers, reasons plan.List) error {
	content, err := d.write(ctx, now, n)
	if err != nil {
		return err
	}
	if err := d.session.record(tag, d.recordOf(asked, now, content, reasons)); err != nil {
		return err
	}
	now, _ = d.session.current()
	if n, err = d.session.numbers(ctx, now); err == nil && n.result != nil {
		_, err = d.write(ctx, now, n)
	}
	return err
}

// write makes the outputs of what was measured, where a folder was named for them.
func (d *Desk) write(ctx context.Context, now *draft, n *numbers) (content string, err error) {
	if d.options.Write == nil {
		return "", nil
	}
	return d.options.Write(ctx, now.placed, n.result)
}

// recordOf is the record of a review as the plan keeps it.
func (d *Desk) recordOf(asked reviewAsked, now *draft, content string, reasons plan.List) plan.Map {
	looked := slices.DeleteFunc(slices.Clone(asked.Looked), func(id string) bool {
		return !slices.ContainsFunc(now.placed.Sites, func(s plan.Site) bool { return s.ID == id })
	})
	m := plan.Map{{Key: "by", Value: strings.TrimSpace(asked.By)}, {Key: "role", Value: strings.TrimSpace(asked.Role)}, {Key: "at", Value: d.options.Now().Format(time.RFC3339)},
		{Key: "plan_sha256", Value: now.plan.SHA256}}
	add := func(key string, value any) { m = append(m, plan.Entry{Key: key, Value: value}) }
	if series := d.session.scan.Facts.SeriesHash; series != "" {
		add("series", series)
	}
	if content != "" {
		add("result_sha256", content)
	}
	var files plan.List
	for _, name := range slices.Sorted(maps.Keys(now.plan.Files)) {
		files = append(files, plan.Map{{Key: "name", Value: name}, {Key: "sha256", Value: now.plan.Files[name]}})
	}
	if len(files) > 0 {
		add("files", files)
	}
	if len(looked) > 0 {
		add("looked", looked)
	}
	if len(reasons) > 0 {
		add("reasons", reasons)
	}
	return m
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
	if _, err := d.write(context.WithoutCancel(r.Context()), now, n); err != nil {
		return err
	}
	return send(w, map[string]string{"written": "measurements.csv, sites.csv, report.html, result.json, pictures"})
}
