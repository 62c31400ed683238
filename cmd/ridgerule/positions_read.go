package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/report"
	"ridgerule/measure/solid"
)

// The frames, as outputs name them: never after a file, whose name may be a patient's.
const (
	framePatient  = "patient LPS of the planned scan"
	framePlanned  = "frame of PLANNED"
	frameRecorded = "frame of RECORDED"
)

// positionReader says what is known of a recording.
type positionReader struct {
	source, marks  string
	u, uAxis, body float64 // NaN: not given
}

// ct is why a scan is no recording.
const ct = "positions measured in a CT are no data for a fit: planned and placed agree to 0.1 to 0.5 mm there, ten times the error of a recording of scan bodies; " +
	"give a table of recorded positions, or a surface scan (STL) with scan bodies"

// readPlanned reads the first set: a plan, or a recording where its table says a source or an uncertainty.
func (a *app) readPlanned(path string) (*align.Set, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	if looksLikeJSON(data) {
		r, _, err := report.ReadJSON(bytes.NewReader(data))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		s := &align.Set{Frame: framePatient, Planned: true}
		for _, site := range r.Sites {
			if m := site.Implant; m != nil {
				s.Positions = append(s.Positions, align.Position{Name: site.ID, At: m.Platform, Axis: m.Axis, U: math.NaN(), UAxis: math.NaN()})
			}
		}
		if len(s.Positions) == 0 {
			return nil, usagef("%s: no site of this result has a planned implant", path)
		}
		return s, nil
	}
	s, err := a.tableOf(path, data)
	if err != nil {
		return nil, err
	}
	s.Frame, s.Planned = framePlanned, s.Source == ""
	for _, p := range s.Positions {
		s.Planned = s.Planned && p.U != p.U
	}
	if s.Planned {
		a.say("note: PLANNED is taken as a plan, exact by definition; if it is a recording, say so in a column source")
	}
	return s, nil
}

func looksLikeJSON(data []byte) bool {
	return bytes.HasPrefix(bytes.TrimLeft(data, " \t\r\n"), []byte("{"))
}

// tableOf reads a table and prints its faults, one a line.
func (a *app) tableOf(path string, data []byte) (*align.Set, error) {
	s, err := align.ReadPositions(bytes.NewReader(data))
	switch {
	case errors.Is(err, align.ErrSource):
		return nil, fmt.Errorf("%s: %w", path, err)
	case err != nil:
		for line := range strings.Lines(err.Error()) {
			fmt.Fprintf(a.stderr, "%s: %s\n", path, strings.TrimSpace(line))
		}
		return nil, errSaid{usageError{err}}
	}
	return s, nil
}

// readRecorded reads a recording: a table, or a surface with scan bodies.
func (a *app) readRecorded(path string, k positionReader, planned *align.Set) (*align.Set, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%w: %s is a folder: %s", align.ErrSource, path, ct)
	}
	if err := align.CheckSource(k.source); err != nil {
		return nil, err
	}
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	if looksLikeJSON(data) || bytes.HasPrefix(data, []byte("PK\x03\x04")) || len(data) > 132 && string(data[128:132]) == "DICM" {
		return nil, fmt.Errorf("%w: %s: %s", align.ErrSource, path, ct)
	}
	var s *align.Set
	if strings.EqualFold(filepath.Ext(path), ".stl") {
		s, err = a.bodiesOf(path, data, k, planned)
	} else {
		s, err = a.tableOf(path, data)
	}
	if err != nil {
		return nil, err
	}
	s.Frame = frameRecorded
	if s.Source == "" {
		s.Source = k.source
	}
	for i := range s.Positions {
		p := &s.Positions[i]
		if p.U != p.U {
			p.U = k.u
		}
		if p.UAxis != p.UAxis {
			p.UAxis = k.uAxis
		}
	}
	return s, k.check()
}

// check holds the flags of a recording against what they may be.
func (k *positionReader) check() error {
	if k.u < 0 || k.u > 5 || k.uAxis < 0 || k.uAxis > 45 {
		return usagef("--u-mm %g and --u-deg %g: give standard uncertainties from 0, to 5 mm and 45 degrees", k.u, k.uAxis)
	}
	return nil
}

// bodiesOf fits scan bodies on a surface.
func (a *app) bodiesOf(path string, data []byte, k positionReader, planned *align.Set) (*align.Set, error) {
	if !(k.body >= 0 && k.body <= 30) {
		return nil, usagef("%s is a surface: say how far the top of a scan body is from the platform with --body-height-mm, 0 to 30", path)
	}
	if bytes.HasPrefix(data, []byte("ridgerule surface, patient LPS")) {
		return nil, fmt.Errorf("%w: %s was made from a CT by this program: %s", align.ErrSource, path, ct)
	}
	sheet, err := solid.ReadSheet(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, usagef("%s: %s", path, err)
	}
	s := &align.Set{SHA256: fmt.Sprintf("%x", sha256.Sum256(data))}
	if k.marks != "" {
		return s, a.markedBodies(s, sheet, k)
	}
	bodies, err := align.Bodies(sheet)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if s.Positions, err = align.NameBodies(*planned, bodies, k.body); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for _, b := range bodies {
		a.say("scan body: radius %.3f mm, %d corners of its side, %.3f mm off a cylinder", b.Radius, b.Sides, b.RMS)
	}
	return s, nil
}

// markedBodies fits the scan body at each mark.
func (a *app) markedBodies(s *align.Set, sheet *solid.Sheet, k positionReader) error {
	marks, err := readMarks(k.marks)
	if err != nil {
		return err
	}
	for _, m := range marks {
		b, err := align.BodyAt(sheet, m.at)
		if err != nil {
			return fmt.Errorf("%s: implant %s: %w", k.marks, m.name, err)
		}
		a.say("scan body %s: radius %.3f mm, %d corners of its side, %.3f mm off a cylinder", m.name, b.Radius, b.Sides, b.RMS)
		s.Positions = append(s.Positions, b.Platform(m.name, k.body))
	}
	return nil
}

// mark is a named point of a surface.
type mark struct {
	name string
	at   r3.Vec // mm
}

// readMarks reads a table implant,x,y,z.
func readMarks(path string) ([]mark, error) {
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))).ReadAll()
	if err != nil || len(rows) < 2 || len(rows[0]) < 4 || strings.Join(rows[0][:4], ",") != "implant,x,y,z" {
		return nil, usagef("%s is no table of marks: its first row is implant,x,y,z, and each further row a point on a top, mm", path)
	}
	seen := map[string]bool{}
	var out []mark
	for i, row := range rows[1:] {
		var x [3]float64
		for k := range x {
			if x[k], err = strconv.ParseFloat(strings.TrimSpace(row[k+1]), 64); err != nil || math.IsNaN(x[k]) || math.IsInf(x[k], 0) {
				return nil, usagef("%s: line %d: %q is no number (decimals need a point)", path, i+2, row[k+1])
			}
		}
		name := strings.TrimSpace(row[0])
		if name == "" || seen[name] {
			return nil, usagef("%s: line %d: %q is no name, or stands there twice", path, i+2, name)
		}
		seen[name] = true
		out = append(out, mark{name, r3.Vec{X: x[0], Y: x[1], Z: x[2]}})
	}
	return out, nil
}
