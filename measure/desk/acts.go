package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

// What an act of the page may change of a plan. Nothing that comes from the page ever names a file, and what is not
// listed here is for an editor of text.

// edit is one change of an act, as the page asks for it. Points are in the patient, mm, whatever the plan's coordinates.
type edit struct {
	Do    string          `json:"do"` // "set", "insert" or "delete"
	Path  string          `json:"path"`
	Value json.RawMessage `json:"value"`
}

// ErrAct is wrapped by the errors of acts that cannot be done.
var ErrAct = errors.New("desk: not done")

var editable = regexp.MustCompile(`^(?:case|jaw|orientation_note|occlusal|occlusal_plane|proposed|` +
	`arch(?:\.points(?:\[\d+\])?|\.midline)|` +
	`sites\[\d+\](?:\.(?:id|tooth|at|crest|axis|height_to|depths_mm|wanted_width_mm|confirmed|proposed)|\.implant(?:\.[a-z_]+)?|\.sizes(?:\.[a-z_]+)?)?|` +
	`structures\[\d+\](?:\.(?:name|kind|path(?:\[\d+\])?|radius_mm|sd_mm|margin_mm|proposed|traced(?:\.confirmed)?|planned_removal))?|` +
	`declared\[\d+\]|readings\[\d+\](?:\.(?:site|from|to|snapped))?)$`)

// Keys whose values are points, and directions; everything else is text, numbers and flags.
var (
	pointKeys     = []string{"at", "crest", "platform", "midline", "from", "to", "points", "path", "occlusal_plane"}
	directionKeys = []string{"axis", "occlusal"}
	fileKeys      = []string{"file", "surface", "surfaces"}
)

// apply makes the edits of one act, all or none.
func apply(text []byte, edits []edit, points places) ([]byte, error) {
	if len(edits) == 0 {
		return nil, fmt.Errorf("%w: nothing to do", ErrAct)
	}
	for _, e := range edits {
		if !editable.MatchString(e.Path) {
			return nil, fmt.Errorf("%w: the page does not change %.40q", ErrAct, e.Path)
		}
		value, err := points.value(e)
		if err != nil {
			return nil, err
		}
		switch e.Do {
		case "set":
			text, err = plan.Set(text, e.Path, value)
		case "insert":
			text, err = plan.Insert(text, e.Path, value)
		case "delete":
			text, err = plan.Delete(text, e.Path)
		default:
			err = fmt.Errorf("%w: %.20q is no way to change a plan", ErrAct, e.Do)
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrAct, err)
		}
	}
	return text, nil
}

// places turn points of the page into the coordinates of a plan.
type places struct {
	grid   volume.Grid
	voxels bool
}

func (p places) point(v r3.Vec) r3.Vec {
	if !p.voxels {
		return v
	}
	ix := p.grid.Index(v)
	return r3.Vec{X: ix.I, Y: ix.J, Z: ix.K}
}

func (p places) direction(v r3.Vec) plan.Direction {
	if !p.voxels {
		return plan.Direction(v)
	}
	ix := p.grid.IndexVec(v)
	return plan.Direction(r3.Unit(r3.Vec{X: ix.I, Y: ix.J, Z: ix.K}))
}

// value returns what an edit writes; nil for one that writes nothing.
func (p places) value(e edit) (any, error) {
	if e.Do == "delete" {
		return nil, nil
	}
	d := json.NewDecoder(bytes.NewReader(e.Value))
	d.UseNumber()
	key := regexp.MustCompile(`\[\d+\]$`).ReplaceAllString(e.Path, "")
	return p.read(d, key[strings.LastIndex(key, ".")+1:], 0)
}

// deepest is how many brackets a value may have about it.
const deepest = 6

// read reads one JSON value under a key, its keys in their order.
func (p places) read(d *json.Decoder, key string, depth int) (any, error) {
	token, err := d.Token()
	if err != nil || depth > deepest {
		return nil, fmt.Errorf("%w: %s is no value", ErrAct, key)
	}
	switch v := token.(type) {
	case json.Delim:
		if v == '{' {
			return p.mapping(d, depth)
		}
		return p.list(d, key, depth)
	case json.Number:
		x, err := v.Float64()
		if err != nil {
			return nil, fmt.Errorf("%w: %s: %w", ErrAct, key, err)
		}
		return x, nil
	case string, bool:
		return v, nil
	}
	return nil, fmt.Errorf("%w: %s has no value", ErrAct, key)
}

func (p places) mapping(d *json.Decoder, depth int) (any, error) {
	out := plan.Map{}
	for d.More() {
		token, err := d.Token()
		key, ok := token.(string)
		if err != nil || !ok || slices.Contains(fileKeys, key) {
			return nil, fmt.Errorf("%w: the page does not write %.40q", ErrAct, key)
		}
		v, err := p.read(d, key, depth+1)
		if err != nil {
			return nil, err
		}
		out = append(out, plan.Entry{Key: key, Value: v})
	}
	_, err := d.Token()
	return out, err
}

// list reads a list: three numbers under the key of a point are one.
func (p places) list(d *json.Decoder, key string, depth int) (any, error) {
	var all plan.List
	var numbers []float64
	for d.More() {
		v, err := p.read(d, key, depth+1)
		if err != nil {
			return nil, err
		}
		if x, ok := v.(float64); ok {
			numbers = append(numbers, x)
		}
		all = append(all, v)
	}
	if _, err := d.Token(); err != nil {
		return nil, fmt.Errorf("%w: %s does not end", ErrAct, key)
	}
	if len(numbers) != 3 || len(all) != 3 {
		return all, nil
	}
	v := r3.Vec{X: numbers[0], Y: numbers[1], Z: numbers[2]}
	switch {
	case slices.Contains(pointKeys, key):
		return p.point(v), nil
	case slices.Contains(directionKeys, key):
		return p.direction(v), nil
	}
	return all, nil
}
