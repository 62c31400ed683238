package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/goccy/go-yaml/ast"
	"gonum.org/v1/gonum/spatial/r3"
)

// reader reads the syntax tree of one plan. Every fault is collected, and what is faulty
// reads as its zero value, so that one pass finds them all.
type reader struct {
	file string
	faults
	source *Source
	astray bool              // the occlusal direction is given and faulty: nothing can be held against it
	files  map[string]string // SHA-256 of what was opened, by name
}

// node is a value of the file: its tree, its key path, and whose it is for messages.
type node struct {
	r     *reader
	tree  ast.Node
	path  string // "sites[2].implant.axis"
	where string // `site "36"`
	mark  Position
}

func (r *reader) node(tree ast.Node, path, where string) node {
	n := node{r: r, tree: tree, path: path, where: where, mark: Position{File: r.file}}
	if m, ok := tree.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		n.mark = markOf(r.file, m.Values[0].Key.GetToken())
		return n
	}
	if tree != nil {
		n.mark = markOf(r.file, tree.GetToken())
	}
	return n
}

func (n node) fail(remedy, format string, args ...any) {
	n.r.add(n.mark, n.where, remedy, format, args...)
}

// key returns the last part of the node's path, for messages.
func (n node) key() string {
	if n.path == "" {
		return "the plan"
	}
	return n.path[strings.LastIndexByte(n.path, '.')+1:]
}

// found describes the node's value for messages.
func (n node) found() string {
	switch t := n.tree.(type) {
	case *ast.MappingNode:
		return "a mapping"
	case *ast.SequenceNode:
		return fmt.Sprintf("a list of %d", len(t.Values))
	case nil, *ast.NullNode:
		return "empty"
	case *ast.LiteralNode:
		return quoted(t.Value.Value)
	}
	return quoted(n.tree.GetToken().Value)
}

// fields are the keys of one mapping.
type fields struct {
	node
	all map[string]node
}

// mapping returns the node's keys; a key that is not known, stands twice or has no value is a
// fault.
func (n node) mapping(known ...string) fields {
	f := fields{node: n, all: map[string]node{}}
	m, ok := n.tree.(*ast.MappingNode)
	if !ok {
		n.fail("write keys and values there: "+strings.Join(known, ", "), "%s is %s, not a mapping", n.key(), n.found())
		return f
	}
	for _, pair := range m.Values {
		f.take(pair, known)
	}
	return f
}

func (f *fields) take(pair *ast.MappingValueNode, known []string) {
	name := pair.Key.GetToken().Value
	at := markOf(f.r.file, pair.Key.GetToken())
	switch _, twice := f.all[name]; {
	case !slices.Contains(known, name):
		f.r.add(at, f.where, suggestion(name, known), "unknown key %s", quoted(name))
		return
	case twice:
		f.r.add(at, f.where, "keep one of them", "%s stands twice, here and at line %d", name, f.line(name))
		return
	}
	child := f.r.node(pair.Value, strings.TrimPrefix(f.path+"."+name, "."), f.where)
	if _, empty := pair.Value.(*ast.NullNode); empty || pair.Value == nil {
		f.r.add(at, f.where, "give it a value or leave the key out", "%s has no value", name)
		child.tree = nil
	}
	f.all[name] = child
}

// get returns the value of a key and whether it is there to be read.
func (f fields) get(name string) (node, bool) {
	n := f.all[name]
	return n, n.tree != nil
}

// has reports whether the key is written, with a value or without.
func (f fields) has(name string) bool { _, ok := f.all[name]; return ok }

// line returns the line on which a key's value stands; 0 where it is not written.
func (f fields) line(name string) int { return f.all[name].mark.Line }

// need returns the value of a key that must be there.
func (f fields) need(name, remedy string) (node, bool) {
	if !f.has(name) && f.isMapping() {
		f.r.lack(f.mark, f.where, remedy, name)
	}
	return f.get(name)
}

func (n node) isMapping() bool { _, ok := n.tree.(*ast.MappingNode); return ok }

// list returns the elements of a sequence of at most most.
func (n node) list(most int) []node {
	s, ok := n.tree.(*ast.SequenceNode)
	if !ok {
		n.fail("write a list: [a, b, …]", "%s is %s, not a list", n.key(), n.found())
		return nil
	}
	if len(s.Values) > most {
		n.fail("leave some out or make several plans", "%s has %d elements, at most %d are read", n.key(), len(s.Values), most)
		return nil
	}
	all := make([]node, len(s.Values))
	for i, v := range s.Values {
		all[i] = n.r.node(v, fmt.Sprintf("%s[%d]", n.path, i), n.where)
		if all[i].mark.Line == 0 {
			all[i].mark = n.mark
		}
	}
	return all
}

// text returns a text of one line and at most most characters. A number counts as the text it
// is written as: tooth: 36.
func (n node) text(most int) (string, bool) {
	var s string
	switch t := n.tree.(type) {
	case *ast.StringNode:
		s = t.Value
	case *ast.LiteralNode:
		s = strings.TrimRight(t.Value.Value, "\n")
	case *ast.IntegerNode, *ast.FloatNode:
		s = t.GetToken().Value
	default:
		n.fail("write text, in quotes", "%s is %s, not text", n.key(), n.found())
		return "", false
	}
	if len([]rune(s)) > most {
		n.fail(fmt.Sprintf("use at most %d characters", most), "%s %s is too long", n.key(), quoted(s))
		return "", false
	}
	for _, c := range s {
		if !unicode.IsPrint(c) {
			n.fail("use printable characters on one line", "%s %s holds the character %U", n.key(), quoted(s), c)
			return "", false
		}
	}
	return s, true
}

