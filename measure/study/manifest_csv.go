package study

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

// trimMark takes off a byte order mark, which spreadsheets write.
func trimMark(data []byte) []byte { return bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) }

// csv reads RFC 4180: a row of names, then a reading a row.
func (r *manifestReader) csv(data []byte) grid {
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord = -1
	var t grid
	for {
		cells, err := in.Read()
		var wrong *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			if t.columns == nil {
				r.fault(0, "write a first row of names: case,series,plan,reader,replicate", "the file holds nothing")
			}
			return t
		case errors.As(err, &wrong):
			r.fault(wrong.Line, "put quotes around the whole cell and double those within", "not readable as CSV: %v", wrong.Err)
			if t.columns == nil || len(r.faults) == mostFaults {
				return t
			}
			continue
		case err != nil:
			r.fault(0, "write CSV, UTF-8", "%v", err)
			return t
		}
		if t.columns == nil {
			t.columns = cells
			continue
		}
		line, _ := in.FieldPos(0)
		if len(cells) != len(t.columns) {
			r.fault(line, "give each row a cell a column", "%d cells, the first row has %d", len(cells), len(t.columns))
			continue
		}
		t.rows, t.lines = append(t.rows, cells), append(t.lines, line)
	}
}
