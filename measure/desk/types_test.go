package desk

import (
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The page's scripts hold the types that their comments declare, by the TypeScript compiler (npm: typescript 5.9.3, a tool of
// development: nothing of it ships). .ci/run installs it.
func TestScriptsHoldTheirTypes(t *testing.T) {
	tsc, err := exec.LookPath("tsc")
	if err != nil {
		t.Skip("tsc is not installed (npm install -g typescript@5.9.3)")
	}
	out, err := exec.Command(tsc, "--allowJs", "--checkJs", "--noEmit", "--target", "es2024", "--module", "es2022", "--lib", "es2024,dom,dom.iterable",
		"page/main.js", "page/practice.js").CombinedOutput()
	assert.NoError(t, err, string(out))
}
