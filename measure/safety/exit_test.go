package safety

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// flatTooth is a planned tooth for tests: the axis leaves it where it pierces the plane z = at, and may do so within half of y = middle.
type flatTooth struct {
	at, middle, half float64 // mm
	u                float64 // mm
	why, doubt       string
}

func (f flatTooth) Reserve(im Implant) (float64, float64, string) {
	if f.why != "" {
		return math.NaN(), math.NaN(), f.why
	}
	return f.half - math.Abs(f.leaves(im)-f.middle), f.u, ""
}

func (f flatTooth) Doubt() string { return f.doubt }

// leaves is y there.
func (f flatTooth) leaves(im Implant) float64 {
	return r3.Add(im.Platform, r3.Scale((f.at-im.Platform.Z)/im.Axis.Z, im.Axis)).Y
}

// within tries one size in a wide slab of bone, where the middle (y = 0) is the best place but for the tooth.
func within(t *testing.T, wide float64, tooth Exit, absent []Finding) SizeResult {
	t.Helper()
	p := poses()
	p.Exit = tooth
	r, err := scene(t).TrySizes(p, []Size{{Diameter: 4, Length: 10}}, slab(wide, 0.1, 1), Margins(), Options{}, absent)
	require.NoError(t, err)
	return r[0]
}

// A safety rule: the search keeps the axis within the window, and says held only of a pose whose axis lies within it with U as the guard
// band. A window that no pose reaches is not held; one that only some of U reaches is uncertain.
func TestSizeSearchKeepsTheExitWithinTheWindow(t *testing.T) {
	free := within(t, 16, nil, nil)
	require.Equal(t, Held, free.Verdict)
	tooth := flatTooth{at: 12, middle: 2, half: 1, u: 0.1}
	require.Greater(t, math.Abs(tooth.leaves(free.Implant)-2), 1.0, "without the window it would leave beyond it")
	kept := within(t, 16, tooth, nil)
	require.Equal(t, Held, kept.Verdict)
	require.LessOrEqual(t, math.Abs(tooth.leaves(kept.Implant)-2), 1-0.2, "within the window by U")

	// Beyond all poses: these turn and shift the exit by so much at most.
	most := poses()
	reach := most.Lateral[1] + 12*math.Tan(math.Max(-most.InSection[0], most.InSection[1])*math.Pi/180)
	far := within(t, 16, flatTooth{at: 12, middle: reach + 4, half: 1, u: 0.1}, nil)
	require.Equal(t, NotHeld, far.Verdict)
	require.Equal(t, ExitWindow, far.Limit)
	require.Negative(t, far.Reserve)
	require.InDelta(t, 0.2, far.U, 1e-12)

	unsure := within(t, 16, flatTooth{at: 12, half: 1, u: 0.6}, nil)
	require.Equal(t, Uncertain, unsure.Verdict)
	require.Equal(t, ExitWindow, unsure.Limit)
}

// A safety rule: an exit that is not known is not assessed, and a tooth whose place nobody accepted leaves nothing held; neither hides
// what is surely not held.
func TestExitThatIsNotKnownIsNeverHeld(t *testing.T) {
	r := within(t, 16, flatTooth{why: "the axis does not meet its planned tooth"}, nil)
	require.Equal(t, NotAssessed, r.Verdict)
	require.Contains(t, r.Reason, "does not meet")
	r = within(t, 16, flatTooth{at: 12, half: 1, u: 0.1, doubt: "accepted by nobody"}, nil)
	require.Equal(t, Uncertain, r.Verdict)
	require.Equal(t, "accepted by nobody", r.Reason)
	require.Empty(t, LargestHeld([]SizeResult{r}))
	for _, tooth := range []flatTooth{{why: "not known"}, {at: 12, half: 1, u: 0.1, doubt: "accepted by nobody"}} {
		require.Equal(t, NotHeld, within(t, 4.5, tooth, nil).Verdict, "bone of 4.5 mm holds no 4 mm and its margins")
	}
	r = within(t, 16, flatTooth{at: 12, half: 1, u: 0.1, doubt: "accepted by nobody"}, []Finding{{Verdict: NotAssessed, Reason: "canal not marked"}})
	require.Equal(t, NotAssessed, r.Verdict, "what is absent stays worse than the doubt")
}

// What the search compares is what the result tells, the window included.
func TestScoreHasTheExit(t *testing.T) {
	p := poses()
	p.Exit = flatTooth{at: 12, middle: 2, half: 1, u: 0.1}
	f := sizeSearch{scene: scene(t), poses: p, bone: slab(16, 0.1, 1), rules: Margins()}
	f.prepare()
	size := Size{Diameter: 4, Length: 10}
	for _, at := range []Pose{{}, {Lateral: 1}, {InSection: -5}} {
		reserve, u, _ := p.Exit.Reserve(p.implant(size, at))
		bone, ub, _ := f.bone.Reserve(p.implant(size, at), math.Inf(-1))
		require.InDelta(t, math.Min(reserve-2*u, bone-2*ub), f.score(size, at, math.Inf(-1)), 1e-12)
	}
}
