package plan

import (
	"bytes"
	"cmp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/token"
)

// The text of a plan as an edit sees it: where each value begins and ends, in bytes.
//
// The parser gives lines and columns. Columns count characters, lines are right only where each line ends in LF; so it
// sees the text with LF, and its places are looked up in the lines of the text as it is. A value ends where the token
// after its last one begins, less the space between them.

// document is a text with its syntax tree.
type document struct {
	text   []byte
	root   ast.Node
	json   bool
	eol    string
	lines  []int // where each line begins, bytes
	starts []int // where each token begins, comments included, bytes, ascending
	commas []int // where each comma between values stands, bytes, ascending
}

// holderNode is a mapping or a list.
type holderNode = ast.Node

func openText(text []byte) (*document, error) {
	f := &faults{}
	if len(text) > maxPlanBytes {
		f.add(Position{File: "plan"}, "", "leave out what is not a site plan", "the file is larger than %d MB", maxPlanBytes>>20)
		return nil, f.err()
	}
	seen := yamlBytes(lineEnds(text))
	root := parseYAML("plan", seen, f)
	if root == nil {
		return nil, f.err()
	}
	d := &document{text: text, root: root, eol: "\n", lines: []int{0}}
	d.json = bytes.HasPrefix(bytes.TrimLeft(seen, " \r\n"), []byte("{"))
	if bytes.HasPrefix(text, []byte("\xef\xbb\xbf")) {
		d.lines[0] = 3
	}
	for i := 0; i < len(text); i++ {
		end := "\n"
		switch {
		case text[i] == '\r' && i+1 < len(text) && text[i+1] == '\n':
			i++
			end = "\r\n"
		case text[i] == '\r':
			end = "\r"
		case text[i] != '\n':
			continue
		}
		if len(d.lines) == 1 {
			d.eol = end
		}
		d.lines = append(d.lines, i+1)
	}
	for _, t := range lexer.Tokenize(string(seen)) {
		at := d.offset(t)
		d.starts = append(d.starts, at)
		if t.Type == token.CollectEntryType {
			d.commas = append(d.commas, at)
		}
	}
	slices.Sort(d.starts)
	slices.Sort(d.commas)
	return d, nil
}

// offset returns where a token begins, bytes.
func (d *document) offset(t *token.Token) int {
	if t == nil || t.Position == nil || t.Position.Line < 1 || t.Position.Line > len(d.lines) {
		return len(d.text)
	}
	at := d.lines[t.Position.Line-1]
	for range t.Position.Column - 1 {
		_, size := utf8.DecodeRune(d.text[at:])
		at += size
	}
	return at
}

// tokenEnd returns where the token that begins at a byte ends.
func (d *document) tokenEnd(at int) int {
	i, _ := slices.BinarySearchFunc(d.starts, at, func(start, at int) int {
		if start <= at {
			return -1
		}
		return 1
	})
	end := len(d.text)
	if i < len(d.starts) {
		end = d.starts[i]
	}
	return at + len(bytes.TrimRight(d.text[at:end], " \t\r\n"))
}

// start returns where a value begins, bytes.
func (d *document) start(n ast.Node) int {
	switch n := n.(type) {
	case *ast.MappingNode:
		if !isFlow(n) {
			return d.offset(n.Values[0].Key.GetToken())
		}
		return d.offset(n.Start)
	case *ast.SequenceNode:
		return d.offset(n.Start)
	case *ast.LiteralNode:
		return d.offset(n.Start)
	}
	return d.offset(n.GetToken())
}

// end returns where a value ends, bytes.
func (d *document) end(n ast.Node) int {
	switch n := n.(type) {
	case *ast.MappingNode:
		if !isFlow(n) {
			return d.itemEnd(n, len(n.Values)-1)
		}
		return d.offset(n.End) + 1
	case *ast.SequenceNode:
		if !isFlow(n) {
			return d.itemEnd(n, len(n.Values)-1)
		}
		return d.offset(n.End) + 1
	case *ast.LiteralNode:
		return d.tokenEnd(d.offset(n.Value.GetToken()))
	}
	return d.tokenEnd(d.start(n))
}

// itemStart returns where the i-th key or element begins, bytes: its dash in a block.
func (d *document) itemStart(n holderNode, i int) int {
	switch n := n.(type) {
	case *ast.MappingNode:
		return d.offset(n.Values[i].Key.GetToken())
	case *ast.SequenceNode:
		if !isFlow(n) {
			return d.offset(n.Entries[i].Start)
		}
		return d.start(n.Values[i])
	}
	panic("plan: no holder")
}

