package study

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"time"

	"ridgerule/measure/report"
)

// Merged counts what a merge found.
type Merged struct {
	Entries  int
	Measured int
	Failures []Failure // failed, and not run yet, in the manifest's order
	Tools    []string  // names and versions of what measured them, sorted: more than one deserves a word
}

// Merge writes, into the folder of a study, the tables of all its entries in the manifest's order:
// measurements.csv and sites.csv, with the labels and the further columns first, failures.csv and
// datapackage.json. The bytes follow from the manifest and the entries alone. made is the package's
// creation date; the zero time leaves it out.
//
// It returns an error wrapping [ErrNoStudy] for a folder without a study, and one that names the
// entry where a table was changed after it was measured.
func Merge(folder string, made time.Time) (Merged, error) {
	d := dir(folder)
	m, err := d.readRoll()
	if err != nil {
		return Merged{}, err
	}
	out := Merged{Entries: len(m.Entries)}
	long, wide := newTable(m), newTable(m)
	for _, e := range m.Entries {
		folder := d.whole(e.Name())
		mark, err := readMarker(folder)
		failed, known := d.readFailure(e)
		switch {
		case err == nil && (!known || failed.Inputs == mark.Hash):
			out.Measured++
			out.Tools = append(out.Tools, mark.Tool)
			err = errors.Join(long.add(e, folder, tableFiles[0]), wide.add(e, folder, tableFiles[1]))
			if err != nil {
				return out, err
			}
		case known:
			out.Failures = append(out.Failures, failed)
		case exists(folder):
			return out, fmt.Errorf("study: cases/%s: %s; remove that folder and run the study again", e.Name(), plainReason(err))
		default:
			out.Failures = append(out.Failures, Failure{Stage: StageNotRun, Reason: "neither measured nor failed yet; run the study again"}.of(e))
		}
	}
	slices.Sort(out.Tools)
	out.Tools = slices.Compact(out.Tools)
	return out, d.writeMerged(long, wide, out.Failures, made)
}

func (d dir) writeMerged(long, wide *table, failures []Failure, made time.Time) error {
	lost, err := csvBytes(failureRows(failures))
	if err != nil {
		return err
	}
	var tables []report.Table
	for i, t := range []*table{long, wide} {
		columns := [][]report.Column{report.MeasurementColumns(), report.SiteColumns(wide.depths())}[i]
		data, err := t.bytes(columns)
		if err != nil {
			return err
		}
		tables = append(tables, report.Table{Path: tableFiles[i], Title: []string{"One measurement a row", "One site a row"}[i],
			Columns: append(t.columns(), columns[1:]...), Data: data})
	}
	tables = append(tables, report.Table{Path: "failures.csv", Title: "One reading that was not measured a row", Columns: failureColumns(), Data: lost})
	var pack bytes.Buffer
	if err := report.DataPackage(&pack, "Ridge measurements of a study", made, tables); err != nil {
		return err
	}
	for _, t := range tables {
		if err := writeWhole(d.at(t.Path), t.Data); err != nil {
			return err
		}
	}
	return writeWhole(d.at("datapackage.json"), pack.Bytes())
}

// table is a merged table in the making: the rows of the entries' tables, by column name.
type table struct {
	study *Manifest
	head  []string // the study's columns: case, reader, replicate, then the further ones
	rows  []tableRow
	seen  map[string]bool // names of columns met
}

type tableRow struct {
	entry Entry
	cells map[string]string
}

func newTable(m *Manifest) *table {
	return &table{study: m, head: append([]string{"case", "reader", "replicate"}, m.Further...), seen: map[string]bool{}}
}

// add takes the rows of one entry's table.
func (t *table) add(e Entry, folder, name string) error {
	data, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		return fmt.Errorf("study: cases/%s/%s: %s", e.Name(), name, plainReason(err))
	}
	in := csv.NewReader(bytes.NewReader(data))
	head, err := in.Read()
	for err == nil {
		var cells []string
		if cells, err = in.Read(); err != nil {
			break
		}
		row := tableRow{e, map[string]string{}}
		for i, c := range cells {
			row.cells[head[i]], t.seen[head[i]] = c, true
		}
		t.rows = append(t.rows, row)
	}
	if !errors.Is(err, io.EOF) {
		return fmt.Errorf("study: cases/%s/%s is not readable: %v; remove that folder and run the study again", e.Name(), name, err)
	}
	return nil
}

var widthColumn = regexp.MustCompile(`^width_([0-9.]+)mm_mm$`)

// depths returns the depths (mm, ascending) for which any row has a width column.
func (t *table) depths() []float64 {
	var all []float64
	for name := range t.seen {
		if m := widthColumn.FindStringSubmatch(name); m != nil {
			if d, err := strconv.ParseFloat(m[1], 64); err == nil {
				all = append(all, d)
			}
		}
	}
	slices.Sort(all)
	return all
}

// bytes returns the table as CSV with these columns, of which the first, the case, is the study's.
func (t *table) bytes(columns []report.Column) ([]byte, error) {
	head := slices.Clone(t.head)
	for i := range head {
		head[i] = cell(head[i])
	}
	for _, c := range columns[1:] {
		head = append(head, c.Name)
	}
	rows := [][]string{head}
	for _, r := range t.rows {
		row := []string{cell(r.entry.Case), cell(r.entry.Reader), cell(r.entry.Replicate)}
		for _, c := range r.entry.Further {
			row = append(row, cell(c))
		}
		for _, c := range columns[1:] {
			row = append(row, r.cells[c.Name])
		}
		rows = append(rows, row)
	}
	return csvBytes(rows)
}

// columns describes the study's columns.
func (t *table) columns() []report.Column {
	about := []string{"Label of the case, from the manifest. Never a patient's name or number.",
		"Who read it, from the manifest; may be empty.", "Which reading of this case by this reader, from the manifest; may be empty."}
	var out []report.Column
	for i, name := range t.head {
		c := report.Column{Name: cell(name), Title: name, Type: "string", Description: "From the manifest, carried through unread."}
		if i < len(about) {
			c.Description = about[i]
		}
		out = append(out, c)
	}
	return out
}

func failureColumns() []report.Column {
	t := newTable(&Manifest{})
	return append(t.columns(),
		report.Column{Name: "stage", Title: "Stage", Type: "string", Description: "Where it ended.",
			Categories: []string{StagePlan, StageSeries, StageMemory, StageMeasure, StageWrite, StageCrash, StageNotRun}},
		report.Column{Name: "reason", Title: "Reason", Type: "string", Description: "Why, with the remedy."})
}
