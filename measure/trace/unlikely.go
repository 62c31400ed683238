package trace

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrUnlikely says that the path found is not what a canal between these marks is like. It is the sentinel of
// a refusal that [Options.AllowUnlikely] takes back.
var ErrUnlikely = errors.New("trace: an unlikely path")

const (
	longest = 1.6 // times the marks' distance; a half circle is 1.57, and no canal bends as much between two marks
	back    = 2.0 // mm against the way from one mark to the next; an anterior loop needs a mark at its turn
	doubted = 3.0 // mm; one or two millimetres without an edge are usual at a foramen
)

// unlikely returns what is unlike a canal about the path, each with its remedy.
func (p *Path) unlikely(marks []r3.Vec, o Options) (why []string) {
	straight := 0.0
	for i := 1; i < len(marks); i++ {
		straight += r3.Norm(r3.Sub(marks[i], marks[i-1]))
	}
	if p.Length > longest*straight {
		why = append(why, fmt.Sprintf("it is %.1f mm long where the marks lie %.1f mm apart; set more marks along the canal", p.Length, straight))
	}
	for i, mm := range p.turningBack(marks) {
		if mm > back {
			why = append(why, fmt.Sprintf("it turns back by %.1f mm between mark %d and mark %d; set a mark where the canal turns", mm, i+1, i+2))
		}
	}
	for _, s := range low(p.Confidence, p.step(), o.Least) {
		if s.To-s.From+p.step() >= doubted {
			why = append(why, fmt.Sprintf("the picture shows no canal from %.1f to %.1f mm along it (confidence down to %.2f, asked for %g); look there, set marks there, or mark the canal by hand", s.From, s.To, s.Confidence, o.Least))
		}
	}
	return why
}

// step returns the distance between the path's points, mm.
func (p *Path) step() float64 { return p.Length / float64(max(1, len(p.Points)-1)) }

// turningBack returns for each pair of neighbouring marks how far the path between them goes against the
// direction from the one to the other, mm.
func (p *Path) turningBack(marks []r3.Vec) []float64 {
	var out []float64
	from := 0
	for i := 1; i < len(marks); i++ {
		to := len(p.Points) - 1
		if i < len(marks)-1 {
			to = p.nearest(marks[i], from)
		}
		ahead := r3.Unit(r3.Sub(marks[i], marks[i-1]))
		most, worst := math.Inf(-1), 0.0
		for _, q := range p.Points[from : to+1] {
			s := r3.Dot(q, ahead)
			most = max(most, s)
			worst = max(worst, most-s)
		}
		out, from = append(out, worst), to
	}
	return out
}

// nearest returns which point, from the given one on, lies nearest to m.
func (p *Path) nearest(m r3.Vec, from int) int {
	best, at := math.Inf(1), from
	for i := from; i < len(p.Points); i++ {
		if d := r3.Norm2(r3.Sub(p.Points[i], m)); d < best {
			best, at = d, i
		}
	}
	return at
}

// judge refuses an unlikely path, or notes what is unlikely about it.
func (p *Path) judge(marks []r3.Vec, o Options) (*Path, error) {
	p.Unlikely = p.unlikely(marks, o)
	if len(p.Unlikely) > 0 && !o.AllowUnlikely {
		return nil, fmt.Errorf("%w: %s", ErrUnlikely, strings.Join(p.Unlikely, "; "))
	}
	return p, nil
}
