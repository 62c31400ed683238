package study

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// roll is study.json: what Merge must know of the manifest. Paths are left out, for they may name a
// person and the folder may be handed on.
type roll struct {
	Format  int         `json:"format"`
	Further []string    `json:"further_columns"`
	Entries []rollEntry `json:"entries"`
}

const rollFormat = 2 // 1 had another name for replicate

type rollEntry struct {
	Case      string   `json:"case"`
	Reader    string   `json:"reader,omitempty"`
	Replicate string   `json:"replicate,omitempty"`
	Further   []string `json:"further,omitempty"`
}

// ErrNoStudy is what [Merge] returns, wrapped, for a folder that no [Run] made.
var ErrNoStudy = errors.New("study: not a study's folder")

// writeRoll notes the manifest; the parts of one study write the same bytes.
func (d dir) writeRoll(m *Manifest) error {
	r := roll{Format: rollFormat, Further: append([]string{}, m.Further...)}
	for _, e := range m.Entries {
		r.Entries = append(r.Entries, rollEntry{e.Case, e.Reader, e.Replicate, e.Further})
	}
	return writeJSON(d.at("study.json"), r)
}

// readRoll returns the manifest as it was noted, without paths.
func (d dir) readRoll() (*Manifest, error) {
	data, err := os.ReadFile(d.at("study.json"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: it has no study.json; name the folder that study run -o made", ErrNoStudy)
	}
	if err != nil {
		return nil, fmt.Errorf("study: study.json cannot be read: %s", plainReason(err))
	}
	var r roll
	if err := json.Unmarshal(data, &r); err != nil || r.Format != rollFormat {
		return nil, fmt.Errorf("%w: its study.json is not readable, or of an older version; run the study again", ErrNoStudy)
	}
	m := &Manifest{Further: r.Further}
	for _, e := range r.Entries {
		if badLabel(e.Case) != "" || e.Reader != "" && badLabel(e.Reader) != "" || e.Replicate != "" && badLabel(e.Replicate) != "" || len(e.Further) != len(r.Further) {
			return nil, fmt.Errorf("%w: its study.json was changed; run the study again", ErrNoStudy)
		}
		m.Entries = append(m.Entries, Entry{Case: e.Case, Reader: e.Reader, Replicate: e.Replicate, Further: e.Further})
	}
	return m, nil
}
