package report

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"

	"ridgerule/measure"
)

// A result knows its own content: what accident or hand changed since is found. It is no signature: whoever changes a file
// can count its hash anew.

// ErrChanged says that a result, or what lies beside it, is not as it was written; test for it with errors.Is.
var ErrChanged = errors.New("report: changed since it was measured")

// codeEdited is the code of the caution that a result carries which was changed by hand and taken all the same.
const codeEdited = "edited"

// contentKey finds the hash in a result's bytes: it stands before all that a plan can name.
var contentKey = regexp.MustCompile(`"content_sha256": *"([0-9a-f]{64})"`)

// noContent stands for the hash while it is counted.
var noContent = strings.Repeat("0", 64)

// contentHash returns the SHA-256 (64 hex digits) of a result's bytes with its own 64 digits written as zeros, and those
// digits; "" for bytes that hold none.
func contentHash(data []byte) (counted, written string) {
	at := contentKey.FindSubmatchIndex(data)
	if at == nil {
		return "", ""
	}
	return hashOf(slices.Concat(data[:at[2]], []byte(noContent), data[at[3]:])), string(data[at[2]:at[3]])
}

// ContentOf returns the content_sha256 that a result's bytes carry; "" for bytes that hold none.
func ContentOf(result []byte) string {
	_, written := contentHash(result)
	return written
}

// sealed returns a result's bytes with their hash in place of the zeros.
func sealed(data []byte) []byte {
	counted, _ := contentHash(data)
	return bytes.Replace(data, []byte(noContent), []byte(counted), 1)
}

// hashOf is a file's SHA-256, 64 hex digits.
func hashOf(data []byte) string { return fmt.Sprintf("%x", sha256.Sum256(data)) }

// Changed returns the names of the files beside a result that are not as they were when it was written, sorted. A file
// that is not there is none of them.
func (p Provenance) Changed(folder fs.FS) ([]string, error) {
	var out []string
	for name, want := range p.Files {
		data, err := fs.ReadFile(folder, name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return nil, err
		case hashOf(data) != want:
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out, nil
}

// MarkEdited makes every output of a result say that it was changed by hand; once is enough.
func MarkEdited(r *measure.Result) {
	if !edited(r) {
		r.Cautions = append(slices.Clone(r.Cautions), measure.Caution{Code: codeEdited, Text: editedCaution[:len(editedCaution)-1], Severity: measure.SeverityCaution})
	}
}

func edited(r *measure.Result) bool {
	return slices.ContainsFunc(r.Cautions, func(c measure.Caution) bool { return c.Code == codeEdited })
}

// markOf is what stands on every page and picture of a result beside its name; empty: nothing.
func markOf(r *measure.Result) string {
	var marks []string
	if r.Synthetic {
		marks = append(marks, syntheticCaution)
	}
	if edited(r) {
		marks = append(marks, editedCaution)
	}
	if said := reviewWords(r.Plan.Review); said != "" {
		marks = append(marks, said)
	}
	return strings.Join(marks, " ")
}

// reviewWords says who reviewed the plan, or that the review no longer stands.
func reviewWords(r *measure.Reviewed) string {
	if r == nil {
		return ""
	}
	day, _, _ := strings.Cut(r.At, "T")
	who := printable(r.By + ", " + r.Role + ", " + day)
	if r.Void != "" {
		return "Review void since " + r.Void + ": it was by " + who + "."
	}
	return "Reviewed by " + who + "."
}
