package measure_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// drawnJaw is a synthetic jaw of the campaign with its scan and what is true of it.
type drawnJaw struct {
	name    string
	made    *phantom.Jaw
	plan    phantom.Plan
	v       *volume.Volume
	centre  int   // tooth at the middle of a quadrant scan; 0: a whole jaw
	visible bool  // the canals show in the image as darker than the marrow
	open    []int // teeth that do not stand, but third molars
	truth   []safety.Structure
	ridges  map[r3.Vec]ridgeTrue // asked for so far

	cavities func() []phantom.PlanStructure // marked: sinus and nasal floor of an upper jaw
}

type ridgeTrue struct {
	phantom.Section
	phantom.AxisTruth
	err error
}

const lining = 0.8 // of the sinus, mm

// campaignJaw draws jaw n of the campaign: of every three two lower ones; without teeth, with a free end
// on both sides, with gaps; whole or a cube of 46 mm about a molar; walls, marrow and texture of many kinds.
func campaignJaw(n int, quadrant bool) *drawnJaw {
	r := rand.New(rand.NewPCG(uint64(n), 515))
	kind := phantom.Mandible
	if n%3 == 2 {
		kind = phantom.Maxilla
	}
	o := phantom.Random(uint64(9000+n), kind)
	o.Scan = phantom.Scan{Voxel: [3]float64{0.4, 0.4, 0.4}, Blur: 0.385 + 0.06*r.Float64(), Noise: 100 * r.Float64()}
	if r.IntN(3) == 0 {
		o.Scan.Turn = r3.Vec{X: 20 * (r.Float64() - 0.5), Y: 20 * (r.Float64() - 0.5), Z: 30 * (r.Float64() - 0.5)}
	}
	o.Hand = 0
	o.Shape.Width = 8 + 1.5*r.Float64() // wide enough that bone beside an implant does not decide
	o.Shape.CrestCap = o.Shape.Width / 2
	o.Shape.Septum, o.Shape.SinusMucosa = 0, lining
	o.Shape.CanalRadius = 1.2 + 0.5*r.Float64()
	o.Shape.CanalWall = []float64{0.4, 0.25, -1}[r.IntN(3)]
	marrow, texture := []float64{250, 350, 450}[r.IntN(3)], 20+60*r.Float64()
	if n%9 == 7 {
		o.Shape.CanalWall, marrow = -1, 80
	}
	o.Grey = phantom.Levels{Air: -1000, Fat: -100, Soft: 50, Marrow: marrow, Cortex: 1600, Dentine: 2000, Enamel: 2700, Metal: 4500, Texture: texture}
	j := &drawnJaw{ridges: map[r3.Vec]ridgeTrue{}, name: fmt.Sprintf("%v %d", kind, n)}
	q := [2]int{3, 1}[kind]
	standing := func(number int) bool {
		switch n / 3 % 3 {
		case 0:
			return false
		case 1:
			return number <= 3
		}
		return number != 6 && number != 5 && number != 2
	}
	o.Teeth = []int{}
	for _, quadrantOf := range []int{q, q + 1} {
		for number := 1; number <= 7; number++ {
			if tooth := 10*quadrantOf + number; standing(number) {
				o.Teeth = append(o.Teeth, tooth)
			} else {
				j.open = append(j.open, tooth)
			}
		}
	}
	if quadrant {
		j.centre = 10*(q+n%2) + 6
		small, err := o.Small(j.centre, 46)
		if err != nil {
			panic(err)
		}
		o = small
		j.name += " quadrant"
	}
	o.Sites = j.open
	var err error
	if j.made, err = phantom.New(o); err != nil {
		panic(err)
	}
	if j.v, err = j.made.Volume(context.Background(), nil); err != nil {
		panic(err)
	}
	j.plan = j.made.Plan()
	j.cavities = sync.OnceValue(func() []phantom.PlanStructure {
		if j.lower() {
			return nil
		}
		return j.markCavities()
	})
	for _, s := range j.plan.Structures {
		j.truth = append(j.truth, safety.Structure{Name: s.Name, Kind: safety.Kind(s.Kind), Path: s.Path, Radii: s.Radius, SD: s.SD})
	}
	j.visible = j.showsCanal(marrow, 1600)
	return j
}

// showsCanal reports whether the canals' middle is darker in the image than marrow by a twentieth of the step
// from marrow to cortex and more: a thin lumen between bright walls is not, once blurred.
func (j *drawnJaw) showsCanal(marrow, cortex float64) bool {
	sum, n := 0.0, 0.0
	for _, s := range j.truth {
		if s.Kind != safety.Canal {
			continue
		}
		for _, p := range s.Path[4 : len(s.Path)-4] { // neither in the ramus nor at the foramen
			if g := j.v.At(p); g == g {
				sum, n = sum+g, n+1
			}
		}
	}
	return n > 0 && marrow-sum/n >= (cortex-marrow)/20
}

// drawnJaws keeps the jaws drawn so far.
var drawnJaws = struct {
	sync.Mutex
	all map[string]*drawnJaw
}{all: map[string]*drawnJaw{}}

func jawOf(n int, quadrant bool) *drawnJaw {
	drawnJaws.Lock()
	defer drawnJaws.Unlock()
	key := fmt.Sprint(n, quadrant)
	if drawnJaws.all[key] == nil {
		drawnJaws.all[key] = campaignJaw(n, quadrant)
	}
	return drawnJaws.all[key]
}

