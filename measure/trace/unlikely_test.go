package trace

import (
	"errors"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// pathOn is a path along a curve, its confidence c everywhere.
func pathOn(points []r3.Vec, c float64) *Path {
	p := &Path{}
	for i, q := range points {
		p.Points, p.Confidence = append(p.Points, q), append(p.Confidence, c)
		if i > 0 {
			p.Length += r3.Norm(r3.Sub(q, points[i-1]))
		}
	}
	return p
}

// bow is an arc of a circle of radius 10 mm, over the given angle.
func bow(degrees float64) (points []r3.Vec) {
	for a := 0.0; a <= degrees; a += 2 {
		sin, cos := math.Sincos((a - degrees/2) * math.Pi / 180)
		points = append(points, r3.Vec{X: 10 * sin, Z: -10 * cos})
	}
	return points
}

// Arc over chord of a circle is (a/2)/sin(a/2): 1.11 at 90°, 1.57 at 180°, 2.04 at 220°, which turns back by
// r·(1−cos 20°) = 0.6 mm at each end, too little to matter. Source: elementary geometry.
func TestUnlikelyPathIsRefused(t *testing.T) {
	dip := pathOn(bow(90), 1)
	for i := 3; i < 14; i++ { // 11 points 0.35 mm apart, 3.8 mm with their own share
		dip.Confidence[i] = 0.25
	}
	short := pathOn(bow(90), 1)
	for i := 3; i < 8; i++ {
		short.Confidence[i] = 0
	}
	for _, c := range []struct {
		name  string
		p     *Path
		marks []r3.Vec // between the ends
		want  []string
	}{
		{"a quarter", pathOn(bow(90), 1), nil, nil},
		{"a half circle", pathOn(bow(180), 1), nil, nil},
		{"more than a half circle", pathOn(bow(220), 1), nil, []string{"apart"}},
		{"the same with a mark at the turn", pathOn(bow(220), 1), []r3.Vec{{Z: -10}}, nil},
		{"a hook", pathOn(append(bow(180), r3.Vec{X: 10, Z: 2}, r3.Vec{X: 7, Z: 2}), 1), nil, []string{"apart", "turns back by 3.0 mm between mark 1 and mark 2"}},
		{"no canal for 3.8 mm", dip, nil, []string{"shows no canal"}},
		{"no canal for 1.7 mm", short, nil, nil},
	} {
		marks := append(append([]r3.Vec{c.p.Points[0]}, c.marks...), c.p.Points[len(c.p.Points)-1])
		p, err := c.p.judge(marks, Options{}.withDefaults())
		if (p == nil) != (len(c.want) > 0) || (len(c.want) > 0) != errors.Is(err, ErrUnlikely) {
			t.Errorf("%s: %v, %v", c.name, p != nil, err)
		}
		p, err = c.p.judge(marks, Options{AllowUnlikely: true}.withDefaults())
		if err != nil || len(p.Unlikely) != len(c.want) {
			t.Errorf("%s, allowed: %v, %q", c.name, err, p.Unlikely)
			continue
		}
		for i, w := range c.want {
			if !strings.Contains(p.Unlikely[i], w) {
				t.Errorf("%s: %q, want %q", c.name, p.Unlikely[i], w)
			}
		}
	}
}

// Where the picture has nothing at all, the path between two marks is refused; it was once written with
// confidence 0.
func TestPathThroughNothingIsRefused(t *testing.T) {
	s := bar(sweep(-9, 9, func(x float64) r3.Vec { return r3.Vec{X: x} }))
	g, marks := s.straightGrid(0.5), s.ends()
	s.canal, s.texture = shift(s.canal, r3.Vec{X: 500}), 0
	v := s.paint(t, g)
	if _, err := Follow(t.Context(), v, marks, Options{}); !errors.Is(err, ErrUnlikely) {
		t.Errorf("not refused: %v", err)
	}
	p, err := Follow(t.Context(), v, marks, Options{AllowUnlikely: true})
	if err != nil || len(p.Unlikely) == 0 {
		t.Errorf("allowed: %v", err)
	}
}
