package cells

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Each of these begins a formula in some spreadsheet (OWASP, CSV Injection; the full-width signs are U+FF1D, U+FF0B, U+FF0D
// and U+FF20), behind blanks and a byte order mark too.
func TestNoTextBeginsAFormula(t *testing.T) {
	for _, sign := range []string{"=", "+", "-", "@", "＝", "＋", "－", "＠"} {
		for _, before := range []string{"", " ", "\t", "\r", "\n", "\u0085", "\u00a0", "\ufeff", "\u2028", " \t "} {
			got := Text(before + sign + "SUM(A1)")
			assert.True(t, strings.HasPrefix(got, "'"), "%q is written as %q", before+sign, got)
			assert.Equal(t, -1, strings.IndexAny(got, "\t\r\n\u0085\u2028"), "%q", got)
		}
	}
	for _, same := range []string{"", "x", "36", "3=4", "buccal − lingual", "a 'b'"} {
		assert.Equal(t, same, Text(same))
	}
	assert.Equal(t, "a\uFFFDb", Text("a\xffb"))
	assert.Equal(t, Text("＝x"), Text(Text("＝x")), "made safe twice is made safe once")
}

func TestNumbersHaveFourDecimalsOrAreEmpty(t *testing.T) {
	for x, want := range map[float64]string{2.5: "2.5000", -1: "-1.0000", -0.00001: "0.0000", 0.00005: "0.0001", 1e6: "1000000.0000"} {
		assert.Equal(t, want, Number(x))
		assert.Equal(t, want, Optional(&x))
	}
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Empty(t, Number(x))
		assert.Empty(t, Optional(&x))
		assert.Empty(t, Depth(&x))
	}
	assert.Empty(t, Optional(nil))
	assert.Empty(t, Depth(nil))
}

func TestDepthsHaveFewDigits(t *testing.T) {
	for x, want := range map[float64]string{3: "3", 2.5: "2.5", 10.26071: "10.2607", 0: "0"} {
		assert.Equal(t, want, Depth(&x))
	}
}

func TestNotesAreJoinedWithoutEmptyOnes(t *testing.T) {
	assert.Equal(t, "a; b", Note("", "a", "", "b"))
	assert.Equal(t, "a", Note("a", ""))
	assert.Empty(t, Note("", ""))
}
