package trace

import (
	"context"
	"fmt"
	"testing"
	"time"
)

func TestExplore(t *testing.T) {
	s := bar(sbend(40))
	v := s.paint(t, s.straightGrid(0.3))
	t0 := time.Now()
	smp, _ := newSampler(v)
	r, err := rough(context.Background(), smp, s.ends(), Options{}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	e := s.errors(r)
	fmt.Printf("rough mean %.3f p95 %.3f max %.3f in %v size %v\n", mean(e), quantile(e, .95), e[len(e)-1], time.Since(t0), v.Size)
	p, err := Follow(context.Background(), v, s.ends(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	e = s.errors(p.Points)
	fmt.Printf("mean %.3f p95 %.3f max %.3f len %.2f in %v\n", mean(e), quantile(e, .95), e[len(e)-1], p.Length, time.Since(t0))
	for i := range p.Points {
		d, _ := nearestOn(s.canal, p.Points[i])
		fmt.Printf("%d err %.3f sd %.3f r %.3f rsd %.3f c %.2f\n", i, d, p.SD[i], p.Radii[i], p.RadiusSD[i], p.Confidence[i])
	}
}
