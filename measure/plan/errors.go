package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Error is one fault of a plan file: where it stands, what is wrong with which value, and
// what to do about it.
type Error struct {
	File         string // base name of the plan, or of the file that the plan names
	Line, Column int    // from 1; 0: the file as a whole
	Where        string // whose fault it is: `site "36"`; empty: the plan's
	What         string // what is wrong, with the value
	Remedy       string // what to do
	Missing      bool   // what is wrong is that it is not there: a plan on its way lacks it still
}

// Error returns the fault on one line:
//
//	plan.yaml:14:5: site "36": tooth 16 is a tooth of the maxilla; …
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	for _, part := range []string{e.Where, e.What} {
		if part != "" {
			b.WriteString(": " + part)
		}
	}
	if e.Remedy != "" {
		b.WriteString("; " + e.Remedy)
	}
	return b.String()
}

// Errors are all faults of a plan, sorted by file and line. It is never empty when it is
// returned as an error.
type Errors []*Error

// Error returns the faults, one a line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, fault := range e {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the faults one by one, for [errors.As].
func (e Errors) Unwrap() []error {
	all := make([]error, len(e))
	for i, fault := range e {
		all[i] = fault
	}
	return all
}

// mostFaults bounds what a broken plan prints: past it nobody reads.
const mostFaults = 100

// faults collects the errors of a plan. It is no error itself, so that a nil collection can
// never be mistaken for one.
type faults struct {
	list Errors
	more int // faults past mostFaults
}

func (f *faults) add(at Position, where, remedy, format string, args ...any) {
	if len(f.list) >= mostFaults {
		f.more++
		return
	}
	f.list = append(f.list, &Error{
		File: at.File, Line: at.Line, Column: at.Column,
		Where: where, What: fmt.Sprintf(format, args...), Remedy: remedy,
	})
}

// lack adds that something named is not there.
func (f *faults) lack(at Position, where, remedy, name string) {
	n := len(f.list)
	f.add(at, where, remedy, "%s is missing", name)
	if len(f.list) > n {
		f.list[n].Missing = true
	}
}

// err returns the collected faults as an error, sorted by file and line, or nil.
func (f *faults) err() error {
	if len(f.list) == 0 {
		return nil
	}
	slices.SortStableFunc(f.list, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	if f.more > 0 {
		last := Error{File: f.list[0].File, What: fmt.Sprintf("%d more errors are not listed", f.more), Remedy: "mend the first ones"}
		return append(f.list, &last)
	}
	return f.list
}

// quoted returns s in quotes, cut and with control characters escaped, fit for one line of a
// message.
func quoted(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// nearest returns the known word closest to word, and whether it is close enough to be meant.
func nearest(word string, known []string) (string, bool) {
	best, least := "", 1<<30
	for _, k := range known {
		d := editDistance(strings.ToLower(word), k)
		if strings.HasPrefix(k, word+"_") { // radius → radius_mm: the unit was left out
			d = 1
		}
		if d < least {
			best, least = k, d
		}
	}
	return best, best != "" && least <= max(1, len(best)/3)
}

// editDistance returns how many single-character changes turn a into b (Levenshtein); without unit.
func editDistance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// suggestion returns the remedy for an unknown word.
func suggestion(word string, known []string) string {
	if best, close := nearest(word, known); close {
		return fmt.Sprintf("did you mean %s?", best)
	}
	return "use one of " + strings.Join(known, ", ")
}
