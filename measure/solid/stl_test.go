package solid

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// asText writes a surface as text.
func asText(s *Surface) string {
	var b strings.Builder
	b.WriteString("solid made here\n")
	for i := range s.Triangles {
		b.WriteString("  facet normal 0 0 0\n    outer loop\n")
		for _, p := range s.Triangle(i) {
			fmt.Fprintf(&b, "      vertex %g %g %g\n", p.X, p.Y, p.Z)
		}
		b.WriteString("    endloop\n  endfacet\n")
	}
	return b.String() + "endsolid made here\n"
}

func asBinary(t testing.TB, s *Surface) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSTL(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func read(b []byte) (*Surface, error) { return ReadSTL(bytes.NewReader(b), int64(len(b))) }

func same(t *testing.T, got, want *Surface) {
	t.Helper()
	if len(got.Points) != len(want.Points) || len(got.Triangles) != len(want.Triangles) {
		t.Fatalf("%d points, %d triangles; want %d, %d", len(got.Points), len(got.Triangles), len(want.Points), len(want.Triangles))
	}
	for i := range got.Triangles {
		for k, p := range got.Triangle(i) {
			if d := r3.Norm(r3.Sub(p, want.Triangle(i)[k])); d > 1e-5 {
				t.Fatalf("triangle %d, corner %d is off by %g mm", i, k, d)
			}
		}
	}
}

func TestTextAndBinaryReadTheSame(t *testing.T) {
	s := torusMesh(10, 3, 24, 12)
	text, err := read([]byte(asText(s)))
	if err != nil {
		t.Fatal(err)
	}
	same(t, text, s)
	bin, err := read(asBinary(t, s))
	if err != nil {
		t.Fatal(err)
	}
	same(t, bin, s)
	if again := asBinary(t, bin); !bytes.Equal(again, asBinary(t, s)) {
		t.Error("written back, the bytes differ")
	}
	upper, err := read([]byte(strings.ToUpper(asText(s))))
	if err != nil {
		t.Fatal(err)
	}
	same(t, upper, s)
	unknown, err := ReadSTL(bytes.NewReader(asBinary(t, s)), -1)
	if err != nil {
		t.Fatal(err)
	}
	same(t, unknown, s)
}

// Some programs begin a binary head with "solid": the length tells.
func TestBinaryThatBeginsWithSolid(t *testing.T) {
	b := asBinary(t, boxMesh(v(0, 0, 0), v(10, 20, 30)))
	copy(b, "solid facet endsolid")
	s, err := read(b)
	if err != nil || len(s.Triangles) != 12 {
		t.Fatalf("%v, %v", s, err)
	}
}

func TestSurfaceFacingInwardsIsTurned(t *testing.T) {
	s := boxMesh(v(0, 0, 0), v(10, 20, 30))
	for i, c := range s.Triangles {
		s.Triangles[i] = [3]int{c[0], c[2], c[1]}
	}
	got, err := read([]byte(asText(s)))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "volume, mm³", got.Volume(), 6000, 1e-9)
}

// A corner at −0 is the corner at 0.
func TestMinusZeroIsZero(t *testing.T) {
	if _, err := read([]byte(strings.Replace(asText(boxMesh(v(0, 0, 0), v(10, 20, 30))), "vertex 0 0 0", "vertex -0 -0 -0", 1))); err != nil {
		t.Error(err)
	}
}

// A sinus of 40 mm written in centimetres, inches or metres is under 5 long; a jaw in micrometres over 300.
func TestSizeOfNoJawStructureIsRefused(t *testing.T) {
	for _, size := range []float64{0.04, 1.6, 4, 4.99, 301, 40000} {
		_, err := read(asBinary(t, boxMesh(v(0, 0, 0), v(size, size/2, size/2))))
		var e *ExtentError
		if !errors.As(err, &e) || math.Abs(e.Extent-size) > 1e-4*size {
			t.Errorf("%g mm: error %v, want its extent", size, err)
		}
	}
	for axis := range 3 { // wherever it lies, and whichever side is the longest
		for _, c := range []struct {
			size float64
			ok   bool
		}{{4.99, false}, {5, true}, {12, true}, {300, true}, {300.1, false}} {
			side := [3]float64{2, 3, 4}
			side[axis] = c.size
			_, err := read(asBinary(t, boxMesh(v(100, 200, 50), v(100+side[0], 200+side[1], 50+side[2]))))
			var e *ExtentError
			if (err == nil) != c.ok || err != nil && (!errors.As(err, &e) || math.Abs(e.Extent-c.size) > 1e-4) {
				t.Errorf("%g mm on axis %d: %v", c.size, axis, err)
			}
		}
	}
}

