package plan

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Paths of a plan, and where they lead in a text.

// step is one part of a path: a key, or a place in a list.
type step struct {
	key   string // empty: index
	index int
}

// mostSteps bounds a path; no plan is half as deep.
const mostSteps = 12

// pathPart is a key with the places in lists behind it.
var pathPart = regexp.MustCompile(`^([a-z_0-9]+)((?:\[(?:0|[1-9][0-9]{0,5})\])*)$`)

func parsePath(path string) ([]step, error) {
	var out []step
	for part := range strings.SplitSeq(path, ".") {
		m := pathPart.FindStringSubmatch(part)
		if m == nil {
			return nil, fmt.Errorf("%w: %q is no path; write sites[2].implant.axis", ErrEdit, path)
		}
		out = append(out, step{key: m[1]})
		for number := range strings.FieldsFuncSeq(m[2], func(r rune) bool { return r == '[' || r == ']' }) {
			i, _ := strconv.Atoi(number)
			out = append(out, step{index: i})
		}
	}
	if len(out) > mostSteps {
		return nil, fmt.Errorf("%w: %q is deeper than any plan", ErrEdit, path)
	}
	return out, nil
}

// place is where a path leads: a value, or where one would stand.
type place struct {
	up      *place // what holds it; nil: the top
	step    step
	index   int      // among the keys or elements of what holds it; −1: not there
	written bool     // its key or dash is there
	node    ast.Node // nil: it has no value
}

// String returns the path of the place.
func (p *place) String() string {
	switch {
	case p.up == nil:
		return ""
	case p.step.key == "":
		return fmt.Sprintf("%v[%d]", p.up, p.step.index)
	case p.up.up == nil:
		return p.step.key
	}
	return fmt.Sprintf("%v.%s", p.up, p.step.key)
}

// flow reports whether the place lies within brackets.
func (p *place) flow() bool {
	for up := p.up; up != nil; up = up.up {
		if up.node != nil && isFlow(up.node) {
			return true
		}
	}
	return false
}

// find follows a path from the top.
func (d *document) find(steps []step) (*place, error) {
	at := &place{node: d.root, written: true}
	for _, s := range steps {
		next := &place{up: at, step: s, index: -1}
		switch n := at.node.(type) {
		case nil:
		case *ast.MappingNode:
			if s.key == "" {
				return nil, fmt.Errorf("%w: %v is a mapping, not a list", ErrEdit, at)
			}
			next.index = slices.IndexFunc(n.Values, func(v *ast.MappingValueNode) bool { return v.Key.GetToken().Value == s.key })
		case *ast.SequenceNode:
			if s.key != "" {
				return nil, fmt.Errorf("%w: %v is a list, not a mapping", ErrEdit, at)
			}
			if s.index < len(n.Values) {
				next.index = s.index
			}
		default:
			return nil, fmt.Errorf("%w: %v is neither a mapping nor a list", ErrEdit, at)
		}
		if next.index >= 0 {
			next.written, next.node = true, valueOf(at.node, next.index)
		}
		at = next
	}
	return at, nil
}
