package safety

import (
	"errors"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// The table of method.md 5, number by number.
func TestDefaultMargins(t *testing.T) {
	want := map[string]float64{"canal": 2, "mental_foramen": 2, "anterior_loop": 2, "root": 1.5, "implant": 3, "buccal_plate": 1.5,
		"lingual_plate": 1.5, "sinus": 1, "nasal_floor": 1, "basal_cortex": 1, "incisive_canal": 1.5}
	got := Margins()
	if len(got) != len(want) || len(RuleNames()) != len(want) {
		t.Errorf("%d rules, %d names, want %d", len(got), len(RuleNames()), len(want))
	}
	for _, name := range RuleNames() {
		if r := got[name]; r.Margin != want[name] || r.Source == "" || r.Mark == "" {
			t.Errorf("%s: %+v, want %g mm with source and mark", name, r, want[name])
		}
	}
	for _, name := range []string{"sinus", "nasal_floor", "basal_cortex"} {
		if got[name].Source != "common practice, no source" {
			t.Errorf("%s claims a source: %q", name, got[name].Source)
		}
	}
}

func TestMarginsOverridden(t *testing.T) {
	r, err := Margins().With(map[string]float64{"canal": 3, "other": 1}, "clinic rule 7")
	if err != nil {
		t.Fatal(err)
	}
	if r["canal"] != (Rule{3, "clinic rule 7", "set in the plan"}) || !r.Changed("canal") || r.Changed("root") || Margins()["canal"].Margin != 2 {
		t.Errorf("rules %+v", r)
	}
	if none, err := Margins().With(map[string]float64{"canal": 0}, ""); err != nil || none["canal"].Margin != 0 || none["canal"].Source == "" {
		t.Errorf("a margin of 0: %+v, %v", none["canal"], err)
	}
	for _, bad := range []map[string]float64{{"nerve": 2}, {"canal": -1}, {"canal": math.NaN()}, {"canal": math.Inf(1)}} {
		if _, err := Margins().With(bad, ""); err == nil {
			t.Errorf("%v passed", bad)
		}
	}
}

// A canal 2.5 mm below a flat apex: marking 0.2 mm, edge 0.15 mm, scale 0.5 % of 2.5 mm.
func TestCheckByHand(t *testing.T) {
	im := upright(v(0, 0, 0), 4, 10)
	own := 2.4
	canal := capsule(1.5, v(-20, 0, -14), v(20, 0, -14))
	canal.SD = 0.2
	strict := canal
	strict.Name, strict.Margin = "strict", &own
	gone := capsule(1, v(4, 0, 0), v(4, 0, -10))
	gone.Kind, gone.PlannedRemoval = Root, true
	other := canal
	other.Kind = Other
	fs, err := Check(im, []Structure{canal, strict, gone, other}, Margins(), Options{Terms: []uncertainty.Term{{Name: "edge", Std: 0.15}}, ScaleHalf: 0.005})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "distance, mm", fs[0].Distance.Value, 2.5, 1e-12)
	near(t, "u, mm", fs[0].Distance.Std(), math.Sqrt(0.04+0.0225+math.Pow(2.5*0.005/math.Sqrt(3), 2)), 1e-12)
	if fs[0].Verdict != Uncertain || fs[0].Margin != 2 || !strings.HasPrefix(fs[0].Source, "Fokas") {
		t.Errorf("canal: %+v", fs[0])
	}
	if fs[1].Margin != 2.4 || fs[1].Source != "set in the plan for this structure" {
		t.Errorf("own margin: %+v", fs[1])
	}
	near(t, "root to be removed, mm", fs[2].Distance.Value, 1, 1e-12)
	if fs[2].Verdict != NoMargin || !strings.Contains(fs[2].Reason, "removed") {
		t.Errorf("root to be removed: %+v", fs[2])
	}
	if fs[3].Verdict != NoMargin || fs[3].Reason == "" {
		t.Errorf("other: %+v", fs[3])
	}
	worst := Worst(fs[0].Verdict, fs[1].Verdict, fs[2].Verdict, fs[3].Verdict)
	if worst != Uncertain || Worst() != NoMargin {
		t.Errorf("worst %q", worst)
	}
}

