package dicomio

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// awkward returns a sheared, oblique volume with noise, a blank value and a rescale for each slice.
func awkward() *volume.Volume {
	a, b := math.Sincos(0.3)
	x, y := r3.Vec{X: b, Y: a}, r3.Vec{X: -a, Y: b}
	v, err := volume.New(volume.Grid{
		Size: [3]int{17, 11, 9}, Origin: r3.Vec{X: -12.3456789, Y: 1.0 / 3, Z: 100},
		Step: [3]r3.Vec{r3.Scale(0.31, x), r3.Scale(0.29, y), {X: 0.02, Y: 0.05, Z: 0.4}},
	})
	if err != nil {
		panic(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range v.Stored {
		v.Stored[i] = int16(rng.IntN(65536) - 32768)
	}
	blank := int16(-32768)
	v.Blank = &blank
	v.Rescale = nil
	for k := range v.Size[2] {
		v.Rescale = append(v.Rescale, volume.Rescale{Slope: 0.5 + 0.25*float64(k), Intercept: -1000})
	}
	return v
}

// roundTrip writes v and reads it back.
func roundTrip(t testing.TB, v *volume.Volume, options WriteOptions) (*Series, *volume.Volume) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "series")
	if err := WriteCT(dir, v, options); err != nil {
		t.Fatal(err)
	}
	input, err := Open(dir, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { input.Close() })
	cat, err := Scan(context.Background(), input, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := cat.Pick("")
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Read(context.Background(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, got
}

func TestWrittenVolumeReadsTheSame(t *testing.T) {
	v := awkward()
	for _, options := range []WriteOptions{{}, {Unsigned: true}, {Seed: 7, Comment: "x"}} {
		s, got := roundTrip(t, v, options)
		if !slices.Equal(got.Stored, v.Stored) || got.Size != v.Size {
			t.Fatalf("stored values differ (%+v)", options)
		}
		if got.Blank == nil || *got.Blank != *v.Blank {
			t.Errorf("blank %v, want %d", got.Blank, *v.Blank)
		}
		if !slices.Equal(got.Rescale, v.Rescale) {
			t.Errorf("rescale %v, want %v", got.Rescale, v.Rescale)
		}
		near(t, "origin", r3.Norm(r3.Sub(got.Origin, v.Origin)), 0, 1e-9)
		for a := range 3 {
			near(t, "step", r3.Norm(r3.Sub(got.Step[a], v.Step[a])), 0, 1e-9)
		}
		cautioned(t, s, "rescale_varies", "sheared")
	}
}

func TestWritingIsDeterministicAndWhole(t *testing.T) {
	v := awkward()
	a, b := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "b")
	for _, dir := range []string{a, b} {
		if err := WriteCT(dir, v, WriteOptions{Seed: 1}); err != nil {
			t.Fatal(err)
		}
	}
	entries, _ := os.ReadDir(a)
	if len(entries) != v.Size[2] {
		t.Fatalf("%d files, want %d", len(entries), v.Size[2])
	}
	for _, e := range entries {
		x, _ := os.ReadFile(filepath.Join(a, e.Name()))
		y, _ := os.ReadFile(filepath.Join(b, e.Name()))
		if len(x) == 0 || !slices.Equal(x, y) {
			t.Errorf("%s differs between two writes", e.Name())
		}
	}
	if err := WriteCT(a, v, WriteOptions{}); !errors.Is(err, ErrWrite) {
		t.Errorf("writing into a full folder gave %v, want ErrWrite", err)
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(a), ".ridgerule-part-*")); left != nil {
		t.Errorf("left behind: %v", left)
	}
}

func TestLeftHandedGridIsNotWritten(t *testing.T) {
	v := awkward()
	v.Step[2] = r3.Scale(-1, v.Step[2])
	if err := WriteCT(filepath.Join(t.TempDir(), "x"), v, WriteOptions{}); !errors.Is(err, ErrWrite) {
		t.Errorf("got %v, want ErrWrite", err)
	}
}

// Source: DICOM PS3.5 6.2: a DS value has at most 16 characters.
func TestDecimalStringFits(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20000 {
		v := (rng.Float64() - 0.5) * math.Pow(10, float64(rng.IntN(24)-12))
		text := decimalString(v)
		back, err := decimal(text)
		if len(text) > 16 || err != nil || math.Abs(back-v) > 1e-9*max(1e-3, math.Abs(v)) {
			t.Fatalf("%v became %q (%v)", v, text, err)
		}
	}
}
