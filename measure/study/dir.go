package study

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"ridgerule/dicomio/temporary"
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

// marker is inputs.json: what an entry's outputs follow from, and the hashes of its two tables, so
// that a table changed afterwards is noticed and not merged.
type marker struct {
	Format int    `json:"format"`
	Tool   string `json:"tool"`
	inputs
	Tables map[string]string `json:"tables_sha256"`
}

const markerFile = "inputs.json"

var tableFiles = []string{"measurements.csv", "sites.csv"}

// readMarker returns the marker of a whole folder whose tables are as they were made, or why not.
func readMarker(folder string) (marker, error) {
	var m marker
	data, err := os.ReadFile(filepath.Join(folder, markerFile))
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(data, &m); err != nil || m.Format != 1 {
		return m, errors.New(markerFile + " is not readable")
	}
	for _, name := range tableFiles {
		sum, err := fileHash(filepath.Join(folder, name))
		if err != nil {
			return m, err
		}
		if sum != m.Tables[name] {
			return m, errors.New(name + " was changed after it was made")
		}
	}
	return m, nil
}

// writeMarker completes a growing folder.
func writeMarker(folder, tool string, in inputs) error {
	m := marker{Format: 1, Tool: tool, inputs: in, Tables: map[string]string{}}
	for _, name := range tableFiles {
		sum, err := fileHash(filepath.Join(folder, name))
		if err != nil {
			return err
		}
		m.Tables[name] = sum
	}
	return writeJSON(filepath.Join(folder, markerFile), m)
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
	err := csv.NewWriter(&b).WriteAll(rows)
	return b.Bytes(), err
}

// remove takes a file or folder away; one that is not there is no error.
func remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// syncDir brings a folder's entries to the disk, where the file system can.
func syncDir(path string) {
	if d, err := os.Open(path); err == nil {
		_ = d.Sync()
		d.Close()
	}
}
