package plan

import (
	"errors"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Nothing reaches the YAML parser unseen: it recurses without a limit (a stack that overflows
// cannot be recovered from) and its time grows with the square of the keys in one mapping. The
// guard reads the tokens, which cost linear time, and refuses what no plan needs.
const (
	maxPlanBytes = 4 << 20
	maxNesting   = 16 // brackets within brackets, or dashes on one line
	maxKeys      = 64 // keys of one mapping
	maxTokens    = 500_000
)

// parseYAML returns the only document of a YAML or JSON text, or the fault that stopped it.
func parseYAML(file string, data []byte, f *faults) ast.Node {
	tokens := lexer.Tokenize(string(data))
	if len(tokens) > maxTokens {
		f.add(Position{File: file}, "", "make several plans", "the file holds more than %d values and signs", maxTokens)
		return nil
	}
	guard := guard{file: file, faults: f}
	for _, t := range tokens {
		if guard.see(t); len(f.list) == mostFaults {
			break
		}
	}
	if len(f.list) > 0 {
		return nil
	}
	tree, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		at, what := syntaxFault(file, err)
		f.add(at, "", "mend the YAML there (or just above)", "not readable as YAML: %s", what)
		return nil
	}
	for _, doc := range tree.Docs {
		if doc.Body != nil {
			return doc.Body
		}
	}
	f.add(Position{File: file}, "", "write a site plan that begins with format: 1", "the file holds nothing")
	return nil
}

// syntaxFault takes the place and the message out of a parser's error.
func syntaxFault(file string, err error) (Position, string) {
	var y yaml.Error
	if errors.As(err, &y) && y.GetToken() != nil {
		return markOf(file, y.GetToken()), y.GetMessage()
	}
	return Position{File: file}, quoted(err.Error())
}

func markOf(file string, t *token.Token) Position {
	if t == nil || t.Position == nil {
		return Position{File: file}
	}
	return Position{File: file, Line: max(t.Position.Line, 0), Column: max(t.Position.Column, 0)}
}

// columnKeys counts the keys of a block mapping, which stand in one column.
type columnKeys struct{ column, keys int }

// guard walks the tokens of a file.
type guard struct {
	file   string
	faults *faults
	flow   []int        // keys so far in each open bracket
	block  []columnKeys // the open block mappings, outermost first
	dashes int          // list dashes on this line
	line   int
	began  bool // a value has been seen, so that another document may not begin
}

// see takes the next token.
func (g *guard) see(t *token.Token) {
	if t.Position != nil && t.Position.Line != g.line {
		g.line, g.dashes = t.Position.Line, 0
	}
	switch t.Type {
	case token.AnchorType, token.AliasType, token.TagType, token.MergeKeyType, token.MappingKeyType, token.DirectiveType:
		g.refuse(t, "write the value itself", "%s is a YAML feature that a plan does not use", quoted(t.Value))
	case token.DocumentHeaderType:
		if g.began {
			g.refuse(t, "keep one plan a file", "a second document begins")
		}
	case token.SequenceStartType, token.MappingStartType:
		g.open(t)
	case token.SequenceEndType, token.MappingEndType:
		g.flow = g.flow[:max(0, len(g.flow)-1)]
	case token.SequenceEntryType:
		g.dash(t)
	case token.MappingValueType:
		g.key(t)
	case token.CollectEntryType, token.SingleQuoteType, token.DoubleQuoteType:
		g.beside(t)
	}
	if t.Type != token.CommentType && t.Type != token.DocumentHeaderType {
		g.began = true
	}
}

// beside refuses a comma behind a comma, and a quoted text behind another.
func (g *guard) beside(t *token.Token) {
	quoted := func(of token.Type) bool { return of == token.SingleQuoteType || of == token.DoubleQuoteType }
	switch {
	case t.Prev == nil:
	case t.Type == token.CollectEntryType && t.Prev.Type == token.CollectEntryType:
		g.refuse(t, "remove one or write the value between them", "two commas stand side by side")
	case quoted(t.Type) && quoted(t.Prev.Type):
		g.refuse(t, "put a comma or a line end between them", "two texts stand side by side")
	}
}

func (g *guard) refuse(t *token.Token, remedy, format string, args ...any) {
	g.faults.add(markOf(g.file, t), "", remedy, format, args...)
}

func (g *guard) open(t *token.Token) {
	g.flow = append(g.flow, 0)
	if len(g.flow) == maxNesting+1 {
		g.refuse(t, "close the brackets before it", "more than %d brackets are open", maxNesting)
	}
}

func (g *guard) dash(t *token.Token) {
	g.forget(t.Position.Column)
	if g.dashes++; g.dashes == maxNesting+1 {
		g.refuse(t, "a plan needs one dash, or two for a point written with dashes", "more than %d list dashes on one line", maxNesting)
	}
}

// key counts a key with its mapping: the innermost bracket, or the block mapping at the key's
// column.
func (g *guard) key(t *token.Token) {
	if n := len(g.flow); n > 0 {
		if g.flow[n-1]++; g.flow[n-1] == maxKeys+1 {
			g.refuse(t, "remove what no plan has", "more than %d keys in one mapping", maxKeys)
		}
		return
	}
	key := t
	if t.Prev != nil {
		key = t.Prev
	}
	column := key.Position.Column
	g.forget(column)
	if n := len(g.block); n == 0 || g.block[n-1].column < column {
		g.block = append(g.block, columnKeys{column: column})
	}
	if len(g.block) == maxNesting+1 {
		g.refuse(key, "write a plan's keys", "more than %d mappings within mappings", maxNesting)
	}
	last := &g.block[len(g.block)-1]
	if last.keys++; last.keys == maxKeys+1 {
		g.refuse(key, "remove what no plan has", "more than %d keys in one mapping", maxKeys)
	}
}

// forget ends the block mappings that stand to the right of column.
func (g *guard) forget(column int) {
	for n := len(g.block); n > 0 && g.block[n-1].column > column; n-- {
		g.block = g.block[:n-1]
	}
}
