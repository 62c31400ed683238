package desk

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// seen is a picture as it came over the wire.
type seen struct {
	size                []float64
	corner, right, down r3.Vec
	grey                []int16
	sequence            string
}

func look(t *testing.T, call func(http.ResponseWriter, *http.Request) error, query string) seen {
	w := httptest.NewRecorder()
	require.NoError(t, call(w, httptest.NewRequest("GET", "/api/x?"+query, nil)))
	numbers := func(name string) (out []float64) {
		for _, f := range strings.Split(w.Header().Get("Picture-"+name), ",") {
			var x float64
			_, err := fmt.Sscan(f, &x)
			require.NoError(t, err, name)
			out = append(out, x)
		}
		return out
	}
	vec := func(name string) r3.Vec { x := numbers(name); return r3.Vec{X: x[0], Y: x[1], Z: x[2]} }
	p := seen{numbers("Size"), vec("Corner"), vec("Right"), vec("Down"), make([]int16, w.Body.Len()/2), w.Header().Get("Picture-Sequence")}
	require.NoError(t, binary.Read(w.Body, binary.LittleEndian, p.grey))
	require.Len(t, p.grey, int(p.size[0]*p.size[1]))
	return p
}

// A pixel is the grey value at the place that the picture's own geometry gives it, and what lies outside the field has its
// code; the patient's right is on the viewer's left, the front and the head are up.
func TestPictureIsWhatItSaysItIs(t *testing.T) {
	s, err := openSession(jawScan(t), planAt(t, wholePlan), true, time.Now)
	require.NoError(t, err)
	v := s.scan.Volume
	for name, p := range map[string]seen{
		"axial":          look(t, s.axial, "z=-3&step=0.7&sequence=7"),
		"from the front": look(t, s.across, "step=0.7&sequence=7"),
		"from the left":  look(t, s.across, "from=side&step=0.7&sequence=7"),
		"section":        look(t, s.section, "arc=20&step=0.5&half=50&sequence=7"),
		"lengthwise":     look(t, s.lengthwise, "arc=20&step=0.5&half=50&at=-24,-1,2&axis=0.3,0.4,-1&sequence=7"),
	} {
		blanks := 0
		for i := 0; i < len(p.grey); i += 37 {
			x, y := float64(i%int(p.size[0])), float64(i/int(p.size[0]))
			want := v.At(r3.Add(p.corner, r3.Add(r3.Scale(x, p.right), r3.Scale(y, p.down))))
			if math.IsNaN(want) {
				blanks++
				assert.Equal(t, int16(blank), p.grey[i], name)
				continue
			}
			assert.InDelta(t, want, float64(p.grey[i]), 0.51+1e-4*math.Abs(want), name)
		}
		assert.Equal(t, "7", p.sequence)
		assert.Equal(t, name == "section" || name == "lengthwise", blanks > 0, name)
	}
	p := look(t, s.section, "arc=20&step=0.1&half=50&voxels=1")
	for i := 0; i < len(p.grey); i += 997 {
		ix := v.Index(r3.Add(p.corner, r3.Add(r3.Scale(float64(i%int(p.size[0])), p.right), r3.Scale(float64(i/int(p.size[0])), p.down))))
		want := math.NaN()
		if a, b, c := int(math.Round(ix.I)), int(math.Round(ix.J)), int(math.Round(ix.K)); a >= 0 && b >= 0 && c >= 0 && a < v.Size[0] && b < v.Size[1] && c < v.Size[2] {
			want = v.Grey(a, b, c)
		}
		assert.True(t, float64(p.grey[i]) == math.Round(want) || want != want && p.grey[i] == blank, "a voxel as it is: %v, want %v", p.grey[i], want)
	}
	a, f, l, x := look(t, s.axial, ""), look(t, s.across, ""), look(t, s.across, "from=side"), look(t, s.section, "arc=20")
	assert.True(t, a.right.X > 0 && a.down.Y > 0, "axial: left of the patient to the right, back down")
	assert.True(t, f.right.X > 0 && f.down.Z < 0, "from the front: left to the right, feet down")
	assert.True(t, l.right.Y > 0 && l.down.Z < 0, "from the left: back to the right, feet down")
	assert.Less(t, x.down.Z, 0.0, "section: feet down")
	assert.Less(t, x.right.X, 0.0, "the section of the right side has buccal, here the patient's right, to the right")
}