// Exactly marked in an exact image a distance has no uncertainty; a margin of 0 is one; bodies that touch do not
// overlap; a planned lift is told, and only where there is one.
func TestCheckOnItsBounds(t *testing.T) {
	none := 0.0
	touching := capsule(1, v(0, 0, -11))
	touching.Kind = Other
	bare := touching
	bare.Margin = &none
	sinus := capsule(1, v(0, 0, -15))
	sinus.Kind = Sinus
	lifted := sinus
	lifted.PlannedLift = 2
	fs, err := Check(upright(v(0, 0, 0), 4, 10), []Structure{touching, bare, sinus, lifted}, Margins(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		verdict  Verdict
		distance float64
		reason   string
	}{{NoMargin, 0, `no margin for kind "other": give margin_mm to have it judged`}, {Held, 0, ""}, {Held, 4, ""}, {Held, 4, "a lift of 2 mm is planned: shown, not judged"}} {
		f := fs[i]
		if f.Verdict != want.verdict || f.Distance.Value != want.distance || f.Reason != want.reason || len(f.Distance.Budget) != 0 {
			t.Errorf("%d: %+v, want %+v without an uncertainty", i, f, want)
		}
	}
}

func TestOverlapIsNotHeldWithItsDepth(t *testing.T) {
	fs, err := Check(upright(v(0, 0, 0), 4, 10), []Structure{capsule(1.5, v(-20, 0, -11), v(20, 0, -11))}, Margins(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "depth, mm", fs[0].Distance.Value, -0.5, 1e-9)
	if fs[0].Verdict != NotHeld {
		t.Errorf("verdict %q", fs[0].Verdict)
	}
}

// A body of a kind without a margin, inside the implant: not held, whatever its marking is worth.
func TestOverlapWithAnythingIsNotHeld(t *testing.T) {
	inside := capsule(1, v(0, 0, -5))
	inside.Kind, inside.SD = Other, 5
	fs, err := Check(upright(v(0, 0, 0), 4, 10), []Structure{inside}, Margins(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if fs[0].Verdict != NotHeld {
		t.Errorf("verdict %q at %g mm", fs[0].Verdict, fs[0].Distance.Value)
	}
}

func TestUnknownDistanceIsNeverHeld(t *testing.T) {
	f := Hold("sinus", Sinus, uncertainty.Length{Value: math.NaN()}, [2]r3.Vec{}, Margins(), string(Sinus), "")
	if f.Verdict != NotAssessed || f.Reason == "" {
		t.Errorf("%+v", f)
	}
	if f := Hold("sinus", Sinus, uncertainty.Length{Value: 9}, [2]r3.Vec{}, Margins(), string(Sinus), "not found"); f.Verdict != Held || f.Reason != "" {
		t.Errorf("%+v", f)
	}
	im := upright(v(0, 0, 0), 4, 10)
	for _, o := range []Options{{ScaleHalf: math.NaN()}, {Terms: []uncertainty.Term{{Std: math.NaN()}}}} {
		if fs, err := Check(im, []Structure{capsule(1, v(20, 0, 0))}, Margins(), o); err != nil || fs[0].Verdict != NotAssessed || fs[0].Reason == "" {
			t.Errorf("%+v %v", fs, err)
		}
		r, err := scene(t, capsule(1, v(20, 0, 0))).TrySizes(poses(), []Size{{Diameter: 3, Length: 8}}, slab(12, 0, 1), Margins(), o, nil)
		if err != nil || r[0].Verdict != NotAssessed {
			t.Errorf("%+v %v", r, err)
		}
	}
	if f := Hold("x", Other, uncertainty.Length{Value: 9}, [2]r3.Vec{}, Margins(), "other", ""); f.Verdict != NoMargin || f.Reason == "" {
		t.Errorf("%+v", f)
	}
}

func TestStructuresThatCannotBeHeldAreRefused(t *testing.T) {
	nan := math.NaN()
	for _, s := range []Structure{{SD: nan}, {SD: -1, Path: []r3.Vec{{}}, Radii: []float64{1}}, {Margin: &nan, Path: []r3.Vec{{}}, Radii: []float64{1}}, {Name: "empty"}} {
		if _, err := NewScene([]Structure{s}); !errors.Is(err, solid.ErrBody) {
			t.Errorf("%+v: %v", s, err)
		}
	}
}
