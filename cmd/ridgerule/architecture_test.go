package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/quantity"
)

// The law of docs/architecture.md, held here: who imports whom, a sentence a package, a unit a
// float64, the top level, and a reason a dependency.

const repository = "../.."

// goPackage is what go list says of one of our packages.
type goPackage struct {
	ImportPath                         string
	Dir                                string
	GoFiles                            []string
	Imports, TestImports, XTestImports []string
}

// room returns the package's name within the module: "measure/ridge".
func (p goPackage) room() string { return strings.TrimPrefix(p.ImportPath, "ridgerule/") }

func packages(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Dir,GoFiles,Imports,TestImports,XTestImports", "./...")
	cmd.Dir = repository
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	var all []goPackage
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
		all = append(all, p)
	}
	require.NotEmpty(t, all)
	return all
}

func page(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(repository, "docs", name))
	require.NoError(t, err)
	return string(data)
}

// law is the table of docs/architecture.md: what each room (a path pattern) may import.
type law struct {
	room    string
	allowed []string // last parts of room names, or patterns
}

func laws(t *testing.T) []law {
	t.Helper()
	_, rest, found := strings.Cut(page(t, "architecture.md"), "```imports\n")
	require.True(t, found, "docs/architecture.md has no imports block")
	block, _, _ := strings.Cut(rest, "```")
	var all []law
	for line := range strings.Lines(block) {
		words := strings.Fields(line)
		require.NotEmpty(t, words)
		all = append(all, law{words[0], words[1:]})
	}
	return all
}

// under reports whether name is the room or, for a pattern that ends in /*, below it.
func under(pattern, name string) bool {
	if base, wild := strings.CutSuffix(pattern, "/*"); wild {
		return strings.HasPrefix(name, base+"/")
	}
	return name == pattern
}

func (l law) allows(room string) bool {
	return slices.ContainsFunc(l.allowed, func(a string) bool {
		return a == "*" || a == path.Base(room) || under(a, room)
	})
}

func TestImportsKeepTheLaw(t *testing.T) {
	table := laws(t)
	for _, p := range packages(t) {
		i := slices.IndexFunc(table, func(l law) bool { return under(l.room, p.room()) })
		if i < 0 {
			t.Errorf("%s is in no line of the imports block of docs/architecture.md", p.room())
			continue
		}
		for _, imported := range p.Imports {
			room, own := strings.CutPrefix(imported, "ridgerule/")
			if own && !table[i].allows(room) {
				t.Errorf("%s imports %s; docs/architecture.md allows it %v", p.room(), room, table[i].allowed)
			}
		}
	}
}

func TestEachPackageHasASentence(t *testing.T) {
	text := page(t, "architecture.md")
	for _, p := range packages(t) {
		row := regexp.MustCompile("(?m)^\\| `" + regexp.QuoteMeta(p.room()) + "` \\| (.*) \\|$").FindStringSubmatch(text)
		if row == nil || len(strings.Fields(row[1])) < 3 {
			t.Errorf("package %s has no sentence under Rooms in docs/architecture.md", p.room())
		}
	}
}

// unit is what a comment may say to give a float64 its unit.
var unit = regexp.MustCompile(`(?i)\b(mm|deg|degrees?|radians?|voxels?|pixels?|seconds?|ms|grey values?|without (a )?unit|no unit|units?|percent|shares?|relative|bytes?)\b|mm²|mm³|%`)

func TestExportedFloatsNameTheirUnit(t *testing.T) {
	for _, p := range packages(t) {
		for _, name := range p.GoFiles {
			file := filepath.Join(p.Dir, name)
			tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments|parser.SkipObjectResolution)
			require.NoError(t, err)
			for _, d := range tree.Decls {
				f, isFunc := d.(*ast.FuncDecl)
				if isFunc && isPublic(f) && returnsFloat(f) && !unit.MatchString(f.Doc.Text()) {
					t.Errorf("%s: the comment of %s names no unit for its float64", path.Join(p.room(), name), f.Name.Name)
				}
			}
		}
	}
}

func isPublic(f *ast.FuncDecl) bool {
	if !f.Name.IsExported() || f.Recv == nil {
		return f.Name.IsExported()
	}
	receiver := f.Recv.List[0].Type
	if star, ok := receiver.(*ast.StarExpr); ok {
		receiver = star.X
	}
	if generic, ok := receiver.(*ast.IndexExpr); ok {
		receiver = generic.X
	}
	name, ok := receiver.(*ast.Ident)
	return ok && name.IsExported()
}

