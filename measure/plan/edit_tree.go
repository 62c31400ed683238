package plan

import (
	"slices"

	"github.com/goccy/go-yaml/ast"
)

// What a text says, without how it is written: what an edit is held against.

// treeOf returns what a syntax tree says, without how: nil, scalars as written, [Map], [List].
func treeOf(n ast.Node) any {
	switch n := n.(type) {
	case *ast.MappingNode:
		out := Map{}
		for i, v := range n.Values {
			out = append(out, Entry{v.Key.GetToken().Value, treeOf(valueOf(n, i))})
		}
		return out
	case *ast.SequenceNode:
		out := List{}
		for i := range n.Values {
			out = append(out, treeOf(valueOf(n, i)))
		}
		return out
	case *ast.StringNode:
		return said{true, n.Value}
	case *ast.LiteralNode:
		return said{true, n.Value.Value}
	case nil, *ast.NullNode:
		return nil
	}
	return said{false, n.GetToken().Value}
}

// said is a scalar as it is read: a text, or a number, a flag and the like.
type said struct {
	text  bool
	value string
}

// readAs turns a plain value into what it reads as.
func readAs(v any) any {
	switch v := v.(type) {
	case scalar:
		f := &faults{}
		if n := parseYAML("", []byte("v: "+string(v)), f); n != nil {
			return treeOf(n).(Map)[0].Value
		}
	case Map:
		out := Map{}
		for _, e := range v {
			out = append(out, Entry{e.Key, readAs(e.Value)})
		}
		return out
	case List:
		out := List{}
		for _, e := range v {
			out = append(out, readAs(e))
		}
		return out
	}
	return nil
}

// changed returns what a tree must be after an edit.
func changed(tree any, steps []step, do verb, v any) any {
	if len(steps) == 0 {
		return readAs(v)
	}
	s, last := steps[0], len(steps) == 1
	if s.key != "" {
		m, _ := tree.(Map)
		m = append(Map{}, m...)
		switch i := slices.IndexFunc(m, func(e Entry) bool { return e.Key == s.key }); {
		case i < 0:
			return append(m, Entry{s.key, changed(nil, steps[1:], do, v)})
		case last && do == remove:
			return slices.Delete(m, i, i+1)
		default:
			m[i].Value = changed(m[i].Value, steps[1:], do, v)
			return m
		}
	}
	l, _ := tree.(List)
	l = append(List{}, l...)
	switch {
	case s.index >= len(l):
		return append(l, changed(nil, steps[1:], do, v))
	case last && do == remove:
		return slices.Delete(l, s.index, s.index+1)
	case last && do == insert:
		return slices.Insert(l, s.index, readAs(v))
	}
	l[s.index] = changed(l[s.index], steps[1:], do, v)
	return l
}
