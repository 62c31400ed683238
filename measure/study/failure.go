package study

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"ridgerule/dicomio"
	"ridgerule/measure/fault"
	"ridgerule/measure/plan"
)

// The stages at which an entry can fail, in order.
const (
	StagePlan    = "plan"    // the plan cannot be read, or does not fit the scan
	StageSeries  = "series"  // the series cannot be found, or is unfit to measure
	StageMemory  = "memory"  // it would not fit the memory allowed; nothing was read
	StageMeasure = "measure" // while reading pixels or measuring
	StageWrite   = "write"   // the outputs could not be written
	StageCrash   = "crash"   // the process that measured it ended badly
	StageNotRun  = "not run" // of a merge only: neither measured nor failed yet
)

// Failure says why an entry was not measured. Neither field holds a path or an identity.
type Failure struct {
	Case      string `json:"case"`
	Reader    string `json:"reader"`
	Replicate string `json:"replicate"`
	Stage     string `json:"stage"`
	Reason    string `json:"reason"`
	Inputs    string `json:"inputs_sha256,omitempty"` // that it failed with; "" where they could not be read
	Line      int    `json:"-"`                       // of the manifest
}

func (f *Failure) Error() string { return f.Stage + ": " + f.Reason }

// of returns the failure with the labels of e.
func (f Failure) of(e Entry) Failure {
	f.Case, f.Reader, f.Replicate, f.Line = e.Case, e.Reader, e.Replicate, e.Line
	return f
}

// FailureOf returns err as a failure. A kind of error that belongs to a stage gets it, any other
// gets stage; what could identify a person, as a file's name, is left out.
func FailureOf(err error, stage string) *Failure { return failureOf(err, stage) }

func failureOf(err error, stage string) *Failure {
	var known *Failure
	var faults plan.Errors
	var series *dicomio.SeriesError
	switch {
	case errors.As(err, &known):
		return known
	case errors.As(err, &faults):
		return &Failure{Stage: StagePlan, Reason: planReason(faults)}
	case errors.As(err, &series):
		return &Failure{Stage: StageSeries, Reason: plainReason(series)} // tells of a file's name what cannot be a person's
	case errors.Is(err, dicomio.ErrPath):
		return &Failure{Stage: StageSeries, Reason: "no such path; correct the series in the manifest"}
	}
	return &Failure{Stage: stage, Reason: plainReason(err)}
}

// planReason gives the first faults of a plan, by line, without the file's name.
func planReason(faults plan.Errors) string {
	const most = 3
	var out []string
	for _, f := range faults[:min(most, len(faults))] {
		bare := *f
		bare.File = "plan"
		out = append(out, bare.Error())
	}
	if more := len(faults) - most; more > 0 {
		out = append(out, fmt.Sprintf("and %d more", more))
	}
	return oneLine(strings.Join(out, " | "))
}

// plainReason is an error's text without the rooms' names and without the path of a file.
func plainReason(err error) string {
	var path *fs.PathError
	var link *os.LinkError
	text := err.Error()
	for named := true; named; { // one may wrap another
		switch {
		case errors.As(err, &path):
			text, err = path.Op+": "+path.Err.Error(), path.Err
		case errors.As(err, &link):
			text, err = link.Op+": "+link.Err.Error(), link.Err
		default:
			named = false
		}
	}
	for _, room := range []string{"dicomio: ", "measure: ", "report: ", "reformat: ", "safety: ", "solid: "} {
		text = strings.ReplaceAll(text, room, "")
	}
	return oneLine(text)
}

func oneLine(s string) string {
	const most = 1000
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// recovered turns a panic of do into a failure of its entry.
func recovered(do func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &Failure{Stage: StageCrash, Reason: oneLine(fault.Sentence(p))}
		}
	}()
	return do()
}

// readFailure returns the recorded failure of an entry, or false.
func (d dir) readFailure(e Entry) (Failure, bool) {
	var f Failure
	data, err := os.ReadFile(d.failed(e.Name()))
	if err != nil || json.Unmarshal(data, &f) != nil {
		return Failure{}, false
	}
	return f.of(e), true
}

// writeFailure records that the entry failed.
func (d dir) writeFailure(e Entry, f *Failure) error {
	return writeJSON(d.failed(e.Name()), f.of(e))
}

// failures returns the records in force, in the manifest's order. One is not where the entry's folder
// was made from the inputs that it names: a run was killed between making that and removing this.
func (d dir) failures(entries []Entry) []Failure {
	var out []Failure
	for _, e := range entries {
		f, ok := d.readFailure(e)
		if !ok {
			continue
		}
		if made, err := readWhole(d.whole(e.Name())); err != nil || made.Hash != f.Inputs {
			out = append(out, f)
		}
	}
	return out
}

// failureRows returns the table of failures.
func failureRows(all []Failure) [][]string {
	rows := [][]string{{"case", "reader", "replicate", "stage", "reason"}}
	for _, f := range all {
		rows = append(rows, []string{textOrNumber(f.Case), textOrNumber(f.Reader), textOrNumber(f.Replicate), textOrNumber(f.Stage), textOrNumber(f.Reason)})
	}
	return rows
}
