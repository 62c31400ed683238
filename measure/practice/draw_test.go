package practice

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ridgerule/measure/phantom"
)

func draw(t *testing.T, o Options) *Set {
	t.Helper()
	if o.Salt == nil {
		o.Salt = []byte("sixteen bytes...")
	}
	s, err := Draw(o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// With one salt, names, noise, series and the places of field and picture are the same whatever the seed, and so
// whatever the truth: nothing of them can tell it.
func TestNamesAndPlacesDoNotFollowFromTheTruth(t *testing.T) {
	a, b := draw(t, Options{Items: 6, Seed: 1}), draw(t, Options{Items: 6, Seed: 2})
	other := draw(t, Options{Items: 6, Seed: 1, Salt: []byte("another salt, 16")})
	differ := false
	for i := range a.Key.Items {
		x, y, z := a.Key.Items[i], b.Key.Items[i], other.Key.Items[i]
		differ = differ || x.Truth != y.Truth
		if x.Sheet.Item != y.Sheet.Item || x.Offset != y.Offset || x.Series != y.Series || x.Jaw.Seed != y.Jaw.Seed {
			t.Errorf("item %d: %s %v and %s %v for two seeds and one salt", i, x.Sheet.Item, x.Offset, y.Sheet.Item, y.Offset)
		}
		if x.Sheet.Item == z.Sheet.Item || x.Jaw.Seed == z.Jaw.Seed {
			t.Errorf("item %d: the salt does not change name or noise", i)
		}
		if x.Sheet.Width != z.Sheet.Width || x.Sheet.Height != z.Sheet.Height {
			t.Errorf("item %d: a picture of another size", i)
		}
	}
	if !differ {
		t.Error("two seeds gave one set of truths")
	}
}

// A sheet has no field that a truth could stand in: whoever adds one must look at this list.
func TestASheetHoldsNoTruth(t *testing.T) {
	var fields []string
	for i := range reflect.TypeFor[Sheet]().NumField() {
		fields = append(fields, reflect.TypeFor[Sheet]().Field(i).Name)
	}
	if want := []string{"Item", "Jaw", "Tooth", "Question", "Frame", "Width", "Height", "View", "Body"}; !slices.Equal(fields, want) {
		t.Errorf("a sheet has %v, want %v", fields, want)
	}
}

func TestTheSameOptionsGiveTheSameSet(t *testing.T) {
	o := Options{Items: 4, Seed: 9, Repeats: 0.25}
	a, b := draw(t, o), draw(t, o)
	if !reflect.DeepEqual(a, b) {
		t.Error("two sets of the same options differ")
	}
}

// A repeat is the mirror image of another item: the other side, another name and noise, the same truth; and no
// direction of a section tells it, for all sections of a tooth and its mirror image have one.
func TestARepeatIsTheSiteAgain(t *testing.T) {
	s := draw(t, Options{Items: 24, Seed: 4, Repeats: 0.25})
	repeats, direction := 0, map[string]float64{}
	for i, it := range s.Key.Items {
		f := it.Sheet.Frame
		lies := fmt.Sprint(it.Sheet.Tooth, it.Sheet.View)
		if x, seen := direction[lies]; seen && math.Abs(x-f.U.X) > 1e-12 {
			t.Errorf("two sections of tooth %d look along %.6f and %.6f", it.Sheet.Tooth, x, f.U.X)
		}
		direction[lies] = f.U.X
		if it.Repeats == "" {
			continue
		}
		repeats++
		at := slices.IndexFunc(s.Key.Items, func(o Sealed) bool { return o.Sheet.Item == it.Repeats })
		of := s.Key.Items[at]
		side := map[int]int{1: 2, 2: 1, 3: 4, 4: 3}
		if it.Sheet.Tooth != side[of.Sheet.Tooth/10]*10+of.Sheet.Tooth%10 {
			t.Errorf("tooth %d repeats tooth %d", it.Sheet.Tooth, of.Sheet.Tooth)
		}
		if it.Jaw.Seed == of.Jaw.Seed || of.Repeats != "" || i <= at {
			t.Errorf("item %d repeats item %d with noise %d and %d", i, at, it.Jaw.Seed, of.Jaw.Seed)
		}
		if i-at <= repeatGap && i < len(s.Key.Items)-repeatGap {
			t.Errorf("item %d repeats item %d: too near", i, at)
		}
		if math.Abs(it.Truth-of.Truth) > 1e-3 {
			t.Errorf("%s %v: truth %.2f, and %.2f again", it.Kind, it.Sheet.Question, of.Truth, it.Truth)
		}
	}
	if repeats != 6 {
		t.Errorf("%d repeats of 24 items, want 6", repeats)
	}
}

// 30 % of the sites have bone enough, kinds are mixed after the first five, and levels are as dealt.
func TestASetIsMixed(t *testing.T) {
	k := smallSet(t).Key
	ample, kindsSeen, levels := 0, map[string]bool{}, map[Level]int{}
	for i, it := range k.Items {
		if it.Ample {
			ample++
		}
		if i < blocked && it.Kind != k.Items[0].Kind {
			t.Errorf("item %d of the first %d is a %s", i, blocked, it.Kind)
		}
		kindsSeen[it.Kind] = true
		levels[it.Level]++
	}
	if ample != 12 || len(kindsSeen) < 10 || levels[Easy] < 14 || levels[Hard] < 5 || levels[Middle] < 10 {
		t.Errorf("%d ample of 40, %d kinds, levels %v", ample, len(kindsSeen), levels)
	}
	maxilla := draw(t, Options{Items: 4, Jaws: []phantom.Kind{phantom.Maxilla}, Level: Hard})
	for _, it := range maxilla.Key.Items {
		if it.Jaw.Jaw != phantom.Maxilla {
			t.Errorf("tooth %d in a set of the maxilla", it.Sheet.Tooth)
		}
	}
}

// Every kind can be drawn, each of its questions has an answer on the sheet, and no trap is the truth.
func TestEveryKindHasItsAnswers(t *testing.T) {
	o := Options{Seed: 5, Salt: []byte("sixteen bytes...")}
	for i, k := range kinds {
		for n, q := range k.ask {
			one := k
			one.ask = []Question{q}
			var it Sealed
			err := errors.New("none tried")
			for _, level := range []Level{Easy, Middle, Hard} {
				if it, err = o.site(100*i+n, wish{one, level, -1}); err == nil {
					break
				}
			}
			if err != nil {
				t.Errorf("%s, %v: %v", k.name, q, err)
				continue
			}
			if ask, how := q.Words(k.jaw); ask == "" || how == "" || q.Unit() == "" || k.why == "" {
				t.Errorf("%s, %v: asked without words", k.name, q)
			}
			for _, trap := range it.Traps {
				if math.Abs(trap.Value-it.Truth) <= 0.3 {
					t.Errorf("%s, %v: trap %q is the truth", k.name, q, trap.Words)
				}
			}
		}
	}
}

// The true line of an undercut touches the wall above and below; the wall's greatest distance from it is the truth.
func TestTheUndercutsLineHasItsDepth(t *testing.T) {
	it := undercut(t)
	line, deepest := it.trueLine(), 0.0
	long := math.Hypot(line[1].U-line[0].U, line[1].V-line[0].V)
	for _, p := range it.Profile.Lingual {
		d := math.Abs((line[1].U-line[0].U)*(p.V-line[0].V)-(line[1].V-line[0].V)*(p.U-line[0].U)) / long
		if p.V < line[0].V && p.V > line[1].V {
			deepest = max(deepest, d)
		}
	}
	if math.Abs(deepest-it.Truth) > 0.05 { // the line is sought over every fourth point of the wall
		t.Errorf("the wall is %.3f mm from its line, truth %.3f mm", deepest, it.Truth)
	}
}

func TestKeyIsReadAsWritten(t *testing.T) {
	k := smallSet(t).Key
	var b bytes.Buffer
	if err := k.Write(&b); err != nil {
		t.Fatal(err)
	}
	again, err := ReadKey(&b)
	if err != nil {
		t.Fatal(err)
	}
	x, _ := json.Marshal(k)
	y, _ := json.Marshal(again)
	if !bytes.Equal(x, y) {
		t.Error("a key read and written again differs")
	}
	for _, text := range []string{"", "{}", `{"format":2}`, `{"format":1,"unknown":1}`, `{"format":1,"items":[{"sheet":{"Question":{"quantity":"density"}}}]}`} {
		if _, err := ReadKey(strings.NewReader(text)); !errors.Is(err, ErrKey) {
			t.Errorf("ReadKey(%q) = %v", text, err)
		}
	}
}

func TestUnusableOptionsAreRefused(t *testing.T) {
	salt := []byte("sixteen bytes...")
	for _, o := range []Options{{Items: -1, Salt: salt}, {Items: 501, Salt: salt}, {Repeats: 0.6, Salt: salt}, {Repeats: math.NaN(), Salt: salt},
		{Level: "harder", Salt: salt}, {Level: Middle, Salt: salt}, {Salt: []byte("short")}} {
		if _, err := Draw(o); !errors.Is(err, ErrOptions) {
			t.Errorf("Draw(%+v) = %v", o, err)
		}
	}
}

// undercut is a site of which the depth of the undercut is asked.
func undercut(t *testing.T) Sealed {
	t.Helper()
	k := kindNamed("lingual undercut under the mylohyoid line")
	k.ask = []Question{{Quantity: "lingual_undercut"}}
	o := Options{Seed: 6, Salt: []byte("sixteen bytes...")}
	it, err := o.site(0, wish{k, Middle, -1})
	if err != nil {
		t.Fatal(err)
	}
	return it
}
