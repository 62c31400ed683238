package propose

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// A jaw as it lies in its scan. Heads are turned by turning the grid's place in the patient: the header then says
// what a scan of a turned head says. The truth is the jaw's own shape, asked in its own frame.
type subject struct {
	jaw  *phantom.Jaw
	kind plan.Jaw
	v    *volume.Volume
	back func(r3.Vec) r3.Vec // from the scan's frame to the jaw's
}

// pose is how a head is held, degrees: turned to the side, its face lifted, leaning.
type pose struct{ turn, pitch, roll float64 }

// to returns the turn of a head, and from its inverse.
func (q pose) to(p r3.Vec) r3.Vec {
	p = r3.NewRotation(q.roll*math.Pi/180, r3.Vec{Y: 1}).Rotate(p)
	p = r3.NewRotation(q.pitch*math.Pi/180, r3.Vec{X: 1}).Rotate(p)
	return r3.NewRotation(q.turn*math.Pi/180, r3.Vec{Z: 1}).Rotate(p)
}

func (q pose) from(p r3.Vec) r3.Vec {
	p = r3.NewRotation(-q.turn*math.Pi/180, r3.Vec{Z: 1}).Rotate(p)
	p = r3.NewRotation(-q.pitch*math.Pi/180, r3.Vec{X: 1}).Rotate(p)
	return r3.NewRotation(-q.roll*math.Pi/180, r3.Vec{Y: 1}).Rotate(p)
}

// held returns the jaw's volume with the head held so. The voxels are shared, the grid is not.
func held(j *phantom.Jaw, v *volume.Volume, q pose) subject {
	w := *v
	w.Origin = q.to(v.Origin)
	for i, s := range v.Step {
		w.Step[i] = q.to(s)
	}
	return subject{j, plan.Jaw(j.Options().Jaw.String()), &w, q.from}
}

// demo returns a lifelike jaw that several tests share.
func demo(t *testing.T, kind phantom.Kind) (*phantom.Jaw, *volume.Volume) {
	t.Helper()
	made := &shared[kind]
	made.once.Do(func() {
		o := phantom.Demo(kind)
		o.Seed = seed()
		made.j, made.v = jawOf(t, o)
	})
	require.NotNil(t, made.v)
	return made.j, made.v
}

var shared [2]struct {
	once sync.Once
	j    *phantom.Jaw
	v    *volume.Volume
}

// jawOf makes a jaw on a coarse grid: enough for a proposal, and quick.
func jawOf(t *testing.T, o phantom.Options) (*phantom.Jaw, *volume.Volume) {
	t.Helper()
	o.Scan.Voxel, o.Scan.Blur = [3]float64{0.8, 0.8, 0.8}, 0.3
	if o.Scan.Centre == nil {
		o.Scan.Size = [3]int{}
	}
	j, err := phantom.New(o)
	require.NoError(t, err)
	v, err := j.Volume(context.Background(), nil)
	require.NoError(t, err)
	return j, v
}

// off returns how far each millimetre of the proposed arch lies from the middle of the bone there, mm, sorted: of the
// outermost chord through the arch's point, across the arch and the occlusal direction. +Inf where no bone is.
func (s subject) off(p *Proposal) []float64 {
	w := &work{Proposal: p}
	if err := w.lay(p.Arch); err != nil {
		return []float64{math.Inf(1)}
	}
	var out []float64
	for at := 0.0; at <= w.curve.Length(); at++ {
		f := w.curve.Frame(at)
		near, far, err := s.jaw.Chord(s.back(f.Origin), s.back(f.U), 12)
		if err != nil {
			near, far = math.Inf(1), math.Inf(1)
		}
		out = append(out, math.Abs(near+far)/2)
	}
	slices.Sort(out)
	return out
}

// lean returns the angle between the proposed occlusal direction and the jaw's own, degrees.
func (s subject) lean(p *Proposal) float64 {
	up := s.back(p.Occlusal).Z
	if s.kind == plan.Maxilla {
		up = -up
	}
	return math.Acos(math.Min(1, up)) * 180 / math.Pi
}

func seed() uint64 {
	if s, err := strconv.ParseUint(os.Getenv("RIDGERULE_SEED"), 10, 64); err == nil {
		return s
	}
	return 1
}

