package practice

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
)

// Reference holds, for numbers of a study, what each is held against: a measurement of the tool's, or of a reader above
// doubt.
type Reference map[target]string

// target is what a number is of.
type target struct {
	Case, Site, Quantity string
	At                   float64 // mm; 0: no depth
}

// referenceColumns are the columns that a table of references has among others, as measurements.csv and study merge's do.
var referenceColumns = []string{"case", "site", "quantity", "at_mm", "value"}

// ReadReference reads a table of references: case,site,quantity,at_mm,value and any other columns. Rows without a value
// and those of quantities that nobody is asked are left out. Its errors wrap [ErrOptions] and name the row.
func ReadReference(r io.Reader) (Reference, error) {
	c := csv.NewReader(r)
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("%w: no first row with the names of the columns: %v", ErrOptions, err)
	}
	var at [5]int
	for i, name := range referenceColumns {
		if at[i] = slices.Index(head, name); at[i] < 0 {
			return nil, fmt.Errorf("%w: no column %q; a reference has case,site,quantity,at_mm,value, as measurements.csv", ErrOptions, name)
		}
	}
	out := Reference{}
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: this is no CSV: %v", ErrOptions, err)
		}
		line, _ := c.FieldPos(0)
		if err := out.add(row, at); err != nil {
			return nil, fmt.Errorf("%w: row %d: %v", ErrOptions, line, err)
		}
	}
}

// add takes one row; at says where the columns stand.
func (f Reference) add(row []string, at [5]int) error {
	t, value := target{Case: row[at[0]], Site: row[at[1]], Quantity: row[at[2]]}, row[at[4]]
	if _, asked := measurands[quantity.Name(t.Quantity)]; !asked || value == "" {
		return nil
	}
	if text := row[at[3]]; text != "" {
		var err error
		if t.At, err = strconv.ParseFloat(text, 64); err != nil {
			return fmt.Errorf("at_mm: %q is no number", text)
		}
	}
	if _, err := strconv.ParseFloat(value, 64); err != nil {
		return fmt.Errorf("value: %q is no number", value)
	}
	if before, twice := f[t]; twice && before != value {
		return fmt.Errorf("%s of site %q in case %s is %s here and %s before; a reference is one number", t.Quantity, t.Site, t.Case, value, before)
	}
	f[t] = value
	return nil
}

// Gather writes the answers of several sittings as one tidy table, for `agree`: the columns of [Session.WriteTable], and with
// references a column reference, empty where there is none. It returns how many rows have a reference. Two sittings that
// give one reader's reading twice are refused; the error wraps [ErrSession].
func Gather(w io.Writer, all []*Session, f Reference) (held int, err error) {
	head := slices.Clone(tableColumns)
	if f != nil {
		head = append(head, "reference")
	}
	rows := [][]string{head}
	seen := map[string]bool{}
	for _, s := range all {
		for _, row := range s.rows() {
			key := fmt.Sprintf("%q", row[:6])
			if seen[key] {
				return 0, fmt.Errorf("%w: reader %s has read %s of site %s in case %s twice as replicate %s; a second sitting of a reader has replicates of its own in the list", ErrSession, row[2], row[4], row[1], row[0], row[3])
			}
			seen[key] = true
			if f != nil {
				at, _ := strconv.ParseFloat(row[5], 64) // empty where there is no depth
				value, there := f[target{row[0], row[1], row[4], at}]
				if row = append(row, value); there {
					held++
				}
			}
			rows = append(rows, row)
		}
	}
	return held, cells.Write(w, rows)
}