// oneOf returns a text that must be one of words, or "" after a fault.
func (n node) oneOf(words ...string) string {
	s, ok := n.text(200)
	if ok && !slices.Contains(words, s) {
		n.fail(suggestion(s, words), "%s is %s", n.key(), quoted(s))
		return ""
	}
	return s
}

// flag returns true or false.
func (n node) flag() bool {
	b, ok := n.tree.(*ast.BoolNode)
	if !ok {
		n.fail("write true or false", "%s is %s", n.key(), n.found())
		return false
	}
	return b.Value
}

// number returns a finite decimal number; its unit is the key's.
func (n node) number() (float64, bool) {
	switch n.tree.(type) {
	case *ast.NanNode, *ast.InfinityNode:
		n.fail("give a finite number", "%s is %s", n.key(), n.found())
		return 0, false
	case *ast.IntegerNode, *ast.FloatNode:
	default:
		remedy := "write a plain decimal number"
		if s, ok := n.tree.(*ast.StringNode); ok && strings.Count(s.Value, ",") == 1 {
			remedy = "write a decimal point, not a comma"
		}
		n.fail(remedy, "%s is %s, not a number", n.key(), n.found())
		return 0, false
	}
	x, err := parseDecimal(n.tree.GetToken().Value)
	if err != nil {
		n.fail(err.Error(), "%s is %s", n.key(), n.found())
		return 0, false
	}
	return x, true
}

// between returns a number from low to high, in the unit named, or false after a fault.
func (n node) between(low, high float64, unit string) (float64, bool) {
	x, ok := n.number()
	if ok && !(x >= low && x <= high) {
		n.fail(fmt.Sprintf("give a number from %g to %g%s", low, high, unit), "%s is %g%s", n.key(), x, unit)
		return 0, false
	}
	return x, ok
}

// size returns a length above 0 and at most high, in mm.
func (n node) size(high float64) (float64, bool) {
	x, ok := n.number()
	if ok && !(x > 0 && x <= high) {
		n.fail(fmt.Sprintf("give a length above 0 and at most %g mm", high), "%s is %g mm", n.key(), x)
		return 0, false
	}
	return x, ok
}

// sizes returns lengths above 0 and at most high, ascending, in mm; one that stands twice is a
// fault.
func (n node) sizes(high float64) []float64 {
	const most = 50
	var all []float64
	for _, e := range n.list(most) {
		x, ok := e.size(high)
		if !ok {
			continue
		}
		at := 0
		for at < len(all) && all[at] < x {
			at++
		}
		if at < len(all) && all[at] == x {
			e.fail("keep one of them", "%g mm stands twice", x)
			continue
		}
		all = append(all[:at], append([]float64{x}, all[at:]...)...)
	}
	if s, ok := n.tree.(*ast.SequenceNode); ok && len(s.Values) == 0 {
		n.fail("give at least one length or leave the key out", "%s is an empty list", n.key())
	}
	return all
}

// maxCoordinate bounds a coordinate, in mm or voxels: beyond it there is no patient.
const maxCoordinate = 1e5

// vec returns three numbers.
func (n node) vec() (r3.Vec, bool) {
	s, ok := n.tree.(*ast.SequenceNode)
	if !ok || len(s.Values) != 3 {
		n.fail("write three numbers: [x, y, z]", "%s is %s, not three numbers", n.key(), n.found())
		return r3.Vec{}, false
	}
	n.r.source.at[n.path] = n.mark
	var xyz [3]float64
	good := true
	for i, e := range n.list(3) {
		x, ok := e.between(-maxCoordinate, maxCoordinate, "")
		xyz[i] = x
		good = good && ok
	}
	return r3.Vec{X: xyz[0], Y: xyz[1], Z: xyz[2]}, good
}

// direction returns the unit vector of three numbers that are not all 0.
func (n node) direction() (r3.Vec, bool) {
	v, ok := n.vec()
	if ok && r3.Norm(v) < 1e-9 {
		n.fail("give a direction that is not zero", "%s is [%g, %g, %g]", n.key(), v.X, v.Y, v.Z)
		return r3.Vec{}, false
	}
	if !ok {
		return r3.Vec{}, false
	}
	return r3.Unit(v), true
}

// points returns a list of points, and whether all are good.
func (n node) points(most int) ([]r3.Vec, bool) {
	elements := n.list(most)
	all := make([]r3.Vec, len(elements))
	good := len(elements) > 0
	for i, e := range elements {
		v, ok := e.vec()
		all[i] = v
		good = good && ok
	}
	return all, good
}

// threePoints returns the three points of a plane, or nil after a fault.
func (n node) threePoints() []r3.Vec {
	pts, ok := n.points(3)
	if ok && len(pts) != 3 {
		n.fail("give three points of the plane", "%s has %d points", n.key(), len(pts))
		return nil
	}
	if !ok {
		return nil
	}
	return pts
}

// parseDecimal reads what everyone reads as the same decimal number: no octal, no hexadecimal, no
// digit groups. Its error is the remedy.
func parseDecimal(s string) (float64, error) {
	digits := strings.TrimLeft(s, "+-")
	octal := len(digits) > 1 && digits[0] == '0' && digits[1] >= '0' && digits[1] <= '9'
	if octal || strings.Trim(s, "0123456789+-.eE") != "" {
		return 0, fmt.Errorf("write a plain decimal number")
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return 0, fmt.Errorf("give a finite decimal number")
	}
	return x, nil
}
