package align

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
)

// What is exported is read again the same; the planned positions lie in the recording's frame, where the best fit put
// them, and bear no word by which they could pass as recorded.
func TestExportIsInTheRecordingsFrame(t *testing.T) {
	first := archSet(5)
	second := recorded(first, 0.02, 0.3, nil)
	c, err := Compare(first, second, CompareOptions{})
	require.NoError(t, err)
	e := c.Export()
	for i, p := range e.Planned.Positions {
		require.InDelta(t, 0, r3.Norm(r3.Sub(p.At, second.Positions[i].At)), 1e-6)
		require.InDelta(t, 0, angleBetween(p.Axis, second.Positions[i].Axis), 1e-6)
	}
	require.Equal(t, "recorded", e.Planned.Frame)
	require.Equal(t, "planned, brought here by the fit best", e.Planned.Source)
	var b bytes.Buffer
	require.NoError(t, e.Recorded.WriteCSV(&b))
	back, err := ReadPositions(&b)
	require.NoError(t, err)
	require.Equal(t, second.Source, back.Source)
	for i, p := range back.Positions {
		require.InDelta(t, 0, r3.Norm(r3.Sub(p.At, second.Positions[i].At)), 1e-6)
		require.InDelta(t, 0, angleBetween(p.Axis, second.Positions[i].Axis), 1e-4)
		require.Equal(t, 0.02, p.U)
	}
	b.Reset()
	require.NoError(t, e.WriteFrames(&b, map[string]string{"recorded.csv": "recorded"}))
	var frames struct {
		Frame     string
		Transform Transform
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &frames))
	require.Equal(t, "recorded", frames.Frame)
	require.Equal(t, "planned", frames.Transform.From)
	require.NotNil(t, frames.Transform.Spread)
}

// positions.json reads as JSON, with null where nothing is known.
func TestPositionsFile(t *testing.T) {
	first := archSet(4)
	c, err := Compare(first, recorded(first, math.NaN(), math.NaN(), nil), CompareOptions{})
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, c.WriteJSON(&b, "test"))
	var out struct {
		Second struct{ Positions []struct{ U_mm *float64 } }
		Fits   []struct {
			Fit       string
			Transform *Transform
		}
		Measurements []struct {
			Value, U *float64
			Unit     string
		}
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &out))
	require.Nil(t, out.Second.Positions[0].U_mm)
	require.Len(t, out.Fits, 6)
	require.NotNil(t, out.Fits[0].Transform)
	require.Nil(t, out.Measurements[0].U)
	require.NotContains(t, b.String(), "NaN")
}

// The cylinders of a set are closed bodies of the volume of their 48-sided prisms, facing outward.
func TestCylindersOfASet(t *testing.T) {
	s := archSet(4)
	sheet, err := s.Cylinders(2, 10)
	require.NoError(t, err)
	require.Len(t, sheet.Parts(), 4)
	body := solid.Surface{Points: sheet.Points, Triangles: sheet.Triangles}
	_, err = body.Shape()
	require.NoError(t, err)
	require.InDelta(t, 4*10*24*4*math.Sin(2*math.Pi/48), body.Volume(), 1e-6)
	for _, bad := range [][2]float64{{0, 1}, {1, -1}, {math.NaN(), 1}, {math.Inf(1), 1}} {
		_, err := s.Cylinders(bad[0], bad[1])
		require.ErrorIs(t, err, solid.ErrBody)
	}
}
