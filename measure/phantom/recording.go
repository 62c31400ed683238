package phantom

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// RecordOptions say how implant positions are recorded. The zero value records them exactly, in the patient's frame.
type RecordOptions struct {
	Seed  uint64
	Noise float64        // SD of each coordinate of a platform, mm
	Lean  float64        // SD of an axis about each of two directions across it, deg
	Turn  r3.Vec         // of the recording's frame: axis times angle in degrees, about the origin
	Shift r3.Vec         // and its shift after that, mm
	Off   map[int]r3.Vec // by how much the implant at a tooth was placed off its plan, patient LPS, mm
	As    []Placed       // how implants truly stand, by tooth; those not among them stand as planned, but for Off
}

// Recorded is an implant's platform and axis.
type Recorded struct {
	Tooth    int
	Platform r3.Vec // mm
	Axis     r3.Vec // unit, to the apex
}

// Recording is the planned implants of a jaw and what was recorded of them.
type Recording struct {
	Planned  []Recorded // patient LPS
	Placed   []Recorded // where they truly stand, patient LPS
	Recorded []Recorded // with the recording's error, in its own frame
	Errors   []r3.Vec   // of each recorded platform, the recording's frame, mm
}

// Record records the implants of the jaw's plan.
func (j *Jaw) Record(o RecordOptions) Recording {
	var out Recording
	r := rand.New(rand.NewPCG(o.Seed, 515))
	turn := func(v r3.Vec) r3.Vec { return v }
	if angle := r3.Norm(o.Turn); angle > 0 {
		turn = r3.NewRotation(angle*math.Pi/180, o.Turn).Rotate
	}
	vec := func(sd float64) r3.Vec {
		return r3.Scale(sd, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
	}
	for _, s := range j.plan.Sites {
		p := Recorded{s.Tooth, s.Platform, s.Implant}
		out.Planned = append(out.Planned, p)
		for _, x := range o.As {
			if x.Tooth == s.Tooth {
				p.Platform, p.Axis = x.Platform, x.Axis
			}
		}
		p.Platform = r3.Add(p.Platform, o.Off[s.Tooth])
		out.Placed = append(out.Placed, p)
		e := vec(o.Noise)
		p.Platform = r3.Add(r3.Add(turn(p.Platform), o.Shift), e)
		p.Axis = turn(p.Axis)
		lean := vec(o.Lean * math.Pi / 180)
		p.Axis = r3.Unit(r3.Add(p.Axis, r3.Sub(lean, r3.Scale(r3.Dot(lean, p.Axis), p.Axis))))
		out.Recorded, out.Errors = append(out.Recorded, p), append(out.Errors, e)
	}
	return out
}

// WritePositions writes positions as a table: implant,x,y,z,ax,ay,az; mm. With noise (SD of a coordinate, mm) and lean (of an
// axis, deg) there are u_mm and u_deg too, as the maker of a recorder states them; 0 and 0 is a plan.
func WritePositions(w io.Writer, list []Recorded, noise, lean float64) error {
	head, end := "implant,x,y,z,ax,ay,az", ""
	if noise != 0 || lean != 0 {
		head, end = head+",u_mm,u_deg", fmt.Sprintf(",%g,%g", noise, lean)
	}
	if _, err := fmt.Fprintln(w, head); err != nil {
		return err
	}
	for _, p := range list {
		if _, err := fmt.Fprintf(w, "%d,%.6f,%.6f,%.6f,%.6f,%.6f,%.6f%s\n", p.Tooth, p.Platform.X, p.Platform.Y, p.Platform.Z, p.Axis.X, p.Axis.Y, p.Axis.Z, end); err != nil {
			return err
		}
	}
	return nil
}
