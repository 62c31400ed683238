package align

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

const table = "implant,x,y,z,ax,ay,az,u_mm,u_deg,source\n36,1,2,3,0,0,-2,0.02,0.3,desktop scan\n'=4,4.5,5,6,1,0,0,,,desktop scan\n"

// Names, places in mm, axes made unit vectors, uncertainties; an empty cell is not known.
func TestReadPositions(t *testing.T) {
	s, err := ReadPositions(strings.NewReader("\xef\xbb\xbf" + table))
	require.NoError(t, err)
	require.Len(t, s.Positions, 2)
	require.Equal(t, Position{"36", r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{Z: -1}, 0.02, 0.3}, s.Positions[0])
	require.Equal(t, "=4", s.Positions[1].Name)
	require.True(t, math.IsNaN(s.Positions[1].U) && math.IsNaN(s.Positions[1].UAxis))
	require.Equal(t, "desktop scan", s.Source)
	require.Len(t, s.SHA256, 64)
}

// Every fault has its line, its column, its value and what to do; all of a table at once.
func TestTablesOfPositionsThatAreNone(t *testing.T) {
	for text, want := range map[string]string{
		"":                                                              "no first row",
		"implant;x;y;z;ax;ay;az\n":                                      "not divided by commas",
		"implant,x,y,z,ax,ay\n":                                         `line 1: column "az": not in the table`,
		"implant,x,x,y,z,ax,ay,az\n":                                    `column "x": in the table twice`,
		"implant,x,y,z,ax,ay,az\n":                                      "0 implants",
		"implant,x,y,z,ax,ay,az\n1,2,3\n":                               "line 2: 3 cells where the first row has 7",
		"implant,x,y,z,ax,ay,az\n1,a,2,3,0,0,1":                         `line 2: column "x": "a" is no number`,
		"implant,x,y,z,ax,ay,az\n1,1e5,2,3,0,0,1":                       "give millimetres",
		"implant,x,y,z,ax,ay,az\n1,NaN,2,3,0,0,1":                       `"NaN" is no number`,
		"implant,x,y,z,ax,ay,az\n1,1,2,3,0,0,0":                         "no direction",
		"implant,x,y,z,ax,ay,az\n,1,2,3,0,0,1":                          `"" is no name`,
		"implant,x,y,z,ax,ay,az\n1,1,2,3,0,0,1\n1,1,2,3,0,0,1":          "stands in the table twice",
		"implant,x,y,z,ax,ay,az,u_mm\n1,1,2,3,0,0,1,-1":                 "no standard uncertainty from 0 to 5",
		"implant,x,y,z,ax,ay,az\n1,1,2,3,0,0,1\n\"":                     "no CSV row",
		"site,quantity,value,unit,u,U,note\n36,coronal,0.4,mm,0.1,.2,x": "this is a table of measurements",
		"implant,x,y,z,ax,ay,az,source\n1,1,2,3,0,0,1,CBCT of May":      "ten times",
	} {
		_, err := ReadPositions(strings.NewReader(text))
		require.ErrorContains(t, err, want, text)
	}
	_, err := ReadPositions(strings.NewReader("implant,x,y,z,ax,ay,az\n1,a,2,3,0,0,1\n2,1,b,3,0,0,1\n"))
	require.ErrorContains(t, err, `line 2: column "x"`)
	require.ErrorContains(t, err, `line 3: column "y"`)
	require.ErrorIs(t, err, ErrTable)
	_, err = ReadPositions(strings.NewReader("site,quantity,value\n"))
	require.ErrorIs(t, err, ErrSource)
	_, err = ReadPositions(strings.NewReader(strings.Repeat("x", largestTable+1)))
	require.ErrorContains(t, err, "larger than 1 MB")
}

// Whatever the bytes: a set whose axes are unit vectors and whose numbers are finite, or an error of ours.
func FuzzReadPositions(f *testing.F) {
	f.Add(table)
	f.Add("implant,x,y,z,ax,ay,az\n1,1e300,2,3,1e-320,0,1\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ReadPositions(strings.NewReader(text))
		if err != nil {
			return
		}
		require.NotEmpty(t, s.Positions)
		for _, p := range s.Positions {
			require.InDelta(t, 1, r3.Norm(p.Axis), 1e-9)
			require.LessOrEqual(t, r3.Norm(p.At), 2*farthest)
			require.NotEmpty(t, p.Name)
		}
	})
}
