package study

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"ridgerule/dicomio"
	"ridgerule/measure/plan"
)

// inputs stand for what an entry's outputs follow from.
//
// Of the plan and the files that it names, the bytes are hashed. Of the series, the names, sizes and
// modification times of its files: reading every pixel of ten thousand cases to find that nothing is
// left to do would take hours. So a series that is changed in place, to the same size, with its times
// set back, is not noticed; remove the entry's folder to have it measured again. A move of the data
// to another place is no change as long as the times are kept (cp -a, rsync -a).
type inputs struct {
	Plan   string `json:"plan_sha256"`   // of the plan's bytes and those of the files that it names
	Series string `json:"series_sha256"` // of names, sizes and times
	Hash   string `json:"inputs_sha256"` // of both, the labels and the tool
}

// inputsOf looks at the entry's plan and series as they are now. Problems of the plan are not judged
// here: it is hashed, readable or not.
func (e Entry) inputsOf(tool string, limits dicomio.Limits) (inputs, error) {
	var in inputs
	var err error
	if in.Plan, err = planHash(e.Plan); err != nil {
		return in, err
	}
	if in.Series, err = seriesHash(e.Series, limits); err != nil {
		return in, err
	}
	all := sha256.New()
	for _, part := range []string{tool, e.Case, e.Reader, e.Replicate, in.Plan, in.Series} {
		fmt.Fprintf(all, "%q\n", part)
	}
	in.Hash = hexOf(all)
	return in, nil
}

func hexOf(h hash.Hash) string { return hex.EncodeToString(h.Sum(nil)) }

// planHash hashes the plan and every file that it makes the reader open.
func planHash(path string) (string, error) {
	data, err := regular(path)
	if err != nil {
		return "", &Failure{Stage: StagePlan, Reason: plainReason(err)}
	}
	opened := &recorder{FS: os.DirFS(filepath.Dir(path))}
	_, _, _ = plan.Read(path, data, opened) // its faults are said when it is measured
	h := sha256.New()
	h.Write(data)
	slices.Sort(opened.names)
	for _, name := range slices.Compact(opened.names) {
		fmt.Fprintf(h, "\n%q\n", name)
		if f, err := opened.FS.Open(name); err == nil {
			_, _ = io.Copy(h, f)
			f.Close()
		}
	}
	return hexOf(h), nil
}

// regular reads a plain file; a pipe would never end.
func regular(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("not a file")
	}
	return os.ReadFile(path)
}

// recorder notes which files are opened through it.
type recorder struct {
	fs.FS
	names []string
}

func (r *recorder) Open(name string) (fs.File, error) {
	r.names = append(r.names, name)
	return r.FS.Open(name)
}

// seriesHash hashes the names, sizes and times of what lies behind the path.
func seriesHash(path string, limits dicomio.Limits) (string, error) {
	input, err := dicomio.Open(path, limits)
	if err != nil {
		return "", failureOf(err, StageSeries)
	}
	defer input.Close()
	h := sha256.New()
	note := func(name string, info fs.FileInfo, err error) {
		if err != nil {
			fmt.Fprintf(h, "%q unreadable\n", name)
			return
		}
		fmt.Fprintf(h, "%q %d %d\n", name, info.Size(), info.ModTime().UnixNano())
	}
	if info, err := os.Stat(path); err == nil && !info.IsDir() {
		note(".", info, nil) // an archive's entries may carry no times of their own
	}
	for _, name := range input.Names {
		info, err := fs.Stat(input.FS, name)
		note(name, info, err)
	}
	return hexOf(h), nil
}

// FileHash returns the SHA-256 of a file's bytes, in hexadecimal digits; of a plain file only.
func FileHash(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", errors.New("not a file")
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hexOf(h), nil
}
