package align

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

func fileOf() File {
	t := Rigid("a", "b", r3.Vec{X: 0.1, Z: 0.3}, r3.Vec{Y: 4})
	t.Spread = &Spread{Centre: r3.Vec{X: 1}}
	t.Spread.Cov[shiftX][shiftX] = 1e-4
	return File{Format: 1, Kind: KindScans, First: Subject{Series: "x", Voxel: [3]float64{0.3, 0.3, 0.3}}, Second: Subject{Series: "y"}, Transform: t, ScaleFound: NewRatio(1.001, 0.0002),
		Fit: []Fact{{"points used", "9"}}, Landmarks: []Landmark{NewLandmark("chin", r3.Vec{X: 1}, r3.Vec{X: 2}, t)}, Cautions: []string{}}
}

// What was written is read the same, accepted or not.
func TestFileIsReadAsWritten(t *testing.T) {
	f := fileOf()
	accepted, err := f.Accept("  reviewer \n 2 ", time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC))
	require.NoError(t, err)
	require.Equal(t, "reviewer 2", accepted.Accepted.By)
	for _, f := range []File{f, accepted} {
		var b bytes.Buffer
		require.NoError(t, f.Write(&b))
		got, err := ReadFile(&b)
		require.NoError(t, err)
		require.Equal(t, f, got)
	}
	fresh := f
	fresh.Format = 0 // never written
	fresh, err = fresh.Accept("reviewer 2", accepted.Accepted.At)
	require.NoError(t, err)
	require.Equal(t, accepted, fresh)
	_, err = f.Accept(" ", time.Time{})
	require.ErrorIs(t, err, ErrFile)
}

// A safety rule: no number of an accepted file can be changed without its acceptance going.
func TestChangedFileIsNotAccepted(t *testing.T) {
	f, err := fileOf().Accept("reviewer", time.Unix(0, 0))
	require.NoError(t, err)
	for name, spoil := range map[string]func(*File){
		"translation": func(f *File) { f.Transform.Translation.X += 0.1 },
		"uncertainty": func(f *File) { f.Transform.Spread = nil },
		"size":        func(f *File) { f.ScaleFound = nil },
		"series":      func(f *File) { f.Second.Series = "z" },
		"landmark":    func(f *File) { f.Landmarks = nil },
		"caution":     func(f *File) { f.Cautions = append(f.Cautions, "x") },
	} {
		changed := f
		spoil(&changed)
		var b bytes.Buffer
		require.NoError(t, changed.Write(&b))
		_, err := ReadFile(&b)
		require.ErrorIs(t, err, ErrFile, name)
		require.ErrorContains(t, err, "changed after reviewer accepted it")
	}
}

// The keys that other programs read (docs/alignment.md), with their values.
func TestKeysOfAFile(t *testing.T) {
	f, err := fileOf().Accept("reviewer", time.Unix(0, 0))
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	var keys struct {
		From, To    string
		Rotation    [3][3]float64
		Translation [3]float64 `json:"translation_mm"`
		Centre      [3]float64 `json:"centre_mm"`
		Covariance  [6][6]float64
		Scale       struct{ Value, U float64 } `json:"scale_found"`
		Accepted    struct{ By, At, Sha256 string }
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &keys))
	p, q := r3.Vec{X: 3, Y: -2, Z: 5}, r3.Vec{}
	for i, to := range []*float64{&q.X, &q.Y, &q.Z} {
		*to = keys.Rotation[i][0]*p.X + keys.Rotation[i][1]*p.Y + keys.Rotation[i][2]*p.Z + keys.Translation[i]
	}
	require.InDelta(t, 0, r3.Norm(r3.Sub(q, f.Transform.Apply(p))), 1e-12)
	require.Equal(t, 1e-4, keys.Covariance[3][3], "tx is the fourth")
	require.Equal(t, [3]float64{1}, keys.Centre)
	require.Equal(t, []string{"a", "b", "reviewer"}, []string{keys.From, keys.To, keys.Accepted.By})
	require.Equal(t, [2]float64{1.001, 0.0004}, [2]float64{keys.Scale.Value, keys.Scale.U})
	require.Len(t, keys.Accepted.Sha256, 64)
}

// What is no alignment file is refused with our error.
func TestNoFile(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, fileOf().Write(&b))
	for name, text := range map[string]string{
		"empty": "", "no JSON": "x", "other JSON": `{"a": 1}`, "version": strings.Replace(b.String(), `"format": 1`, `"format": 2`, 1),
		"no transform": `{"format": 1}`, "mirror": strings.Replace(b.String(), `"rotation": [`, `"rotation": [[1,0,0],[0,1,0],[0,0,-1]], "was": [`, 1),
		"long": strings.Repeat(" ", mostFile+1),
	} {
		_, err := ReadFile(strings.NewReader(text))
		require.ErrorIs(t, err, ErrFile, name)
	}
}

