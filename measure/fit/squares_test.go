package fit

import (
	"math"
	"testing"
)

// curve is y = b₁·(1 − e^(−b₂·x)), fitted to points with weights of their own.
type curve struct {
	x, y        []float64
	sd, limit   float64
	here, trial [2]float64
}

func (c *curve) residual(b [2]float64, i int) float64 {
	return (c.y[i] - b[0]*(1-math.Exp(-b[1]*c.x[i]))) / c.sd
}

func (c *curve) sum(b [2]float64) (sum float64) {
	for i := range c.x {
		loss, _ := Huber(c.residual(b, i), c.limit)
		sum += loss
	}
	return sum
}

func (c *curve) Move(d []float64) bool {
	c.trial = [2]float64{c.here[0] + d[0], c.here[1] + d[1]}
	return !math.IsNaN(c.trial[0])
}

func (c *curve) Look() float64 { return c.sum(c.trial) }
func (c *curve) Take()         { c.here = c.trial }

func (c *curve) Equations() *Equations {
	e := NewEquations(2, c.sum(c.here))
	for i, x := range c.x {
		r := c.residual(c.here, i)
		_, w := Huber(r, c.limit)
		away := math.Exp(-c.here[1] * x)
		j := [2]float64{(1 - away) / c.sd, c.here[0] * x * away / c.sd}
		for a := range 2 {
			row := e.Row(a)
			row[2] += w * j[a] * r
			for b := a; b < 2; b++ {
				row[b] += w * j[a] * j[b]
			}
		}
	}
	return e
}

// misra are dental-research data of the NIST's, with both of its starting values; what is certified is to eleven digits.
// Source: NIST StRD, nonlinear regression, Misra1a (from memory).
func misra(start [2]float64) *curve {
	return &curve{x: []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
		y:  []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78},
		sd: 1, limit: math.Inf(1), here: start}
}

func TestDescendFindsTheCertifiedValues(t *testing.T) {
	const b1, b2, squares = 2.3894212918e+02, 5.5015643181e-04, 1.2455138894e-01
	const sd1, sd2, residual = 2.7070075241e+00, 7.2668688436e-06, 1.0187876330e-01
	for _, start := range [][2]float64{{500, 1e-4}, {250, 5e-4}} {
		c := misra(start)
		e, ok := Descend(c, Descent{Steps: 200, Ease: 0.1, Settled: 1e-15})
		if !ok || math.Abs(c.here[0]/b1-1) > 1e-7 || math.Abs(c.here[1]/b2-1) > 1e-7 || math.Abs(c.sum(c.here)/squares-1) > 1e-9 {
			t.Errorf("from %v: %.10g, %.10g with %.10g, want %g, %g with %g", start, c.here[0], c.here[1], c.sum(c.here), b1, b2, squares)
		}
		cov, ok := e.Covariance(0)
		if !ok {
			t.Fatal("no covariance")
		}
		for i, want := range []float64{sd1, sd2} {
			if sd := residual * math.Sqrt(cov.At(i, i)); math.Abs(sd/want-1) > 1e-6 {
				t.Errorf("sd of b%d = %.10g, want %g", i+1, sd, want)
			}
		}
	}
}

// One foreign point of fourteen pulls a fit that weighs it after Huber by no more than one residual of the limit does.
func TestHuberHoldsAForeignPoint(t *testing.T) {
	off := func(limit float64) float64 {
		c := misra([2]float64{250, 5e-4})
		c.sd, c.limit = 0.1, limit
		c.y[6] += 20
		if _, ok := Descend(c, Descent{Steps: 200, Ease: 0.2, Settled: 1e-12}); !ok {
			t.Fatal("no answer")
		}
		return math.Abs(c.here[0] - 238.942)
	}
	if robust, plain := off(2), off(math.Inf(1)); robust > 3 || plain < 20 {
		t.Errorf("b₁ moves by %.2f with Huber's weights and by %.2f without", robust, plain)
	}
}

// By hand: inside the limit the square; beyond it the tangent there, and half the weight at twice the limit.
func TestHuberByHand(t *testing.T) {
	for _, c := range []struct{ r, loss, weight float64 }{{0, 0, 1}, {-2, 4, 1}, {2, 4, 1}, {4, 12, 0.5}, {-4, 12, 0.5}, {20, 76, 0.1}} {
		if loss, weight := Huber(c.r, 2); loss != c.loss || weight != c.weight {
			t.Errorf("Huber(%g, 2) = %g, %g, want %g, %g", c.r, loss, weight, c.loss, c.weight)
		}
	}
}

// With one unknown, one residual and what is known beforehand the answer is the mean weighted by 1/sd²; what nothing
// depends on stays.
func TestEquationsByHand(t *testing.T) {
	e := NewEquations(2, 0)
	e.AddSingle(0, 1/0.5, 3/0.5) // 3 ± 0.5 off
	e.AddPrior(0, 1, 1)          // 1 ± 1 off
	d, gain, ok := e.step(0)
	if want := (3*4 + 1.0) / 5; !ok || math.Abs(d[0]-want) > 1e-12 || d[1] != 0 || math.Abs(gain-13*want) > 1e-12 {
		t.Errorf("step %v, gain %g, want %g and 0, %g", d, gain, want, 13*want)
	}
	if cov, ok := e.Covariance(0); !ok || math.Abs(cov.At(0, 0)-0.2) > 1e-12 {
		t.Errorf("variance %v, want 0.2", cov)
	}
}

// nowhere is a problem whose every step leads uphill, or to no place at all.
type nowhere struct {
	moves   int
	refused bool
}

func (n *nowhere) Move([]float64) bool { n.moves++; return !n.refused }
func (n *nowhere) Look() float64       { return math.NaN() }
func (n *nowhere) Take()               { panic("taken") }
func (n *nowhere) Equations() *Equations {
	e := NewEquations(1, 1)
	e.AddSingle(0, 1, 1)
	return e
}

func TestDescendEndsWhereNoStepGains(t *testing.T) {
	up := &nowhere{}
	if _, ok := Descend(up, Descent{Steps: 1000, Ease: 0.1, Settled: 1e-4}); !ok || up.moves > 20 {
		t.Errorf("%d moves, answer %v; 8¹⁴ > 10¹²", up.moves, ok)
	}
	if _, ok := Descend(&nowhere{refused: true}, Descent{Steps: 1000, Ease: 0.1}); ok {
		t.Error("an answer where there is none")
	}
}
