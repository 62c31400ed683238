package study

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"ridgerule/dicomio/temporary"
	"ridgerule/measure/cells"
)

// dir is a study's folder:
//
//	study.json       the manifest's labels and further columns, without its paths
//	cases/NAME/      the outputs of one entry, whole, with inputs.json
//	cases/.NAME.part one that is growing, or the rest of a run that was killed
//	failed/NAME.json why one was not measured
//	failures.csv     those, in the manifest's order; and what Merge writes
type dir string

func (d dir) at(parts ...string) string {
	return filepath.Join(append([]string{string(d)}, parts...)...)
}

func (d dir) whole(name string) string  { return d.at("cases", name) }
func (d dir) part(name string) string   { return d.at("cases", "."+name+".part") }
func (d dir) failed(name string) string { return d.at("failed", name+".json") }

// make makes the folder and its two parts, readable to their owner only.
func (d dir) make() error {
	for _, part := range []string{"cases", "failed"} {
		if err := os.MkdirAll(d.at(part), 0o700); err != nil {
			return err
		}
	}
	return nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// marker is inputs.json: what an entry's outputs follow from, and the hash of every file of theirs, so that one
// changed or damaged afterwards is noticed and not handed on.
type marker struct {
	Format int    `json:"format"`
	Tool   string `json:"tool"`
	inputs
	Result facts             `json:"result"`
	Files  map[string]string `json:"files_sha256"` // by name within the folder, with slashes
}

// facts are what result.json says of where it comes from; empty where there is none.
type facts struct {
	Plan   string `json:"plan_sha256"`
	Series string `json:"series_hash"` // of its pixels
}

const (
	markerFile   = "inputs.json"
	markerFormat = 2 // 1 had the hashes of the tables alone
	resultFile   = "result.json"
)

var tableFiles = []string{"measurements.csv", "sites.csv"}

// readMarker returns the marker of a whole folder.
func readMarker(folder string) (marker, error) {
	var m marker
	data, err := os.ReadFile(filepath.Join(folder, markerFile))
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(data, &m); err != nil || m.Format != markerFormat {
		return m, errors.New(markerFile + " is not readable, or of an older version")
	}
	return m, nil
}

// readWhole returns the marker of a whole folder whose files are as they were made, or why not.
func readWhole(folder string) (marker, error) {
	m, err := readMarker(folder)
	if err != nil {
		return m, err
	}
	for _, name := range slices.Sorted(maps.Keys(m.Files)) {
		sum, err := FileHash(filepath.Join(folder, filepath.FromSlash(name)))
		if errors.Is(err, fs.ErrNotExist) {
			return m, fmt.Errorf("%s is missing", name)
		}
		if err != nil {
			return m, fmt.Errorf("%s: %s", name, plainReason(err))
		}
		if sum != m.Files[name] {
			return m, changed(name)
		}
	}
	return m, nil
}

func changed(name string) error { return errors.New(name + " was changed after it was made") }

// writeMarker completes a growing folder.
func writeMarker(folder, tool string, in inputs) error {
	m := marker{Format: markerFormat, Tool: tool, inputs: in, Files: map[string]string{}}
	var err error
	if m.Result, err = readFacts(filepath.Join(folder, resultFile)); err != nil {
		return err
	}
	root := os.DirFS(folder)
	err = fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		m.Files[name], err = FileHash(filepath.Join(folder, filepath.FromSlash(name)))
		return err
	})
	if err != nil {
		return err
	}
	for _, name := range tableFiles {
		if m.Files[name] == "" {
			return fmt.Errorf("%s is missing", name)
		}
	}
	return writeJSON(filepath.Join(folder, markerFile), m)
}

// readFacts returns what the result at path says of its plan and series.
func readFacts(path string) (facts, error) {
	var r struct {
		Provenance struct {
			Plan struct {
				SHA256 string `json:"sha256"`
			} `json:"plan"`
		} `json:"provenance"`
		Scan struct {
			Hash string `json:"series_hash"`
		} `json:"scan"`
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return facts{}, nil
	}
	if err == nil {
		err = json.Unmarshal(data, &r)
	}
	return facts{r.Provenance.Plan.SHA256, r.Scan.Hash}, err
}

func writeJSON(path string, v any) error {
	data, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return temporary.WriteFile(path, append(data, '\n'))
}

func csvBytes(rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	err := cells.Write(&b, rows)
	return b.Bytes(), err
}

// remove takes a file or folder away; one that is not there is no error.
func remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}
