package plan

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"gonum.org/v1/gonum/spatial/r3"
)

// minArch is the least number of arch points: below it no spline has an inner segment.
const minArch = 4

// maxHand is the largest scatter of a hand that is believed, mm: past it no section means anything.
const maxHand = 5.0

const tooFewArch = "mark at least 4 points along the arch, from one end to the other"

// arch reads the arch points, from the plan or from the CSV file that it names, and how exactly they
// were placed.
func (r *reader) arch(n node, dir fs.FS, p *Plan) []r3.Vec {
	f := n.mapping("points", "file", "sd_mm", "midline")
	if v, ok := f.get("sd_mm"); ok {
		p.PlacedSD, _ = v.between(0, maxHand, " mm")
	}
	if v, ok := f.get("midline"); ok {
		if m, ok := v.vec(); ok {
			p.Midline = &m
		}
	}
	points, hasPoints := f.get("points")
	file, hasFile := f.get("file")
	switch {
	case f.has("points") && f.has("file"):
		f.fail("keep one of them", "points (line %d) and file (line %d) are both given", f.line("points"), f.line("file"))
	case hasPoints:
		all, good := points.points(maxArch)
		switch s, ok := points.tree.(*ast.SequenceNode); {
		case ok && len(s.Values) < minArch:
			points.fail(tooFewArch, "the arch has %d points", len(s.Values))
		}
		if good {
			return all
		}
	case hasFile:
		return r.archFile(file, dir)
	case !f.has("points") && !f.has("file") && f.isMapping():
		f.fail("give points: [[x, y, z], …] or file: arch.csv", "the arch has no points")
	}
	return nil
}

func (r *reader) archFile(n node, dir fs.FS) []r3.Vec {
	name, ok := n.text(500)
	if !ok {
		return nil
	}
	data, ok := n.open(name, dir, maxPlanBytes)
	if !ok {
		return nil
	}
	before := len(r.list) + r.more
	all := r.archCSV(path.Base(name), data)
	switch {
	case len(r.list)+r.more > before:
		return nil
	case len(all) < minArch:
		n.fail(tooFewArch, "%s has %d points", quoted(name), len(all))
		return nil
	}
	return all
}

// archCSV reads points from a CSV text with the columns x, y, z in any order among others.
func (r *reader) archCSV(file string, data []byte) []r3.Vec {
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	in.TrimLeadingSpace = true
	head, err := in.Read()
	column, ok := archColumns(head)
	if err != nil || !ok {
		r.add(Position{File: file, Line: 1, Column: 1}, "arch", "begin the file with the line x,y,z and separate by commas",
			"the first line is %s", quoted(strings.Join(head, ",")))
		return nil
	}
	var all []r3.Vec
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			r.add(csvMark(file, err), "arch", "write x,y,z in each line", "not readable as CSV: %v", csvReason(err))
			return all
		}
		if len(all) == maxArch {
			r.add(Position{File: file}, "arch", "thin the points out", "more than %d arch points", maxArch)
			return all
		}
		all = append(all, r.archRow(file, in, row, column, len(all)))
	}
}

// archColumns returns where x, y and z stand in the header.
func archColumns(head []string) ([3]int, bool) {
	at := [3]int{-1, -1, -1}
	for i, name := range head {
		if k := strings.Index("xyz", strings.ToLower(strings.TrimSpace(name))); k >= 0 && len(strings.TrimSpace(name)) == 1 {
			at[k] = i
		}
	}
	return at, at[0] >= 0 && at[1] >= 0 && at[2] >= 0
}

func (r *reader) archRow(file string, in *csv.Reader, row []string, column [3]int, i int) r3.Vec {
	var xyz [3]float64
	for axis, c := range column {
		line, col := in.FieldPos(c)
		at := Position{File: file, Line: line, Column: col}
		if axis == 0 {
			r.source.at[archPath(i)] = at
		}
		x, err := parseDecimal(strings.TrimSpace(row[c]))
		if err == nil && (x < -maxCoordinate || x > maxCoordinate) {
			err = fmt.Errorf("give a number from %g to %g", -maxCoordinate, maxCoordinate)
		}
		if err != nil {
			r.add(at, "arch", err.Error(), "%c is %s", "xyz"[axis], quoted(row[c]))
		}
		xyz[axis] = x
	}
	return r3.Vec{X: xyz[0], Y: xyz[1], Z: xyz[2]}
}

func archPath(i int) string { return fmt.Sprintf("arch.points[%d]", i) }

func csvMark(file string, err error) Position {
	var at *csv.ParseError
	if errors.As(err, &at) {
		return Position{File: file, Line: at.Line, Column: max(at.Column, 1)}
	}
	return Position{File: file}
}

func csvReason(err error) error {
	var at *csv.ParseError
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}
