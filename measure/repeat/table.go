package repeat

import (
	"bufio"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Columns names the columns of the table.
type Columns struct {
	Subject   []string // what was measured; several are joined: case and site
	Rater     string   // who measured; may be empty where Replicate is given
	Value     string   // the reading
	Replicate string   // repeat of one subject by one rater; empty means each was read once
	Reference string   // what each subject truly is, or what a reference found: the raters are held against it; empty means each other

	// Cluster holds what several subjects belong to, as a case its sites. Empty means, of several subject
	// columns, the one called case, else the first.
	Cluster string

	// Unit holds the unit of each reading, and must say the same all the way down. Empty means the
	// column "unit" where the table has one, else the ending of Value: height_mm is in mm.
	Unit string
}

// Condition keeps the rows whose Column holds exactly Value: quantity = ridge_width.
type Condition struct {
	Column string `json:"column"`
	Value  string `json:"value"`
}

// Source says of which table, and of which of its rows and columns, a result is. The file's name is no part of it.
type Source struct {
	SHA256    string      `json:"sha256"` // of the table's bytes
	Subject   []string    `json:"subject"`
	Rater     string      `json:"rater,omitempty"`
	Replicate string      `json:"replicate,omitempty"`
	Value     string      `json:"value"`
	Cluster   string      `json:"cluster,omitempty"`
	Reference string      `json:"reference,omitempty"`
	Where     []Condition `json:"where"` // the rows kept; empty: all
}

// Reading is one row: one value of one subject by one rater, in the unit of the table.
type Reading struct {
	Subject, Rater, Replicate string

	Value   float64 // in the unit of the table
	Line    int     // in the file, from 1; 0 where there was no file
	Cluster string  // what the subject belongs to; "" where there are no clusters
}

// Table is what Read hands to Analyse.
type Table struct {
	Readings []Reading
	Value    string // name of the value column
	Unit     string // unit of every reading; empty where nobody said
	Skipped  int    // rows without a number, left out because Options.SkipMissing was set
	Cluster  string // name of the clusters' column; empty for none
	Source   *Source

	Reference string // the rater whose readings are the reference, of each subject one; empty for none
}

// TableError is one thing wrong with the table, and where. Line is 0 where it concerns the whole.
type TableError struct {
	Line   int
	Column string
	Reason string
}

func (e *TableError) Error() string {
	var where []string
	if e.Line > 0 {
		where = append(where, fmt.Sprintf("line %d", e.Line))
	}
	if e.Column != "" {
		where = append(where, fmt.Sprintf("column %q", e.Column))
	}
	if len(where) == 0 {
		return "repeat: " + e.Reason
	}
	return "repeat: " + strings.Join(where, ", ") + ": " + e.Reason
}

const (
	mostErrors = 20     // named at once; more of the same teach nothing
	largest    = 1e15   // past it a float64 holds no tenth
	joint      = "\x1f" // between the parts of a subject: the ASCII unit separator, met in no label
)

// Read reads a tidy CSV (RFC 4180, UTF-8, comma, decimal point): one reading a row, first row the
// names. Only o.Where, o.Unit and o.SkipMissing are looked at.
//
// Every fault found is a [*TableError], joined, at most 20 of them: a column that is not there or is
// there twice, a missing subject, rater or replicate, a reading that is missing or not a number, one
// given twice, two references of one subject, or units that differ or are given beside those of the table.
func Read(r io.Reader, c Columns, o Options) (*Table, error) {
	sum := sha256.New()
	rd := csv.NewReader(skipMark(io.TeeReader(r, sum)))
	rd.ReuseRecord = true
	head, err := rd.Read()
	if errors.Is(err, io.EOF) {
		return nil, &TableError{Reason: "the table is empty: the first line must name the columns"}
	}
	if err != nil {
		return nil, syntax(err)
	}
	p, err := newParser(slices.Clone(head), c, o)
	if err != nil {
		return nil, err
	}
	for len(p.faults) < mostErrors {
		row, err := rd.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			p.faults = append(p.faults, syntax(err))
			break
		}
		line, _ := rd.FieldPos(0)
		p.add(row, line)
	}
	p.table.Source = &Source{hex.EncodeToString(sum.Sum(nil)), c.Subject, c.Rater, c.Replicate, c.Value, p.table.Cluster, c.Reference, append([]Condition{}, o.Where...)}
	return p.finish()
}

// skipMark passes over the byte order mark that spreadsheets put before UTF-8.
func skipMark(r io.Reader) io.Reader {
	b := bufio.NewReader(r)
	if mark, _ := b.Peek(3); string(mark) == "\xef\xbb\xbf" {
		_, _ = b.Discard(3) // cannot fail: Peek saw them
	}
	return b
}

// syntax turns the CSV reader's error into ours, and passes on a failure of the file itself.
func syntax(err error) error {
	var pe *csv.ParseError
	if errors.As(err, &pe) {
		return &TableError{Line: pe.Line, Reason: fmt.Sprintf("not a CSV row: %v", pe.Err)}
	}
	return fmt.Errorf("repeat: the table cannot be read: %w", err)
}