// itemEnd returns where the i-th key's value or element ends, bytes.
func (d *document) itemEnd(n holderNode, i int) int {
	if v := valueOf(n, i); v != nil {
		return d.end(v)
	}
	switch n := n.(type) {
	case *ast.MappingNode:
		return d.tokenEnd(d.offset(n.Values[i].Start))
	case *ast.SequenceNode:
		return d.tokenEnd(d.itemStart(n, i))
	}
	panic("plan: no holder")
}

// headEnd returns where the colon of the i-th key, or the dash of the i-th element, ends.
func (d *document) headEnd(n holderNode, i int) int {
	if m, ok := n.(*ast.MappingNode); ok {
		return d.offset(m.Values[i].Start) + 1
	}
	return d.itemStart(n, i) + 1
}

// valueOf returns the i-th value of a mapping or list; nil for none.
func valueOf(n holderNode, i int) ast.Node {
	var v ast.Node
	switch n := n.(type) {
	case *ast.MappingNode:
		v = n.Values[i].Value
	case *ast.SequenceNode:
		v = n.Values[i]
	}
	if null, ok := v.(*ast.NullNode); ok && (null.GetToken() == nil || null.GetToken().Type == token.ImplicitNullType) {
		return nil
	}
	return v
}

func countOf(n holderNode) int {
	switch n := n.(type) {
	case *ast.MappingNode:
		return len(n.Values)
	case *ast.SequenceNode:
		return len(n.Values)
	}
	return 0
}

func isMap(n ast.Node) bool { _, ok := n.(*ast.MappingNode); return ok }

func isFlow(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.MappingNode:
		return n.IsFlowStyle
	case *ast.SequenceNode:
		return n.IsFlowStyle
	}
	return false
}

func isBlock(n ast.Node) bool { return (isMap(n) || isList(node{tree: n})) && !isFlow(n) }

// lineStart returns where the line of a byte begins.
func (d *document) lineStart(at int) int {
	i, _ := slices.BinarySearch(d.lines, at+1)
	return d.lines[max(i-1, 0)]
}

// lineEnd returns where the line of a byte ends, its line end not counted.
func (d *document) lineEnd(at int) int {
	if i := bytes.IndexAny(d.text[at:], "\r\n"); i >= 0 {
		return at + i
	}
	return len(d.text)
}

// nextLine returns where the line after the one that ends at a byte begins.
func (d *document) nextLine(end int) int {
	i, _ := slices.BinarySearch(d.lines, end+1)
	if i < len(d.lines) {
		return d.lines[i]
	}
	return len(d.text)
}

// lineEndBefore returns where the line before the one that begins at a byte ends.
func (d *document) lineEndBefore(start int) int {
	return d.lineEnd(d.lineStart(start - 1))
}

// column returns how many characters stand before a byte on its line.
func (d *document) column(at int) int { return utf8.RuneCount(d.text[d.lineStart(at):at]) }

func (d *document) blank(from, to int) bool { return len(bytes.TrimSpace(d.text[from:to])) == 0 }

func (d *document) commented(from, to int) bool { return bytes.ContainsRune(d.text[from:to], '#') }

// comma returns where the first comma between values after a byte stands; −1 for none before the next bracket or value.
func (d *document) comma(after int) int {
	i, _ := slices.BinarySearch(d.commas, after)
	k, _ := slices.BinarySearch(d.starts, after)
	for k < len(d.starts) && d.text[d.starts[k]] == '#' {
		k++
	}
	if i < len(d.commas) && k < len(d.starts) && d.commas[i] == d.starts[k] {
		return d.commas[i]
	}
	return -1
}

// aboveComments returns where the first of the comment lines that stand directly above a line begins.
func (d *document) aboveComments(line int) int {
	for line > d.lines[0] {
		above := d.lineStart(line - 1)
		if !bytes.HasPrefix(bytes.TrimLeft(d.text[above:line], " \t"), []byte("#")) {
			break
		}
		line = above
	}
	return line
}

// splice is what comes in place of some bytes; its line ends are LF and become the text's.
type splice struct {
	from, to int
	text     string
}

// apply returns the text with all splices made; nil where the parser's places cannot be right.
func (d *document) apply(all []splice) []byte {
	slices.SortFunc(all, func(a, b splice) int { return cmp.Compare(a.from, b.from) })
	var out []byte
	at := 0
	for _, s := range all {
		if s.from < at || s.to < s.from || s.to > len(d.text) {
			return nil
		}
		out = append(out, d.text[at:s.from]...)
		out = append(out, strings.ReplaceAll(s.text, "\n", d.eol)...)
		at = s.to
	}
	return append(out, d.text[at:]...)
}