func TestBadSTLIsRefusedWithItsPlace(t *testing.T) {
	good := asBinary(t, boxMesh(v(0, 0, 0), v(10, 20, 30)))
	text := asText(boxMesh(v(0, 0, 0), v(10, 20, 30)))
	lies := bytes.Clone(good)
	binary.LittleEndian.PutUint32(lies[80:], 1<<31)
	nan := bytes.Clone(good)
	binary.LittleEndian.PutUint32(nan[84+12:], 0x7fc00000)
	open := asBinary(t, &Surface{Points: boxMesh(v(0, 0, 0), v(10, 20, 30)).Points, Triangles: boxMesh(v(0, 0, 0), v(10, 20, 30)).Triangles[:11]})
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"empty", "no STL", nil},
		{"short", "no STL", good[:50]},
		{"cut", "is cut", good[:len(good)-1]},
		{"count lies", "thin the surface out", lies},
		{"not a number", "triangle 1: corner", nan},
		{"open", "surface is open", open},
		{"no triangles", "at least 4", asBinary(t, &Surface{})},
		{"text cut", "before \"endsolid\"", []byte(text[:len(text)-30])},
		{"text with commas", "line 4: \"0,5\" is no number", []byte(strings.Replace(text, "vertex 0 0 0", "vertex 0,5 0 0", 1))},
		{"text with two numbers", "2 numbers", []byte(strings.Replace(text, "vertex 0 0 0", "vertex 0 0", 1))},
		{"text with four corners", "more than three", []byte(strings.Replace(text, "vertex", "vertex 1 2 3\nvertex", 1))},
		{"text with infinity", "no place", []byte(strings.Replace(text, "vertex 0 0 0", "vertex inf 0 0", 1))},
		{"text with two corners", "line 7: a facet with 2 corners", []byte(strings.Replace(text, "      vertex 0 0 0\n", "", 1))},
		{"text with a line without end", "line 2: bufio", []byte(strings.Replace(text, "facet normal", "facet "+strings.Repeat("n", 1<<17), 1))},
		{"text with a stranger", "unknown word", []byte(strings.Replace(text, "outer", "inner", 1))},
	} {
		_, err := read(c.data)
		var e *STLError
		if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
	var e *STLError
	_, err := ReadSTL(bytes.NewReader(good[:len(good)-60]), -1) // two of twelve triangles are gone, nobody knew the length
	if !errors.As(err, &e) || e.Triangle != 11 || e.Error() != "stl: triangle 11: the file ends, it should hold 12 triangles" {
		t.Errorf("cut without a known length: %v", err)
	}
	far := strings.LastIndex(text, "vertex")
	_, err = read([]byte(text[:far] + "vertex 1e300 0 0" + text[far+strings.Index(text[far:], "\n"):]))
	if !errors.As(err, &e) || e.Triangle != 12 || e.Line != 1+12*7 {
		t.Errorf("a corner nowhere in the last facet: %+v", err)
	}
	if _, err := read(open); !errors.Is(err, ErrBody) {
		t.Errorf("open surface: %v, want ErrBody in it", err)
	}
	if _, err := ReadSTL(io.MultiReader(bytes.NewReader(good), strings.NewReader("x")), -1); err == nil {
		t.Error("bytes after the last triangle passed")
	}
}

// What reads is written and read back to the same bytes; what does not read fails with one of our errors.
func FuzzReadSTL(f *testing.F) {
	box := boxMesh(v(0, 0, 0), v(10, 20, 30))
	f.Add([]byte(asText(box)))
	f.Add(asBinary(f, box))
	f.Add(asBinary(f, torusMesh(10, 3, 6, 5)))
	f.Add([]byte("solid\nfacet\nvertex 1 2 3\nendsolid"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := read(data)
		var e *STLError
		var size *ExtentError
		switch {
		case err == nil:
		case errors.As(err, &size):
			return
		case errors.As(err, &e):
			return
		default:
			t.Fatalf("a strange error: %v", err)
		}
		if _, err := s.Shape(); err != nil {
			t.Fatal(err)
		}
		first := asBinary(t, s)
		again, err := read(first)
		if err != nil {
			return // corners that were apart in text may be one in 32 bits
		}
		if second := asBinary(t, again); !bytes.Equal(first, second) && len(again.Triangles) == len(s.Triangles) && s.Volume() > 1e-6 {
			t.Fatalf("%d bytes written, read and written again differ", len(first))
		}
	})
}