// FuzzFile: whatever is read as a file is written and read again the same; whatever is not has our error.
func FuzzFile(f *testing.F) {
	var b bytes.Buffer
	_ = fileOf().Write(&b)
	f.Add(b.Bytes())
	f.Add([]byte(`{"format": 1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := ReadFile(bytes.NewReader(data))
		if err != nil {
			require.ErrorIs(t, err, ErrFile)
			return
		}
		var b bytes.Buffer
		require.NoError(t, got.Write(&b))
		again, err := ReadFile(&b)
		require.NoError(t, err)
		require.Equal(t, got, again)
	})
}

// Landmarks: where they lie after the alignment, by hand; what is wrong is named by line and column.
func TestLandmarks(t *testing.T) {
	pairs, err := ReadLandmarks(strings.NewReader("name,x1,y1,z1,x2,y2,z2\nchin,1,2,3,11,2,3\nspine,0,0,0,10,0,4\n"))
	require.NoError(t, err)
	require.Len(t, pairs, 2)
	move := Rigid("a", "b", r3.Vec{}, r3.Vec{X: 10})
	require.InDelta(t, 0, NewLandmark("chin", pairs[0].First, pairs[0].Second, move).Apart, 1e-12)
	require.InDelta(t, 4, NewLandmark("spine", pairs[1].First, pairs[1].Second, move).Apart, 1e-12)
	for text, words := range map[string]string{
		"": "line 1", "name,x,y,z\n": "line 1", "name,x1,y1,z1,x2,y2,z2\nchin,1,2,x,4,5,6\n": "line 2: column z1",
		"name,x1,y1,z1,x2,y2,z2\nchin,1,2,3,4,5,1e9\n": "column z2", "name,x1,y1,z1,x2,y2,z2\nchin,1,2\n": "",
	} {
		_, err := ReadLandmarks(strings.NewReader(text))
		require.ErrorIs(t, err, ErrLandmarks)
		require.ErrorContains(t, err, words)
	}
	_, err = FitLandmarks(pairs)
	require.ErrorIs(t, err, ErrPoints)
}

// Basal bone by hand: below the arch, beside it, away from an implant; the same upside down for an upper jaw.
func TestBasalBone(t *testing.T) {
	for _, up := range []r3.Vec{{Z: 1}, {Z: -1}} {
		at := func(x, y, below float64) r3.Vec { return r3.Add(r3.Vec{X: x, Y: y}, r3.Scale(-below, up)) }
		keep := Basal([]r3.Vec{{X: -30}, {}, {X: 30}}, up, []Segment{{at(10, 0, 0), at(10, 0, 12)}})
		for _, c := range []struct {
			p    r3.Vec
			want bool
		}{{at(0, 0, 10), true}, {at(0, 0, 2), false}, {at(0, 0, -5), false}, {at(0, 0, 45), false}, {at(0, 20, 10), false}, {at(-20, 12, 10), true},
			{at(12, 0, 10), false}, {at(17, 0, 10), true}, {at(10, 0, 19), true}, {at(40, 0, 10), true}, {at(50, 0, 10), false}} {
			require.Equal(t, c.want, keep(c.p), "%v", c.p)
		}
	}
}

// Both scans on a board are the same picture where one is the other moved; the places lie in bone and apart.
func TestBoards(t *testing.T) {
	p, fit := pairOnce()
	at := Places(p.first, nil)
	require.Len(t, at, 6)
	for i, q := range at {
		for _, o := range at[:i] {
			require.Greater(t, r3.Norm(r3.Sub(q, o)), 5.0)
		}
	}
	boards := Boards(p.first, p.second, fit.Transform, at)
	require.Len(t, boards, 12)
	for _, b := range boards {
		sum, still, n := 0.0, 0.0, 0.0
		other := Boards(p.first, p.second, Rigid("", "", r3.Vec{}, r3.Vec{}), []r3.Vec{b.At})
		other0 := other[0]
		if b.Plane == "coronal" {
			other0 = other[1]
		}
		for i, g := range b.First {
			if h, k := b.Second[i], other0.Second[i]; g == g && h == h && k == k {
				sum, still, n = sum+math.Abs(float64(g-h)), still+math.Abs(float64(g-k)), n+1
			}
		}
		require.Greater(t, n, 100.0)
		require.Less(t, sum/n, still/n/2, "place %d %s", b.Place, b.Plane)
	}
}