func (j *drawnJaw) lower() bool { return j.plan.Jaw == phantom.Mandible }

// up is the direction from the base of the jaw toward the biting surface.
func (j *drawnJaw) up() r3.Vec {
	if j.lower() {
		return r3.Vec{Z: 1}
	}
	return r3.Vec{Z: -1}
}

// at returns the middle of a tooth's place on the arch.
func (j *drawnJaw) at(tooth int) r3.Vec {
	i := slices.IndexFunc(j.plan.Sites, func(s phantom.PlanSite) bool { return s.Tooth == tooth })
	return j.plan.Sites[i].At
}

// ridgeAt is the truth of the ridge at the arch's point nearest to p, along its own axis.
func (j *drawnJaw) ridgeAt(p r3.Vec) (phantom.Section, phantom.AxisTruth, error) {
	t, ok := j.ridges[p]
	if !ok {
		t.Section, _ = j.made.SectionAt(p)
		t.AxisTruth, t.err = j.made.TruthIn(t.Section, t.Section.Origin, nil)
		j.ridges[p] = t
	}
	return t.Section, t.AxisTruth, t.err
}

// inField reports whether p lies in the scan, margin mm from its ends.
func (j *drawnJaw) inField(p r3.Vec, margin float64) bool {
	for d := range 6 {
		off := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[d/2]
		if !j.v.Contains(j.v.Index(r3.Add(p, r3.Scale(margin*float64(2*(d%2)-1), off)))) {
			return false
		}
	}
	return true
}

// breach is a true clearance that breaks its margin.
type breach struct {
	to string  // the structure's name, the other implant's, "bone" or "sinus"
	by float64 // mm under the margin
}

// breaches lists every margin that the implant breaks in the jaw as it is.
func (j *drawnJaw) breaches(im safety.Implant) []breach {
	var out []breach
	for i := range j.truth {
		rule, ok := safety.Margins().For(&j.truth[i])
		if g, err := solid.Distance(im, j.truth[i]); ok && err == nil && g.Distance < rule.Margin {
			out = append(out, breach{j.truth[i].Name, rule.Margin - g.Distance})
		}
	}
	if by := j.outOfBone(im); by > 0 {
		out = append(out, breach{"bone", by})
	}
	if gap, ok := j.toCavity(im); ok && gap < 1 {
		out = append(out, breach{"cavity", 1 - gap})
	}
	return out
}

// outOfBone returns how far the implant's axis lies outside the bone, seen across the arch, mm: the most
// along it; 0 where it does not.
func (j *drawnJaw) outOfBone(im safety.Implant) float64 {
	worst := 0.0
	var sec phantom.Section
	for n := range int(im.Length) + 1 {
		q := r3.Add(im.Platform, r3.Scale(float64(n), im.Axis))
		if n%4 == 0 { // the arch bends by less than a degree a millimetre
			sec, _ = j.made.SectionAt(q)
		}
		if lingual, buccal, known := j.beside(sec, q, im.Axis); known {
			worst = max(worst, -lingual, -buccal)
		}
	}
	return worst
}

// beside returns how far the bone's outer surface lies from a point lingually and buccally, across axis
// in a section of the arch, mm; far outside it is −14 on both.
func (j *drawnJaw) beside(sec phantom.Section, q, axis r3.Vec) (lingual, buccal float64, known bool) {
	side := r3.Add(r3.Scale(-r3.Dot(axis, sec.Up), sec.Buccal), r3.Scale(r3.Dot(axis, sec.Buccal), sec.Up))
	if r3.Norm(side) < 0.2 {
		return 0, 0, false
	}
	if n, f, err := j.made.Chord(q, side, 14); err == nil {
		return -n, f, true
	}
	if !j.lower() {
		return 0, 0, false // the palate's bone goes on past the reach
	}
	return -14, -14, true
}

// toCavity returns the least distance along the implant's axis from its apical end to the lining of sinus
// or nose, under its middle and four points of its rim, mm; no distance in space to their floor is larger.
// It is where the sharp shape turns to air, less the lining.
func (j *drawnJaw) toCavity(im safety.Implant) (float64, bool) {
	if j.lower() {
		return 0, false
	}
	const far, step, air = 4.0, 0.25, -500 // mm, mm, grey value
	across := r3.Unit(r3.Cross(im.Axis, r3.Vec{X: 1, Y: 0.3}))
	sec, _ := j.made.SectionAt(im.Apex())
	least, found := far, false
	for _, off := range []r3.Vec{{}, across, r3.Scale(-1, across), r3.Cross(across, im.Axis), r3.Cross(im.Axis, across)} {
		p := r3.Add(im.Platform, r3.Scale(im.Diameter/2-0.1, off))
		for d := 3.0; d < im.Length+least; d += step {
			q := r3.Add(p, r3.Scale(d, im.Axis))
			if j.made.Grey(q) > air {
				continue
			}
			if lingual, buccal, known := j.beside(sec, q, im.Axis); !known || min(lingual, buccal) > 0 {
				least, found = d-im.Length-lining, true
			}
			break
		}
	}
	return least, found
}
