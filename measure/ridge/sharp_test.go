package ridge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// facingOf is asked places at the bone's edge, the first of them with these blurs.
func facingOf(asked int, blur ...float64) facing { return facing{asked, blur} }

// many is n equal blurs.
func many(n int, blur float64) (out []float64) {
	for range n {
		out = append(out, blur)
	}
	return out
}

// Signs of motion, each alone and just short of it; a sharp series has none.
func TestSignsOfMotion(t *testing.T) {
	sharp := allFacings{facingOf(20, many(18, 0.4)...), facingOf(40, many(30, 0.4)...), facingOf(20, many(12, 0.4)...)}
	with := func(face int, f facing) allFacings {
		w := sharp
		w[face] = f
		return w
	}
	for name, c := range map[string]struct {
		w     allFacings
		lower bool
		want  string // part of the sign; empty: none
	}{
		"sharp":                             {sharp, true, ""},
		"one in eight is wide":              {with(faceAside, facingOf(40, append(many(22, 0.4), many(9, 0.6)...)...)), true, "drawn apart to 1.5 times"},
		"one in twenty is wide":             {with(faceAside, facingOf(40, append(many(27, 0.4), many(3, 0.6)...)...)), true, ""},
		"one way is wider":                  {with(faceAhead, facingOf(20, many(12, 0.49)...)), true, "face one way are 1.2 times"},
		"one way is hardly wider":           {with(faceAhead, facingOf(20, many(12, 0.47)...)), true, ""},
		"four walls tell nothing":           {with(faceAhead, facingOf(20, many(4, 0.49)...)), true, ""},
		"a lower jaw's base is lost":        {with(faceBase, facingOf(20, many(7, 0.4)...)), true, "at 31 of 80 places"},
		"an upper jaw has none":             {with(faceBase, facingOf(20, many(7, 0.4)...)), false, ""},
		"half of the base is lost":          {with(faceBase, facingOf(20, many(10, 0.4)...)), true, ""},
		"all that face ahead are lost":      {with(faceAhead, facingOf(20, 0.4)), false, "none of a single, sharp bone"},
		"all that face aside are lost":      {with(faceAside, facingOf(40, 0.4, 0.4)), false, "none of a single, sharp bone"},
		"one in ten ahead is left":          {with(faceAhead, facingOf(20, 0.4, 0.4)), false, ""},
		"few ask":                           {with(faceAhead, facingOf(11)), false, ""},
		"nearly all are lost":               {allFacings{facingOf(20), facingOf(40, many(5, 0.4)...), facingOf(20, many(3, 0.4)...)}, false, "at 72 of 80"},
		"nearly all of a small field are":   {allFacings{facingOf(20), facingOf(39, many(5, 0.4)...), facingOf(20, many(3, 0.4)...)}, false, ""},
		"nothing was seen, nothing is said": {allFacings{}, true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := c.w.motion(c.lower)
			require.Equal(t, c.want == "", got == "", got)
			require.True(t, strings.Contains(got, c.want), got)
		})
	}
}
