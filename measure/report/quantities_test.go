package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every quantity that the room measure writes has its words, stands in the data package's list, and is
// explained in docs/csv.md; and nothing else is in the list.
func TestEveryQuantityIsListedAndExplained(t *testing.T) {
	page, err := os.ReadFile("../../docs/csv.md")
	require.NoError(t, err)
	written, named := quantityLiterals(t)
	require.Greater(t, len(written), 15, "the source was not understood")
	var listed []string
	for _, c := range MeasurementColumns() {
		if c.Name == "quantity" {
			listed = c.Limits.Enum
		}
	}
	for _, q := range written {
		assert.Contains(t, listed, q, "a Row's quantity that has no words")
	}
	for _, q := range listed {
		assert.Contains(t, string(page), "`"+q+"`", "docs/csv.md")
		assert.Contains(t, named, q, "a quantity that the room measure does not name")
	}
}

// quantityLiterals reads the source of the room measure: the texts given as a Row's quantity, to a function
// whose first parameter is one, or listed in a variable of them; and all texts that look like a name.
func quantityLiterals(t *testing.T) (written, named []string) {
	t.Helper()
	names, err := filepath.Glob("../*.go")
	require.NoError(t, err)
	var files []*ast.File
	for _, name := range names {
		if !strings.HasSuffix(name, "_test.go") {
			f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			require.NoError(t, err)
			files = append(files, f)
		}
	}
	text := func(e ast.Expr) string {
		if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			return strings.Trim(lit.Value, "\"`")
		}
		return ""
	}
	takers := map[string]bool{}
	takes := func(name string, f *ast.FuncType) {
		if p := f.Params.List; len(p) > 0 && len(p[0].Names) > 0 && p[0].Names[0].Name == "quantity" {
			takers[name] = true
		}
	}
	each := func(visit func(ast.Node) bool) {
		for _, f := range files {
			ast.Inspect(f, visit)
		}
	}
	each(func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncDecl:
			takes(n.Name.Name, n.Type)
		case *ast.AssignStmt:
			if f, ok := n.Rhs[0].(*ast.FuncLit); ok {
				if name, ok := n.Lhs[0].(*ast.Ident); ok {
					takes(name.Name, f.Type)
				}
			}
		}
		return true
	})
	name := regexp.MustCompile(`^[a-z]+(_[a-z0-9]+)*$`)
	each(func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.KeyValueExpr:
			if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Quantity" {
				written = append(written, text(n.Value))
			}
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.Ident); ok && takers[f.Name] && len(n.Args) > 0 {
				written = append(written, text(n.Args[0]))
			}
		case *ast.ValueSpec:
			if strings.HasSuffix(n.Names[0].Name, "Quantities") && len(n.Values) == 1 {
				if list, ok := n.Values[0].(*ast.CompositeLit); ok {
					for _, e := range list.Elts {
						written = append(written, text(e))
					}
				}
			}
		case *ast.BasicLit:
			if s := text(n); name.MatchString(s) {
				named = append(named, s)
			}
		}
		return true
	})
	written = slices.DeleteFunc(written, func(s string) bool { return s == "" })
	slices.Sort(written)
	return slices.Compact(written), named
}
