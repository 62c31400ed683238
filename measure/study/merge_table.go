package study

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"ridgerule/dicomio/temporary"
	"ridgerule/measure/report"
)

// table is a merged table on its way to the disk: written beside its place, hashed as it goes.
type table struct {
	about   report.Table
	columns []report.Column // after the study's
	dir     dir
	file    *temporary.Place
	buffer  *bufio.Writer
	sum     hash.Hash
	rows    *csv.Writer
	further bool // the manifest's further columns are in it
}

// table begins a table with the study's columns and these; key is of these.
func (g *merger) table(name, title string, columns []report.Column, key []string) (*table, error) {
	f, err := temporary.File(string(g.dir))
	if err != nil {
		return nil, fmt.Errorf("study: %s cannot be written: %s", name, plainReason(err))
	}
	t := &table{dir: g.dir, columns: columns, file: f, sum: sha256.New(), further: name != "failures.csv"}
	g.tables = append(g.tables, t)
	t.buffer = bufio.NewWriterSize(io.MultiWriter(f.Lock, t.sum), 1<<16)
	t.rows = csv.NewWriter(t.buffer)
	study := labelColumns()
	if t.further {
		study = append(study, furtherColumns(g.study.Further)...)
	}
	t.about = report.Table{Path: name, Title: title, Columns: append(study, columns...), Key: append(slices.Clone(labelNames), key...)}
	head := make([]string, len(t.about.Columns))
	for i, c := range t.about.Columns {
		head[i] = c.Name
	}
	return t, t.rows.Write(head)
}

// row writes one row: the entry's labels, then these cells.
func (t *table) row(e Entry, cells ...string) {
	row := []string{textOrNumber(e.Case), textOrNumber(e.Reader), textOrNumber(e.Replicate)}
	if t.further {
		for _, c := range e.Further {
			row = append(row, textOrNumber(c))
		}
	}
	for _, c := range cells {
		row = append(row, textOrNumber(c))
	}
	_ = t.rows.Write(row) // the writer keeps its error, and commit returns it
}

// add writes the rows of one entry's table.
func (t *table) add(e Entry, folder string, made marker) error {
	rows, err := readTable(folder, t.about.Path, made)
	if err != nil || len(rows) == 0 {
		return err
	}
	at := make([]int, len(t.columns)) // of each column in the entry's table; −1: not there
	for i, c := range t.columns {
		at[i] = slices.Index(rows[0], c.Name)
	}
	for _, from := range rows[1:] {
		to := []string{textOrNumber(e.Case), textOrNumber(e.Reader), textOrNumber(e.Replicate)}
		for _, c := range e.Further {
			to = append(to, textOrNumber(c))
		}
		for _, i := range at {
			if i < 0 {
				to = append(to, "")
				continue
			}
			to = append(to, from[i]) // as it was written: made safe already
		}
		_ = t.rows.Write(to)
	}
	return nil
}

// commit brings the table to its place.
func (t *table) commit() error {
	t.rows.Flush()
	err := errors.Join(t.rows.Error(), t.buffer.Flush())
	info, statErr := t.file.Lock.Stat()
	err = errors.Join(err, statErr, t.file.Lock.Sync())
	if err == nil {
		t.about.Bytes, t.about.SHA256 = info.Size(), hexOf(t.sum)
		err = t.file.Commit(func() error { return os.Rename(t.file.Path, t.dir.at(t.about.Path)) })
	}
	if err != nil {
		return fmt.Errorf("study: %s cannot be written: %s", t.about.Path, plainReason(err))
	}
	return nil
}

// readTable returns the rows of one entry's table, which is as its marker says.
func readTable(folder, name string, made marker) ([][]string, error) {
	data, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		return nil, fmt.Errorf("%s: %s", name, plainReason(err))
	}
	if sum := sha256.Sum256(data); fmt.Sprintf("%x", sum) != made.Files[name] {
		return nil, changed(name)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s is not readable: %w", name, err)
	}
	return rows, nil
}

var widthColumn = regexp.MustCompile(`^width_([0-9.]+)mm_mm$`)

// widthDepth returns the depth (mm) of a width's column, or false.
func widthDepth(name string) (float64, bool) {
	m := widthColumn.FindStringSubmatch(name)
	if m == nil {
		return 0, false
	}
	d, err := strconv.ParseFloat(m[1], 64)
	return d, err == nil
}

var labelNames = []string{"case", "reader", "replicate"}

// labelColumns describe the columns that tell the study's readings apart.
func labelColumns() []report.Column {
	about := []string{"Label of the case, from the manifest. Never a patient's name or number.",
		"Who read it, from the manifest; may be empty.", "Which reading of this case by this reader, from the manifest; may be empty."}
	var out []report.Column
	for i, name := range labelNames {
		out = append(out, report.Column{Name: name, Title: name, Type: "string", Description: about[i]})
	}
	return out
}

// furtherColumns describe the manifest's columns that are carried through. Its series and plan are paths, and
// never in a table.
func furtherColumns(names []string) []report.Column {
	var out []report.Column
	for _, name := range names {
		out = append(out, report.Column{Name: textOrNumber(name), Title: name, Type: "string", Description: "From the manifest, carried through unread."})
	}
	return out
}

// caseColumns describe what cases.csv says of a reading, after the study's columns.
func caseColumns() []report.Column {
	text := func(name, title, about string) report.Column {
		return report.Column{Name: name, Title: title, Type: "string", Description: about}
	}
	return []report.Column{
		text("tool", "Measured by", "Name and version of the program."),
		text("plan_sha256", "Plan", "SHA-256 of the plan, as result.json gives it."),
		text("series_hash", "Series", "SHA-256 of the series' pixels and geometry, as result.json gives it."),
		text("measurements_sha256", "Measurements", "SHA-256 of the bytes of the case's measurements.csv, before the study's columns."),
	}
}

func failureColumns() []report.Column {
	return []report.Column{
		{Name: "stage", Title: "Stage", Type: "string", Description: "Where it ended.",
			Categories: []string{StagePlan, StageSeries, StageMemory, StageMeasure, StageWrite, StageCrash, StageNotRun}},
		{Name: "reason", Title: "Reason", Type: "string", Description: "Why, with the remedy."},
	}
}
