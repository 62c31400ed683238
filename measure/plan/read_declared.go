package plan

import (
	"slices"
	"strings"

	"ridgerule/measure/safety"
)

// What a plan says of itself: the scan it was made for, what a person looked at, what the jaw does not
// have, and what is still a proposal.

// MadeFor names the scan that a plan was made on, by the hashes of its result; empty: not named.
type MadeFor struct{ Series, Frame string }

// Declared says of a kind of structure on one side, or on both, why nothing is marked.
type Declared struct {
	Kind    safety.Kind
	Sides   []Side // one or both
	Visible bool   // false: it cannot be seen in this scan, so that nothing is known; true: looked for, and absent
	By      string
}

// madeFor reads the hashes of the scan.
func (r *reader) madeFor(top fields, p *Plan) {
	n, ok := top.get("for")
	if !ok {
		return
	}
	r.source.at["for"] = n.mark
	f := n.mapping("series", "frame")
	for key, to := range map[string]*string{"series": &p.For.Series, "frame": &p.For.Frame} {
		if v, ok := f.get(key); ok {
			r.source.at["for."+key] = v.mark
			*to = v.hash()
		}
	}
	if f.isMapping() && !f.has("series") && !f.has("frame") {
		n.fail("give series: or frame: as ridgerule check PLAN --series PATH prints them", "for names no scan")
	}
}

// hash returns a SHA-256 in hexadecimal.
func (n node) hash() string {
	s, ok := n.text(64)
	if ok && (len(s) != 64 || strings.Trim(s, "0123456789abcdef") != "") {
		n.fail("copy the 64 digits that ridgerule check PLAN --series PATH prints", "%s %s is no SHA-256", n.key(), quoted(s))
		return ""
	}
	return s
}

// confirmed reads which findings of a site were looked at.
func (r *reader) confirmed(f fields) []string {
	n, ok := f.get("confirmed")
	if !ok {
		return nil
	}
	r.source.at[n.path] = n.mark
	var all []string
	for _, e := range n.list(len(confirmWords)) {
		word := e.oneOf(confirmWords...)
		if slices.Contains(all, word) {
			e.fail("keep one of them", "%s stands twice", word)
		}
		if word != "" {
			all = append(all, word)
		}
	}
	return all
}

// declared reads what the jaw does not have, or the scan does not show.
func (r *reader) declared(top fields) []Declared {
	n, ok := top.get("declared")
	if !ok {
		return nil
	}
	var all []Declared
	for _, e := range n.list(maxStructures) {
		f := e.mapping("kind", "side", "as", "by")
		var d Declared
		if v, ok := f.need("kind", "say what: kind: anterior_loop"); ok {
			d.Kind = safety.Kind(v.oneOf(structureKinds...))
		}
		if v, ok := f.need("side", "say where: side: left, right or both"); ok {
			switch v.oneOf("left", "right", "both") {
			case "left":
				d.Sides = []Side{Left}
			case "right":
				d.Sides = []Side{Right}
			case "both":
				d.Sides = []Side{Left, Right}
			}
		}
		if v, ok := f.need("as", "say how: as: absent (looked for and not there) or not_visible"); ok {
			d.Visible = v.oneOf("absent", "not_visible") == "absent"
		}
		if v, ok := f.get("by"); ok {
			d.By, _ = v.text(100)
		}
		all = append(all, d)
	}
	return all
}

// traced reads what a tracer says of a path that it proposed.
func (r *reader) traced(f fields, s *safety.Structure) {
	if n, ok := f.get("traced"); ok {
		t := n.mapping("confirmed", "confidence")
		if v, ok := t.need("confirmed", "say whether a person has looked: traced: {confirmed: false}"); ok {
			s.Proposed = s.Proposed || !v.flag()
		}
		if v, ok := t.get("confidence"); ok {
			if x, ok := v.between(0, 1, ""); ok {
				s.Confidence = &x
			}
		}
	}
	if n, ok := f.get("proposed"); ok && n.flag() {
		s.Proposed = true
	}
}

// proposals reads which parts of the plan nobody has confirmed yet.
func (r *reader) proposals(top fields) []string {
	n, ok := top.get("proposed")
	if !ok {
		return nil
	}
	var all []string
	for _, e := range n.list(3) {
		if word := e.oneOf("jaw", "occlusal", "arch"); word != "" {
			all = append(all, word)
		}
	}
	return all
}