func returnsFloat(f *ast.FuncDecl) bool {
	if f.Type.Results == nil {
		return false
	}
	return slices.ContainsFunc(f.Type.Results.List, func(r *ast.Field) bool {
		found := false
		ast.Inspect(r.Type, func(n ast.Node) bool {
			id, ok := n.(*ast.Ident)
			found = found || ok && (id.Name == "float64" || id.Name == "float32")
			_, isFunc := n.(*ast.FuncType)
			return !isFunc
		})
		return found
	})
}

// allowedTop are the entries of the repository's top level, dot-files aside.
var allowedTop = []string{"CITATION.cff", "DEVELOPERS.md", "LICENSE", "README.md", "cmd", "dicomio", "docs", "go.mod", "go.sum", "measure", "testdata"}

func TestTopLevelHoldsWhatItMay(t *testing.T) {
	for _, name := range topLevel(t) {
		if !strings.HasPrefix(name, ".") && !slices.Contains(allowedTop, name) {
			t.Errorf("the top level holds %s; give it a place inside", name)
		}
	}
	for _, name := range allowedTop {
		_, err := os.Stat(filepath.Join(repository, name))
		require.NoError(t, err)
	}
}

// topLevel lists what git tracks or is told to add. A result that a user left beside it is none of the
// repository's, and in a source archive nothing tells the two apart: there it is empty.
func topLevel(t *testing.T) []string {
	t.Helper()
	cmd := exec.Command("git", "ls-files", "--cached")
	cmd.Dir = repository
	out, err := cmd.Output()
	if err != nil {
		t.Log("no git repository: what may lie at the top level is not looked at")
	}
	var names []string
	for s := bufio.NewScanner(bytes.NewReader(out)); s.Scan(); {
		first, _, _ := strings.Cut(s.Text(), "/")
		names = append(names, first)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

var requirement = regexp.MustCompile(`(?m)^(?:require)?\s+(\S+\.\S+) v\S+`)

func TestEachDependencyHasAReason(t *testing.T) {
	mod, err := os.ReadFile(filepath.Join(repository, "go.mod"))
	require.NoError(t, err)
	var modules []string
	for _, m := range requirement.FindAllStringSubmatch(string(mod), -1) {
		modules = append(modules, m[1])
	}
	slices.SortFunc(modules, func(a, b string) int { return len(b) - len(a) }) // the longest prefix is the module
	text := page(t, "dependencies.md")
	for used := range imported(t) {
		i := slices.IndexFunc(modules, func(m string) bool { return used == m || strings.HasPrefix(used, m+"/") })
		require.GreaterOrEqual(t, i, 0, "go.mod does not require %s", used)
		if !strings.Contains(text, "`"+modules[i]+"`") {
			t.Errorf("docs/dependencies.md gives no reason for %s", modules[i])
		}
	}
}

// imported returns the packages of other modules that ours import, tests included.
func imported(t *testing.T) map[string]bool {
	used := map[string]bool{}
	for _, p := range packages(t) {
		for _, i := range slices.Concat(p.Imports, p.TestImports, p.XTestImports) {
			first, _, _ := strings.Cut(i, "/")
			if strings.Contains(first, ".") {
				used[i] = true
			}
		}
	}
	return used
}

// Each Markdown link to a file of the repository leads to one.
func TestLinksOfTheDocsLeadSomewhere(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^)#]+)(#[^)]*)?\)`)
	docs := []string{filepath.Join(repository, "README.md"), filepath.Join(repository, "DEVELOPERS.md")}
	require.NoError(t, filepath.WalkDir(filepath.Join(repository, "docs"), func(name string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(name, ".md") {
			docs = append(docs, name)
		}
		return err
	}))
	for _, name := range docs {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, m := range link.FindAllStringSubmatch(string(data), -1) {
			if strings.Contains(m[1], ":") {
				continue
			}
			if _, err := os.Stat(filepath.Join(filepath.Dir(name), m[1])); err != nil {
				t.Errorf("%s links to %s, which is not there", name, m[1])
			}
		}
	}
}

// A quantity is spelt in its table and nowhere else, tests aside: a name that is written again can be written wrong.
// Two margins are called as the quantities that they hold, and "reading" is a word of the language.
func TestQuantitiesAreSpeltOnce(t *testing.T) {
	others := []quantity.Name{quantity.BuccalPlate, quantity.LingualPlate, quantity.Reading}
	for _, p := range packages(t) {
		if p.room() == "measure/quantity" {
			continue
		}
		for _, name := range p.GoFiles {
			tree, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			ast.Inspect(tree, func(n ast.Node) bool {
				if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					q := quantity.Name(strings.Trim(lit.Value, "\"`"))
					if q.Known() && !slices.Contains(others, q) {
						t.Errorf("%s spells %s: take it from measure/quantity", path.Join(p.room(), name), lit.Value)
					}
				}
				return true
			})
		}
	}
}
