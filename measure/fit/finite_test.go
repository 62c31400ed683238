package fit

import (
	"math"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestFiniteFindsTheOneThatIsNot(t *testing.T) {
	assert.True(t, Finite())
	assert.True(t, Finite(r3.Vec{}, r3.Vec{X: -1e300, Y: 1e-300}))
	for _, bad := range []r3.Vec{{X: math.NaN()}, {Y: math.Inf(1)}, {X: math.Inf(1), Z: math.Inf(-1)}} {
		assert.False(t, Finite(r3.Vec{X: 1}, bad))
	}
}

func TestEachAsksForEachOnce(t *testing.T) {
	for _, n := range []int{0, 1, 2, 1000} {
		asked := make([]atomic.Int32, n)
		Each(n, func(i int) { asked[i].Add(1) })
		for i := range asked {
			assert.EqualValues(t, 1, asked[i].Load(), "%d of %d", i, n)
		}
	}
}
