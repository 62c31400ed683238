package plan

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// What people say of a plan that changes no number of it: who reviewed it, and distances that they read off the pictures.

const maxReadings = 1000

// Review records that somebody went through a plan. It is a record, not a signature.
type Review struct {
	By, Role, At string            // At: the time as it is written
	PlanSHA256   string            // of the plan that was reviewed, see [Hash]
	Series       string            // hash of the series that it was reviewed on
	ResultSHA256 string            // content_sha256 of its result.json; empty: none was written
	Files        map[string]string // [Contents.Files] of the plan as it was reviewed
	Looked       []string
	Reasons      []ReviewReason
}

// ReviewReason says why a finding was passed over.
type ReviewReason struct{ Site, Finding, Reason string }

// Reading is a distance that somebody read off a picture, between two points.
type Reading struct {
	ID, Site string // ID is its place in the list where the plan gives none; Site is empty for a reading of none
	From, To r3.Vec
	Snapped  bool // both ends lie on edges of bone that the program found
	Reader   string
}

// Void says why a review does not stand for a plan as it is, on this series (its hash): what was changed since; "" while it
// stands.
func (r *Review) Void(p Contents, series string) string {
	switch {
	case r.PlanSHA256 != p.SHA256:
		return "the plan was changed"
	case r.Series != "" && r.Series != series:
		return "it was of another series"
	}
	for _, name := range slices.Sorted(maps.Keys(p.Files)) {
		if r.Files[name] != p.Files[name] {
			return name + " was changed"
		}
	}
	return ""
}

// Hash returns the SHA-256 of a plan's text without its review, with LF at the end of each line: a review changes no
// result. It stands in results as plan_sha256.
func Hash(text []byte) string {
	text = lineEnds(text)
	if bytes.Contains(text, []byte("review")) {
		if rest, err := Delete(text, "review"); err == nil {
			text = rest
		}
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// review reads the record of a review.
func (r *reader) review(top fields) *Review {
	n, ok := top.get("review")
	if !ok {
		return nil
	}
	f := n.mapping("by", "role", "at", "plan_sha256", "series", "result_sha256", "files", "looked", "reasons")
	out := &Review{}
	for key, to := range map[string]*string{"by": &out.By, "role": &out.Role, "at": &out.At} {
		if v, ok := f.need(key, "a review says who, in which role, when"); ok {
			*to, _ = v.text(200)
		}
	}
	for key, to := range map[string]*string{"plan_sha256": &out.PlanSHA256, "series": &out.Series, "result_sha256": &out.ResultSHA256} {
		if v, ok := f.get(key); ok {
			*to = v.hash()
		}
	}
	if v, ok := f.get("files"); ok {
		out.Files = map[string]string{}
		for _, e := range v.list(maxStructures + 1) {
			one := e.mapping("name", "sha256")
			if name, ok := one.need("name", "name the file as the plan does"); ok {
				text, _ := name.text(500)
				if sum, ok := one.need("sha256", "give the file's SHA-256"); ok {
					out.Files[text] = sum.hash()
				}
			}
		}
	}
	if v, ok := f.get("looked"); ok {
		for _, e := range v.list(maxSites) {
			id, _ := e.text(64)
			out.Looked = append(out.Looked, id)
		}
	}
	if v, ok := f.get("reasons"); ok {
		for _, e := range v.list(maxSites) {
			out.Reasons = append(out.Reasons, reason(e.mapping("site", "finding", "reason")))
		}
	}
	return out
}

func reason(f fields) (out ReviewReason) {
	if v, ok := f.get("site"); ok {
		out.Site, _ = v.text(64)
	}
	if v, ok := f.need("finding", "say what was passed over"); ok {
		out.Finding, _ = v.text(500)
	}
	if v, ok := f.need("reason", "say why it was passed over"); ok {
		out.Reason, _ = v.text(500)
	}
	return out
}

// readings reads the distances that somebody read off the pictures.
func (r *reader) readings(top fields, sites []Site) []Reading {
	n, ok := top.get("readings")
	if !ok {
		return nil
	}
	var all []Reading
	seen := map[string]bool{}
	for i, e := range n.list(maxReadings) {
		f := e.mapping("id", "site", "from", "to", "snapped", "reader")
		one := Reading{ID: fmt.Sprint(i + 1)}
		for key, to := range map[string]*string{"id": &one.ID, "site": &one.Site, "reader": &one.Reader} {
			if v, ok := f.get(key); ok {
				*to, _ = v.text(64)
			}
		}
		if seen[one.ID] {
			e.fail("give each reading an id of its own", "reading %q stands twice", one.ID)
		}
		seen[one.ID] = true
		if one.Site != "" && !slices.ContainsFunc(sites, func(s Site) bool { return s.ID == one.Site }) {
			e.fail("name one of the plan's sites by its id, or none", "reading %q is of site %q, which is not in the plan", one.ID, one.Site)
		}
		if v, ok := f.need("from", "a reading has two ends: from and to"); ok {
			one.From, _ = v.vec()
		}
		if v, ok := f.need("to", "a reading has two ends: from and to"); ok {
			one.To, _ = v.vec()
		}
		if v, ok := f.get("snapped"); ok {
			one.Snapped = v.flag()
		}
		all = append(all, one)
	}
	return all
}