// Two jaws, heads turned by up to 20° and tilted by up to 15°: the jaw is right, the arch runs within 1.5 mm of the
// ridge's middle over 95 % of its length, the midline within 5 mm (what a plan's checks allow a found one), the occlusal
// direction within 6° (twice the 3° below which the scan's own axis is kept). The plan is one that is read back whole.
func TestTurnedAndTiltedHeads(t *testing.T) {
	r := rand.New(rand.NewPCG(seed(), 5))
	for _, kind := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
		j, v := demo(t, kind)
		for _, q := range []pose{{}, {40*r.Float64() - 20, 30*r.Float64() - 15, 10*r.Float64() - 5}} {
			s := held(j, v, q)
			p, err := Look(context.Background(), s.v, Options{})
			require.NoError(t, err, "%v %v", kind, q)
			assert.Equal(t, s.kind, p.Jaw, "%v: %v", q, p.Votes)
			off := s.off(p)
			assert.Less(t, off[len(off)*95/100], 1.5, "%v %v: mm from the ridge's middle", kind, q)
			assert.Less(t, s.lean(p), 6.0, "%v %v: degrees", kind, q)
			if assert.NotNil(t, p.Midline, "%v %v", kind, q) {
				assert.InDelta(t, 0, s.back(*p.Midline).X, 5, "%v %v: mm", kind, q)
			}
			readBack(t, p, q)
		}
	}
}

// readBack holds that the written plan is read whole, with every part marked.
func readBack(t *testing.T, p *Proposal, q pose) {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, p.WritePlan(&b, Header{Case: "proposed"}))
	read, _, err := plan.Read("plan.yaml", b.Bytes(), nil)
	require.NoError(t, err, "%v\n%s", q, b.String())
	assert.Equal(t, []string{"jaw", "occlusal", "arch"}, read.Proposed)
	for _, s := range read.Sites {
		assert.True(t, s.Proposed, "site %s", s.ID)
	}
	for _, s := range read.Structures {
		assert.True(t, s.Proposed, "structure %s", s.Name)
		assert.NotEqual(t, "canal", string(s.Kind))
	}
}

// Rows stored from the other end, with the header that says so, are the same patient: the same proposal.
func TestStoredTheOtherWayRound(t *testing.T) {
	j, v := demo(t, phantom.Mandible)
	s := held(j, v, pose{})
	w := *v
	w.Stored = slices.Clone(v.Stored)
	for row := range v.Size[1] * v.Size[2] {
		slices.Reverse(w.Stored[row*v.Size[0] : (row+1)*v.Size[0]])
	}
	w.Origin = v.Patient(volume.Index{I: float64(v.Size[0] - 1)})
	w.Step[0] = r3.Scale(-1, v.Step[0])
	a, err := Look(context.Background(), s.v, Options{})
	require.NoError(t, err)
	b, err := Look(context.Background(), &w, Options{})
	require.NoError(t, err)
	assert.Equal(t, a.Jaw, b.Jaw)
	require.Len(t, b.Arch, len(a.Arch))
	for i := range a.Arch {
		assert.InDelta(t, 0, r3.Norm(r3.Sub(a.Arch[i], b.Arch[i])), 0.1, "point %d, mm", i)
	}
}

// A header that says the head stands on its head gets no jaw: the image contradicts it.
func TestUpsideDownHeaderCannotTell(t *testing.T) {
	j, v := demo(t, phantom.Maxilla)
	s := held(j, v, pose{roll: 180})
	p, err := Look(context.Background(), s.v, Options{})
	require.Error(t, err, "%v", p)
	assert.True(t, errors.Is(err, ErrJaw) || errors.Is(err, ErrArch), err)
}

// What shows no jaw is refused with a reason and a remedy.
func TestNothingToPropose(t *testing.T) {
	v, err := volume.New(volume.Grid{Size: [3]int{60, 60, 40}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	require.NoError(t, err)
	_, err = Look(context.Background(), v, Options{})
	require.ErrorIs(t, err, ErrArch)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range v.Stored {
		v.Stored[i] = int16(1000 * r.Float64())
	}
	_, err = Look(context.Background(), v, Options{})
	require.ErrorIs(t, err, ErrArch)
	var why *Refusal
	require.ErrorAs(t, err, &why)
	assert.NotEmpty(t, why.Why)
	assert.NotEmpty(t, why.Remedy)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = Look(ctx, v, Options{})
	assert.ErrorIs(t, err, context.Canceled)
}
