package quantity

import (
	"cmp"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func Example() {
	for _, q := range All() {
		if q.PerDepth && q.From == Crest {
			fmt.Printf("%s (%s): %s, %s below the %s\n", q.Name, q.Unit, q.Words, "at depths", q.From)
		}
	}
	fmt.Println(Of(Clearance).Negative)
	// Output:
	// ridge_width (mm): Ridge width, at depths below the crest
	// buccal_plate (mm): Buccal plate, at depths below the crest
	// lingual_plate (mm): Lingual plate, at depths below the crest
	// depth of overlap
}

// constants reads the names that quantity.go declares: Go itself cannot list its constants.
func constants(t *testing.T) map[Name]string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "quantity.go", nil, 0)
	require.NoError(t, err)
	out := map[Name]string{}
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			if kind, ok := v.Type.(*ast.Ident); ok && kind.Name == "Name" {
				out[Name(strings.Trim(v.Values[0].(*ast.BasicLit).Value, `"`))] = v.Names[0].Name
			}
		}
		return true
	})
	return out
}

func TestEveryQuantityHasItsEntryWhole(t *testing.T) {
	declared := constants(t)
	require.Len(t, All(), len(declared), "one entry a constant, and no other")
	for name, constant := range declared {
		require.True(t, name.Known(), "%s has no entry in the table", constant)
	}
	words, short := map[string]bool{}, map[string]bool{}
	for _, q := range All() {
		assert.Contains(t, []string{MM, MM2, MM3, Deg, Pure}, q.Unit, q.Name)
		assert.False(t, q.Words == "" || words[q.Words], "%s: words of its own", q.Name)
		assert.NotEmpty(t, q.Description, q.Name)
		assert.NotContains(t, q.Description[len(q.Description)-1:], ".", q.Name)
		assert.LessOrEqual(t, strings.Count(q.With, "%"), strings.Count(q.With, "%s"), q.Name)
		assert.False(t, q.PerDepth && q.From == NoDepth, "%s: depths from nowhere", q.Name)
		assert.Equal(t, q.Concept.Value == "", q.Concept.Meaning == "", q.Name)
		assert.False(t, q.EndsAtLimit && q.Unit != MM, q.Name)
		code := cmp.Or(q.Short, string(q.Name))
		assert.True(t, len(code) <= 16 && !short[code], "%s: %q is no code value of its own", q.Name, code)
		words[q.Words], short[code] = true, true
	}
}

// docs/csv.md says of each quantity what the table says, in the table's order.
func TestDocumentationHoldsTheTable(t *testing.T) {
	page, err := os.ReadFile("../../docs/csv.md")
	require.NoError(t, err)
	var want strings.Builder
	want.WriteString("| quantity | unit | `at_mm` counts from | what it is |\n| --- | --- | --- | --- |\n")
	for _, q := range All() {
		from := string(q.From)
		if from == "" {
			from = "–"
		}
		fmt.Fprintf(&want, "| `%s` | %s | %s | %s |\n", q.Name, q.Unit, from, q.Description)
	}
	if !strings.Contains(string(page), want.String()) {
		t.Errorf("docs/csv.md does not hold the table of quantities, which is:\n%s", want.String())
	}
}

func TestNothingIsMeasuredWithoutAnEntry(t *testing.T) {
	assert.PanicsWithValue(t, "quantity: bone_colour has no entry in the table", func() { Name("bone_colour").Unit() })
	assert.Equal(t, Quantity{Name: "bone_colour", Words: "bone colour"}, Of("bone_colour"), "what is read from a file is shown all the same")
}
