package solid

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// The file of a closed surface: triangles without units and without shared corners, as text
// ("ASCII") or as 84 bytes of head and count and 50 bytes a triangle ("binary"). Text begins
// with "solid", but so do some binary files: the length decides first, then the words.
//
// Source: the format's common description; there is no standard (common practice, no source).

const (
	stlHead  = 84
	stlFacet = 50

	// maxTriangles keeps a false count, or a surface that nobody thinned out, from filling the memory:
	// 2 million triangles are 100 MB. A jaw's structures have some 10,000 to 200,000.
	maxTriangles = 2_000_000
)

// STLError says what is wrong with an STL file and where.
type STLError struct {
	Line     int // of a text file; 0: not known or binary
	Triangle int // from 1; 0: the file as a whole
	Reason   string
	Err      error // what the surface's own check said; may be nil
}

func (e *STLError) Error() string {
	where := ""
	switch {
	case e.Line > 0:
		where = fmt.Sprintf("line %d: ", e.Line)
	case e.Triangle > 0:
		where = fmt.Sprintf("triangle %d: ", e.Triangle)
	}
	return "stl: " + where + e.Reason
}

func (e *STLError) Unwrap() error { return e.Err }

// Longest and shortest a surface of a jaw can be, mm: a root is some 12 mm long, a jaw 150 (common
// practice, no source). What lies outside was written in another unit, or is no structure of a jaw.
const (
	leastExtent = 5.0
	mostExtent  = 300.0
)

// ExtentError says that a surface has a size that speaks against millimetres. Which unit it was is not
// guessed: centimetres looked like inches.
type ExtentError struct {
	Extent float64 // longest side of the bounding box, as mm
}

func (e *ExtentError) Error() string {
	return fmt.Sprintf("stl: the surface is %.4g mm long, where %g to %g mm are a structure of a jaw", e.Extent, leastExtent, mostExtent)
}

// checkExtent returns an *[ExtentError] for a surface whose longest side no structure of a jaw has.
func checkExtent(s *Surface) error {
	b := ballBox(s.Points[0], 0)
	for _, p := range s.Points {
		b = b.with(ballBox(p, 0))
	}
	if extent := max(b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2]); !(extent >= leastExtent && extent <= mostExtent) {
		return &ExtentError{Extent: extent}
	}
	return nil
}

// ReadSTL reads a closed surface, text or binary; size is the file's length in bytes, −1 when
// not known. Corners with the very same coordinates are one point; triangles with two corners
// in one point are left out; the file's own normals are not read: outside follows from the order
// of the corners. A surface that is closed but faces inwards as a whole is turned.
//
// It returns a *[STLError] for what is no closed, consistently oriented surface (then it also
// is [ErrBody]) or no STL, and an *[ExtentError] when the size speaks against
// millimetres.
func ReadSTL(r io.Reader, size int64) (*Surface, error) {
	s, err := readFacets(r, size)
	if err != nil {
		return nil, err
	}
	if s.Volume() < 0 {
		for i, t := range s.Triangles {
			s.Triangles[i] = [3]int{t[0], t[2], t[1]}
		}
	}
	if _, err := s.Shape(); err != nil {
		return nil, &STLError{Reason: err.Error(), Err: err}
	}
	if err := checkExtent(s); err != nil {
		return nil, err
	}
	return s, nil
}

// readFacets reads the facets of a file, text or binary, their corners joined.
func readFacets(r io.Reader, size int64) (*Surface, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	head, err := in.Peek(stlHead)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, &STLError{Reason: err.Error(), Err: err}
	}
	w := welder{points: map[r3.Vec]int{}}
	if isText(head, in, size) {
		err = readText(in, &w)
	} else {
		err = readBinary(in, size, &w)
	}
	if err != nil {
		return nil, err
	}
	return w.surface(), nil
}

// isText tells text from binary.
func isText(head []byte, in *bufio.Reader, size int64) bool {
	if !bytes.HasPrefix(bytes.ToLower(bytes.TrimLeft(head, " \t\r\n")), []byte("solid")) {
		return false
	}
	if len(head) == stlHead && size == stlHead+stlFacet*int64(binary.LittleEndian.Uint32(head[80:])) {
		return false
	}
	more, _ := in.Peek(1024)
	more = bytes.ToLower(more)
	return bytes.Contains(more, []byte("facet")) || bytes.Contains(more, []byte("endsolid"))
}

