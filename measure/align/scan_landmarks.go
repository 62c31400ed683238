package align

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrLandmarks is the fault of a table of landmarks that cannot be read.
var ErrLandmarks = errors.New("align: no table of landmarks")

// Pair is one place as it was marked in both frames.
type Pair struct {
	Name          string
	First, Second r3.Vec // mm
}

// landmarkColumns are the columns of a table of landmarks.
var landmarkColumns = []string{"name", "x1", "y1", "z1", "x2", "y2", "z2"}

const mostLandmarks = 1000

// ReadLandmarks reads a table (CSV, comma, decimal point) of places marked in both frames: name, x1, y1, z1 in the first
// frame and x2, y2, z2 in the second, all in mm. It returns an error wrapping [ErrLandmarks] that names line and column.
func ReadLandmarks(r io.Reader) ([]Pair, error) {
	rows := csv.NewReader(bufio.NewReader(io.LimitReader(r, largestTable)))
	rows.FieldsPerRecord = len(landmarkColumns)
	rows.TrimLeadingSpace = true
	head, err := rows.Read()
	if err != nil || strings.TrimPrefix(strings.Join(head, ","), "\ufeff") != strings.Join(landmarkColumns, ",") {
		return nil, fmt.Errorf("%w: line 1: the columns must be %s", ErrLandmarks, strings.Join(landmarkColumns, ","))
	}
	var out []Pair
	for {
		cells, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %v", ErrLandmarks, err)
		}
		line, _ := rows.FieldPos(0)
		if len(out) == mostLandmarks {
			return nil, fmt.Errorf("%w: line %d: more than %d landmarks", ErrLandmarks, line, mostLandmarks)
		}
		p, err := landmark(cells, line)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
}

// landmark reads one row.
func landmark(cells []string, line int) (Pair, error) {
	var x [6]float64
	for i := range x {
		v, err := strconv.ParseFloat(strings.TrimSpace(cells[i+1]), 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > farthest {
			return Pair{}, fmt.Errorf("%w: line %d: column %s: %q is no coordinate in mm", ErrLandmarks, line, landmarkColumns[i+1], cells[i+1])
		}
		x[i] = v
	}
	return Pair{strings.TrimSpace(cells[0]), r3.Vec{X: x[0], Y: x[1], Z: x[2]}, r3.Vec{X: x[3], Y: x[4], Z: x[5]}}, nil
}

// FitLandmarks returns the transform that brings the first places onto the second, as a start: [FitPoints] of them.
func FitLandmarks(pairs []Pair) (PointFit, error) {
	var from, to []r3.Vec
	for _, p := range pairs {
		from, to = append(from, p.First), append(to, p.Second)
	}
	return FitPoints(from, to)
}