// The arch of wholePlan, and the same from its other end.
const (
	wholeArch    = "[-28.5, 19.8, 0], [-24.3, 0.3, 0], [-15.2, -21.8, 0], [0, -30, 0], [15.2, -21.8, 0], [24.3, 0.3, 0], [28.5, 19.8, 0]"
	reversedArch = "[28.5, 19.8, 0], [24.3, 0.3, 0], [15.2, -21.8, 0], [0, -30, 0], [-15.2, -21.8, 0], [-24.3, 0.3, 0], [-28.5, 19.8, 0]"
)

// The plane along the arch holds the implant it is asked for, whatever its lean along the arch, and has the patient's right on
// the viewer's left and the head up, from whichever end the arch was drawn and whichever way the implant points.
func TestLengthwiseHoldsTheImplant(t *testing.T) {
	for _, points := range []string{"", reversedArch} {
		text := wholePlan
		if points != "" {
			text = strings.Replace(wholePlan, wholeArch, points, 1)
		}
		s, err := openSession(jawScan(t), planAt(t, text), true, time.Now)
		require.NoError(t, err)
		c := s.draft.curve()
		arc, _ := c.Project(r3.Vec{X: 15.2, Y: -21.8})
		f := c.Frame(arc)
		at := r3.Add(f.Origin, r3.Scale(2, f.U))
		for _, axis := range []r3.Vec{r3.Scale(-1, f.V), f.V, r3.Add(f.U, r3.Scale(-3, f.V)), r3.Add(f.T, r3.Add(f.U, r3.Scale(-3, f.V)))} {
			p := look(t, s.lengthwise, fmt.Sprintf("arc=%g&at=%g,%g,%g&axis=%g,%g,%g", arc, at.X, at.Y, at.Z, axis.X, axis.Y, axis.Z))
			n := r3.Unit(r3.Cross(p.right, p.down))
			assert.InDelta(t, 0, r3.Dot(n, r3.Sub(at, p.corner)), 1e-3, "the platform lies in it")
			assert.InDelta(t, 0, r3.Dot(n, r3.Unit(axis)), 1e-6, "and so does the axis")
			assert.Positive(t, p.right.X, "the patient's left to the right")
			assert.Negative(t, p.down.Z, "feet down")
		}
	}
}

// The panoramic has the patient's right on the viewer's left from whichever end the arch was drawn.
func TestPanoramicIsNotMirrored(t *testing.T) {
	for _, text := range []string{wholePlan, strings.Replace(wholePlan, wholeArch, reversedArch, 1)} {
		s, err := openSession(jawScan(t), planAt(t, text), true, time.Now)
		require.NoError(t, err)
		p := look(t, s.panoramic, "step=1")
		first := s.draft.curve().At(p.corner.X)
		assert.Less(t, first.X, 0.0)
		last := s.draft.curve().At(p.corner.X + (p.size[0]-1)*p.right.X)
		assert.Greater(t, last.X, 0.0)
	}
}

// A picture that nobody waits for any more is not sampled to its end.
func TestPictureEndsWithItsRequest(t *testing.T) {
	s, err := openSession(jawScan(t), planAt(t, wholePlan), true, time.Now)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r := httptest.NewRequest("GET", "/api/axial?thick=20", nil).WithContext(ctx)
	require.ErrorIs(t, s.axial(httptest.NewRecorder(), r), context.Canceled)
}