func readBinary(in io.Reader, size int64, w *welder) error {
	var head [stlHead]byte
	if n, err := io.ReadFull(in, head[:]); err != nil {
		return &STLError{Reason: fmt.Sprintf("%d bytes are no STL file", n)}
	}
	n := int64(binary.LittleEndian.Uint32(head[80:]))
	want := stlHead + stlFacet*n
	switch {
	case n > maxTriangles:
		return &STLError{Reason: fmt.Sprintf("%d triangles; at most %d are read: thin the surface out", n, maxTriangles)}
	case size >= 0 && size != want:
		return &STLError{Reason: fmt.Sprintf("%d triangles make %d bytes, the file has %d: it is cut or no STL file", n, want, size)}
	}
	var b [stlFacet]byte
	for i := range int(n) {
		if _, err := io.ReadFull(in, b[:]); err != nil {
			return &STLError{Triangle: i + 1, Reason: fmt.Sprintf("the file ends, it should hold %d triangles", n)}
		}
		var c [9]float64
		for k := range c {
			c[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[12+4*k:])))
		}
		if err := w.add(c, 0, i+1); err != nil {
			return err
		}
	}
	if extra, _ := io.ReadFull(in, b[:1]); extra > 0 {
		return &STLError{Reason: fmt.Sprintf("bytes are left after %d triangles", n)}
	}
	return nil
}

// readText reads the words "vertex x y z" three a facet; other known words pass, unknown ones
// are an error.
func readText(in io.Reader, w *welder) error {
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 4096), 1<<16)
	t := text{welder: w}
	for lines.Scan() {
		t.line++
		words := bytes.Fields(lines.Bytes())
		if len(words) == 0 {
			continue
		}
		if err := t.take(string(bytes.ToLower(words[0])), words[1:]); err != nil {
			return err
		}
	}
	switch {
	case lines.Err() != nil:
		return &STLError{Line: t.line + 1, Reason: lines.Err().Error(), Err: lines.Err()}
	case !t.ended || len(t.corners) > 0:
		return &STLError{Line: t.line, Reason: "the file ends before \"endsolid\""}
	}
	return nil
}

// text is a text file being read.
type text struct {
	*welder
	line, triangle int
	corners        []float64 // of the facet being read
	ended          bool
}

// take takes in one line: its first word and the rest.
func (t *text) take(key string, rest [][]byte) error {
	switch key {
	case "solid", "facet", "outer", "endloop":
	case "endsolid":
		t.ended = true
	case "vertex":
		p, err := numbers(rest, t.line)
		if err != nil {
			return err
		}
		if t.corners = append(t.corners, p...); len(t.corners) > 9 {
			return &STLError{Line: t.line, Reason: "a facet with more than three corners"}
		}
	case "endfacet":
		return t.facet()
	default:
		return &STLError{Line: t.line, Reason: fmt.Sprintf("unknown word %.20q", key)}
	}
	return nil
}

// facet ends a facet.
func (t *text) facet() error {
	if len(t.corners) != 9 {
		return &STLError{Line: t.line, Reason: fmt.Sprintf("a facet with %d corners", len(t.corners)/3)}
	}
	if t.triangle++; t.triangle > maxTriangles {
		return &STLError{Line: t.line, Reason: fmt.Sprintf("more than %d triangles: thin the surface out", maxTriangles)}
	}
	c := [9]float64(t.corners)
	t.corners = t.corners[:0]
	return t.add(c, t.line, t.triangle)
}

func numbers(words [][]byte, line int) ([]float64, error) {
	if len(words) != 3 {
		return nil, &STLError{Line: line, Reason: fmt.Sprintf("a corner with %d numbers, want 3", len(words))}
	}
	out := make([]float64, 3)
	for i, w := range words {
		f, err := strconv.ParseFloat(string(w), 64)
		if err != nil {
			return nil, &STLError{Line: line, Reason: fmt.Sprintf("%.30q is no number (decimals need a point)", w)}
		}
		out[i] = f
	}
	return out, nil
}

// welder joins corners with the same coordinates.
type welder struct {
	points map[r3.Vec]int
	out    Surface
}

func (w *welder) add(c [9]float64, line, triangle int) error {
	var t [3]int
	for k := range t {
		p := r3.Vec{X: c[3*k], Y: c[3*k+1], Z: c[3*k+2]} // as a key of the map, −0 is 0
		if !fit.Finite(p) || r3.Norm(p) > 1e9 {
			return &STLError{Line: line, Triangle: triangle, Reason: fmt.Sprintf("corner (%g, %g, %g) is no place", p.X, p.Y, p.Z)}
		}
		at, known := w.points[p]
		if !known {
			at = len(w.out.Points)
			w.points[p] = at
			w.out.Points = append(w.out.Points, p)
		}
		t[k] = at
	}
	if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
		w.out.Triangles = append(w.out.Triangles, t)
	}
	return nil
}

func (w *welder) surface() *Surface {
	return &Surface{Points: w.out.Points, Triangles: w.out.Triangles}
}
