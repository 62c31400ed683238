package practice

import (
	"bytes"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Fill writes answers into a form, the file of a reader that [WriteForm] or [Session.WriteForm] began: into the cells of an
// item that is not answered there, or a row of its own where the item has none. What the reader wrote stays as it is, with the
// further columns, the order of the rows, the delimiter and the line ends. A form that lacks nothing is returned as it was.
// Its errors are those of [ReadReadings].
func Fill(form []byte, answers []Reading) ([]byte, error) {
	given, err := ReadReadings(bytes.NewReader(form))
	if err != nil {
		return nil, err
	}
	f, err := readForm(form)
	if err != nil {
		return nil, err
	}
	row := map[string]Reading{}
	for _, r := range given {
		row[r.key()] = r
	}
	changed := false
	for _, a := range answers {
		at, there := row[a.key()]
		if there && !at.Empty() {
			continue
		}
		changed = true
		if !there {
			f.rows = append(f.rows, make([]string, len(f.rows[0])))
			at.Row = f.line[len(f.line)-1] + 1
			f.line = append(f.line, at.Row)
		}
		f.write(slices.Index(f.line, at.Row), a)
	}
	if !changed {
		return form, nil
	}
	return f.bytes()
}

// key tells answers of one file apart.
func (r Reading) key() string { return r.Item + "\x00" + r.Question.String() }

// form is a file of readings as cells.
type form struct {
	bom, crlf bool
	comma     rune
	rows      [][]string // the first has the names of the columns
	line      []int      // of each row, from 1
}

const bom = "\ufeff"

// delimiter is what stands between the cells of a table: a comma, or where the first row has none a semicolon, or a tab.
func delimiter(text string) rune {
	first, _, _ := strings.Cut(text, "\n")
	for _, c := range ",;\t" {
		if strings.ContainsRune(first, c) {
			return c
		}
	}
	return ','
}

func readForm(data []byte) (*form, error) {
	text := strings.TrimPrefix(string(data), bom)
	f := &form{bom: len(text) < len(data), crlf: strings.Contains(text, "\r\n"), comma: delimiter(text)}
	c := csv.NewReader(strings.NewReader(text))
	c.FieldsPerRecord, c.Comma = -1, f.comma
	for {
		row, err := c.Read()
		if err == io.EOF {
			return f, nil
		}
		if err != nil {
			return nil, err
		}
		n, _ := c.FieldPos(0)
		f.rows, f.line = append(f.rows, row), append(f.line, n)
	}
}

// write puts an answer into row i, as far as there are columns for it.
func (f *form) write(i int, r Reading) {
	for len(f.rows[i]) < len(f.rows[0]) {
		f.rows[i] = append(f.rows[i], "")
	}
	for k, text := range r.cells() {
		for at, name := range f.rows[0] {
			if strings.EqualFold(strings.TrimSpace(name), readingColumns[k]) {
				f.rows[i][at] = text
			}
		}
	}
}

func (f *form) bytes() ([]byte, error) {
	var b bytes.Buffer
	if f.bom {
		b.WriteString(bom)
	}
	w := csv.NewWriter(&b)
	w.Comma, w.UseCRLF = f.comma, f.crlf
	err := w.WriteAll(f.rows)
	return b.Bytes(), err
}

// cells are an answer's cells, in the order of [readingColumns].
func (r Reading) cells() []string {
	row := []string{r.Item, string(r.Question.Quantity), r.Question.at(), "", "", "", "", "", "", "", ""}
	if r.Unreadable {
		row[3] = unreadable
	}
	if r.Value != nil {
		row[3] = number(*r.Value)
	}
	if r.Certainty != 0 {
		row[4] = strconv.Itoa(r.Certainty)
	}
	if l := r.Line; l != nil {
		for i, x := range []float64{l.A.X, l.A.Y, l.A.Z, l.B.X, l.B.Y, l.B.Z} {
			if !l.OnSheet || i%3 != 2 {
				row[5+i] = number(x)
			}
		}
	}
	return row
}
