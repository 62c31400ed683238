package study

import (
	"errors"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// yaml reads a list of mappings with the columns' names as keys. Columns stand in the order in which
// they first appear; a key that an item lacks is an empty cell.
func (r *manifestReader) yaml(data []byte) grid {
	if len(data) > maxYAML {
		r.fault(0, "write it as CSV", "the file is larger than %d MB, which is much for YAML", maxYAML>>20)
		return grid{}
	}
	tokens := lexer.Tokenize(string(data))
	if !r.guard(tokens) {
		return grid{}
	}
	tree, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		line, what := 0, err.Error()
		var y yaml.Error
		if errors.As(err, &y) && y.GetToken() != nil {
			line, what = lineOf(y.GetToken()), y.GetMessage()
		}
		r.fault(line, "mend the YAML there (or just above)", "not readable as YAML: %s", cut(what))
		return grid{}
	}
	var list *ast.SequenceNode
	if len(tree.Docs) == 1 {
		list, _ = tree.Docs[0].Body.(*ast.SequenceNode)
	}
	if list == nil {
		r.fault(0, "write a list: - {case: a, series: scan, plan: plan.yaml}", "the file is no list of readings")
		return grid{}
	}
	return r.items(list)
}

// guard refuses what the parser could choke on: it recurses without a limit, and its time grows
// with the square of the keys of one mapping. Tokens cost linear time.
func (r *manifestReader) guard(tokens token.Tokens) bool {
	at := depth{}
	for _, t := range tokens {
		if at.see(r, t); at.open > 2 || at.dashes > 1 {
			r.fault(at.line, "write one mapping a reading", "there are lists within lists")
		}
		if len(r.faults) > 0 {
			return false
		}
	}
	return true
}

// depth is where among a manifest's tokens the guard is: open brackets, dashes on this line, keys of this reading.
type depth struct{ open, dashes, keys, line int }

func (d *depth) see(r *manifestReader, t *token.Token) {
	if n := lineOf(t); n != d.line {
		d.line, d.dashes = n, 0
	}
	switch t.Type {
	case token.AnchorType, token.AliasType, token.TagType, token.MergeKeyType, token.MappingKeyType, token.DirectiveType:
		r.fault(d.line, "write the value itself", "%q is a YAML feature that a manifest does not use", cut(t.Value))
	case token.SequenceStartType:
		d.open++
	case token.MappingStartType:
		d.open, d.keys = d.open+1, 0
	case token.SequenceEndType, token.MappingEndType:
		d.open--
	case token.SequenceEntryType:
		d.dashes, d.keys = d.dashes+1, 0
	case token.MappingValueType:
		if d.keys++; d.keys > maxFurther+len(ownColumns) {
			r.fault(d.line, "leave some out", "more than %d keys in one reading", maxFurther+len(ownColumns))
		}
		if d.open == 0 && t.Prev != nil && t.Prev.Position != nil && t.Prev.Position.Column > 60 {
			r.fault(d.line, "write one mapping a reading", "a key stands in column %d", t.Prev.Position.Column)
		}
	}
}

func lineOf(t *token.Token) int {
	if t == nil || t.Position == nil {
		return 0
	}
	return max(0, t.Position.Line)
}

func (r *manifestReader) items(list *ast.SequenceNode) grid {
	var t grid
	for _, item := range list.Values {
		m, ok := item.(*ast.MappingNode)
		if !ok {
			r.fault(lineOf(item.GetToken()), "write one mapping a reading", "the item is no mapping of keys and values")
			continue
		}
		line := lineOf(m.GetToken())
		if len(m.Values) > 0 && !m.IsFlowStyle {
			line = lineOf(m.Values[0].Key.GetToken())
		}
		row := make([]string, len(t.columns))
		given := map[string]bool{}
		for _, pair := range m.Values {
			name := pair.Key.GetToken().Value
			if given[name] {
				r.fault(lineOf(pair.Key.GetToken()), "remove one", "key %q stands twice", cut(name))
			}
			given[name] = true
			i := slices.Index(t.columns, name)
			if i < 0 && len(t.columns) > maxFurther+len(ownColumns) {
				continue // too many columns is said once, at the end
			}
			if i < 0 {
				i, t.columns, row = len(t.columns), append(t.columns, name), append(row, "")
			}
			row[i] = r.scalar(pair.Value, name)
		}
		t.rows, t.lines = append(t.rows, row), append(t.lines, line)
	}
	for i := range t.rows {
		t.rows[i] = append(t.rows[i], make([]string, len(t.columns)-len(t.rows[i]))...)
	}
	return t
}

// scalar returns a value as it is written: 01 stays 01.
func (r *manifestReader) scalar(n ast.Node, key string) string {
	switch v := n.(type) {
	case *ast.NullNode, nil:
		return ""
	case *ast.LiteralNode:
		return strings.TrimSuffix(v.Value.Value, "\n")
	case ast.ScalarNode:
		return v.GetToken().Value
	}
	r.fault(lineOf(n.GetToken()), "write one value", "%q is not one value", cut(key))
	return ""
}
