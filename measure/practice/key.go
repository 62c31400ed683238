package practice

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"

	"ridgerule/measure/cells"
	"ridgerule/measure/phantom"
)

// ErrKey is wrapped by every error about a key: it is none of ours, or not as it was made.
var ErrKey = errors.New("practice: key")

// keyFormat is the version of what a key holds.
const keyFormat = 1

// Key is what a teacher keeps of a set.
type Key struct {
	Format int      `json:"format"`
	Seed   uint64   `json:"seed,string"`
	Salt   Salt     `json:"salt"`
	Level  Level    `json:"level"`
	Items  []Sealed `json:"items"`

	mu   sync.Mutex
	jaws map[*Sealed]*phantom.Jaw // those that were needed so far: many readers are marked by one key
}

// jaw makes the jaw of one of the key's items, once.
func (k *Key) jaw(it *Sealed) (*phantom.Jaw, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if jaw := k.jaws[it]; jaw != nil {
		return jaw, nil
	}
	jaw, _, err := it.place()
	if err != nil {
		return nil, err
	}
	if k.jaws == nil {
		k.jaws = map[*Sealed]*phantom.Jaw{}
	}
	k.jaws[it] = jaw
	return jaw, nil
}

// Salt is written as hexadecimal digits.
type Salt []byte

// MarshalText writes the salt.
func (s Salt) MarshalText() ([]byte, error) { return []byte(hex.EncodeToString(s)), nil }

// UnmarshalText reads a salt.
func (s *Salt) UnmarshalText(text []byte) (err error) {
	*s, err = hex.DecodeString(string(text))
	return err
}

// Sealed is one item with its truth.
type Sealed struct {
	Sheet   Sheet           `json:"sheet"`
	Kind    string          `json:"kind"`
	Ample   bool            `json:"ample"`   // bone enough, and nothing that misleads
	Level   Level           `json:"level"`   //
	Drivers []Driver        `json:"drivers"` // of the level
	Why     string          `json:"why"`     // what misleads here
	Repeats string          `json:"repeats,omitempty"`
	Truth   float64         `json:"truth"`  // in the question's unit
	U       float64         `json:"u_scan"` // standard uncertainty that the scan leaves open, same unit
	Traps   []Trap          `json:"traps"`
	Profile Profile         `json:"profile"`
	Jaw     phantom.Options `json:"jaw"`
	Offset  [5]float64      `json:"offset_mm"` // of the field (x, y, z) and the picture (u, v)
	Series  uint64          `json:"series,string"`
}

// item returns the item of a name, or nil.
func (k *Key) item(name string) *Sealed {
	for i := range k.Items {
		if k.Items[i].Sheet.Item == name {
			return &k.Items[i]
		}
	}
	return nil
}

// Write writes the key as JSON.
func (k *Key) Write(w io.Writer) error { return json.NewEncoder(w).Encode(k) }

// ReadKey reads what [Key.Write] wrote. Its errors wrap [ErrKey].
func ReadKey(r io.Reader) (*Key, error) {
	k := &Key{}
	if err := decode(r, k, ErrKey); err != nil {
		return nil, err
	}
	if k.Format != keyFormat {
		return nil, fmt.Errorf("%w: format %d; this program reads %d", ErrKey, k.Format, keyFormat)
	}
	for i := range k.Items {
		if _, known := measurands[k.Items[i].Sheet.Question.Quantity]; !known {
			return nil, fmt.Errorf("%w: item %s asks for %q", ErrKey, k.Items[i].Sheet.Item, k.Items[i].Sheet.Question.Quantity)
		}
	}
	return k, nil
}

// decode reads JSON without fields that are not ours; its error wraps kind but where r cannot be read.
func decode(r io.Reader, into any, kind error) error {
	data, err := io.ReadAll(io.LimitReader(r, 256<<20))
	if err != nil {
		return err
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("%w: %v", kind, err)
	}
	return nil
}

// WriteTruth writes truth.csv: item,quantity,at_mm,value, four decimals, mm or degrees.
func (k *Key) WriteTruth(w io.Writer) error {
	rows := [][]string{{"item", "quantity", "at_mm", "value"}}
	for _, it := range k.Items {
		q := it.Sheet.Question
		rows = append(rows, []string{it.Sheet.Item, string(q.Quantity), q.at(), cells.Number(it.Truth)})
	}
	return cells.Write(w, rows)
}

// Find returns an item's sheet and the ends of the line on it that has the true length (mm; for a tilt the axis, for
// an undercut the wall's tangent); ok is false where the key has no such item.
func (k *Key) Find(item string) (s Sheet, line [2]UV, ok bool) {
	it := k.item(item)
	if it == nil {
		return Sheet{}, line, false
	}
	return it.Sheet, it.trueLine(), true
}
