package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// declared are the names of the module's own code as a page may spell them: files by path and by base, packages, and
// functions, types and methods with and without their package or type.
func declared(t *testing.T) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for _, p := range packages(t) {
		room := path.Base(p.room())
		all[room] = true
		for _, file := range p.GoFiles {
			all[file], all[p.room()+"/"+file] = true, true
			tree, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, file), nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			for _, d := range tree.Decls {
				for _, name := range namesOf(d) {
					all[name], all[room+"."+name] = true, true
				}
			}
		}
	}
	return all
}

// namesOf returns what a declaration declares: a method by its type.
func namesOf(d ast.Decl) []string {
	switch d := d.(type) {
	case *ast.FuncDecl:
		if d.Recv == nil {
			return []string{d.Name.Name}
		}
		of := d.Recv.List[0].Type
		if star, ok := of.(*ast.StarExpr); ok {
			of = star.X
		}
		if of, ok := of.(*ast.Ident); ok {
			return []string{of.Name + "." + d.Name.Name}
		}
	case *ast.GenDecl:
		var names []string
		for _, s := range d.Specs {
			if s, ok := s.(*ast.TypeSpec); ok {
				names = append(names, s.Name.Name)
			}
		}
		return names
	}
	return nil
}

// spelt finds what a page sets in type; word is what of it is a file's or a declared name.
var (
	spelt = regexp.MustCompile("`([^`\n]+)`")
	word  = regexp.MustCompile(`^([\w/]+\.go|[A-Za-z]\w*(\.[A-Za-z]\w*)?)$`)
)

// The walk of one case through docs/architecture.md names files and functions that there are: who renames one is told here.
func TestTheWalkOfOneCaseNamesWhatThereIs(t *testing.T) {
	_, walk, found := strings.Cut(page(t, "architecture.md"), "## One case")
	require.True(t, found)
	walk, _, found = strings.Cut(walk, "\n## ")
	require.True(t, found)
	known, asked := declared(t), 0
	for _, m := range spelt.FindAllStringSubmatch(walk, -1) {
		if !word.MatchString(m[1]) {
			continue // a command line
		}
		asked++
		assert.True(t, known[m[1]], "docs/architecture.md walks past `%s`, which is not there", m[1])
	}
	assert.GreaterOrEqual(t, asked, 25, "the walk names few files and functions")
}
