package plan

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
)

// What edits write: values as text.

// Map is keys with their values, in the order in which they are written.
type Map []Entry

// Entry is one key of a [Map] with its value: see [Set] for what it may be.
type Entry struct {
	Key   string
	Value any
}

// List is a list of values: see [Set] for what they may be.
type List []any

// Direction is a vector of which only the direction counts, as an axis; it is written with 6 decimals, so that an
// implant of 20 mm ends within 0.1 µm of where it was meant.
type Direction r3.Vec

// Decimals that are written: of a coordinate (1 µm in mm), and of anything else.
const (
	coordinateDecimals = 3
	otherDecimals      = 6
)

// scalar is a value of one word as it is written.
type scalar string

// writer writes plain values: nil, [scalar], [Map] and [List] of such.
type writer struct{ quoteAll bool } // of keys and texts, as JSON wants it

var (
	plainWord = regexp.MustCompile(`^[A-Za-z](?:[A-Za-z0-9 _-]*[A-Za-z0-9])?$`)
	keyWord   = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	notText   = []string{"true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan", "inf"}
)

// plain turns a value into nil, scalars, maps and lists.
func (w writer) plain(v any) (any, error) {
	switch v := v.(type) {
	case nil:
		return nil, nil
	case bool:
		return scalar(strconv.FormatBool(v)), nil
	case int:
		return scalar(strconv.Itoa(v)), nil
	case float64:
		return decimal(v, otherDecimals)
	case string:
		return w.text(v)
	case r3.Vec:
		return three(v, coordinateDecimals)
	case Direction:
		return three(r3.Vec(v), otherDecimals)
	case []r3.Vec:
		return each(w, v)
	case []float64:
		return each(w, v)
	case []string:
		return each(w, v)
	case List:
		return each(w, v)
	case Map:
		return w.entries(v)
	case Site, PlannedImplant, Sizes, Declared, safety.Structure:
		m, err := mapOf(v)
		if err != nil {
			return nil, err
		}
		return w.entries(m)
	}
	return nil, fmt.Errorf("%w: a %T has no place in a plan", ErrEdit, v)
}

func each[T any](w writer, all []T) (any, error) {
	out := List{}
	for _, v := range all {
		one, err := w.plain(v)
		if err != nil || one == nil {
			return nil, fmt.Errorf("%w: an element of a list: %w", ErrEdit, orNone(err))
		}
		out = append(out, one)
	}
	return out, nil
}

func (w writer) entries(m Map) (any, error) {
	out := Map{}
	for _, e := range m {
		if !keyWord.MatchString(e.Key) || slices.Contains(notText, e.Key) || slices.ContainsFunc(out, func(o Entry) bool { return o.Key == e.Key }) {
			return nil, fmt.Errorf("%w: key %q", ErrEdit, e.Key)
		}
		v, err := w.plain(e.Value)
		if err != nil || v == nil {
			return nil, fmt.Errorf("%w: %s: %w", ErrEdit, e.Key, orNone(err))
		}
		out = append(out, Entry{e.Key, v})
	}
	return out, nil
}

var errNone = fmt.Errorf("no value")

func orNone(err error) error {
	if err == nil {
		return errNone
	}
	return err
}

// decimal writes a number with at most so many decimals.
func decimal(x float64, places int) (scalar, error) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "", fmt.Errorf("%w: %g is no number of a plan", ErrEdit, x)
	}
	s := strconv.FormatFloat(x, 'f', places, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" || s == "-" {
		s = "0"
	}
	return scalar(s), nil
}

func three(v r3.Vec, places int) (any, error) {
	out := List{}
	for _, x := range []float64{v.X, v.Y, v.Z} {
		s, err := decimal(x, places)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// text writes a text, in quotes where it could be read as something else.
func (w writer) text(s string) (scalar, error) {
	if !utf8.ValidString(s) {
		return "", fmt.Errorf("%w: %q is no text", ErrEdit, s)
	}
	if !w.quoteAll && plainWord.MatchString(s) && !slices.Contains(notText, strings.ToLower(s)) {
		return scalar(s), nil
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		return "", fmt.Errorf("%w: %w", ErrEdit, err)
	}
	return scalar(strings.TrimSuffix(b.String(), "\n")), nil
}

// flow writes a value on one line.
func (w writer) flow(v any) string {
	switch v := v.(type) {
	case scalar:
		return string(v)
	case Map:
		return "{" + w.inner(v, true) + "}"
	case List:
		return "[" + w.inner(v, true) + "]"
	}
	return "null"
}

// inner writes what stands between brackets; an element of a list whole.
func (w writer) inner(v any, open bool) string {
	if !open {
		return w.flow(v)
	}
	var parts []string
	switch v := v.(type) {
	case Map:
		for _, e := range v {
			parts = append(parts, w.key(e.Key)+" "+w.flow(e.Value))
		}
	case List:
		for _, e := range v {
			parts = append(parts, w.flow(e))
		}
	}
	return strings.Join(parts, ", ")
}

func (w writer) key(key string) string {
	if w.quoteAll {
		return `"` + key + `":`
	}
	return key + ":"
}

// block writes a value over several lines where it has parts of its own; the first line is not indented.
func (w writer) block(v any, indent int) string {
	if !tall(v) {
		return w.flow(v)
	}
	var lines []string
	switch v := v.(type) {
	case Map:
		for _, e := range v {
			if tall(e.Value) {
				lines = append(lines, w.key(e.Key)+"\n"+spaces(indent+2)+w.block(e.Value, indent+2))
				continue
			}
			lines = append(lines, w.key(e.Key)+" "+w.flow(e.Value))
		}
	case List:
		for _, e := range v {
			lines = append(lines, w.part(e, false, indent))
		}
	}
	return strings.Join(lines, "\n"+spaces(indent))
}

// part writes one more part of a block: keys with their values, or an element behind its dash.
func (w writer) part(item any, key bool, indent int) string {
	if key {
		return w.block(item, indent)
	}
	return "- " + w.block(item, indent+2)
}

// tall reports whether a value is written as a block: what has parts with parts.
func tall(v any) bool {
	switch v := v.(type) {
	case Map:
		return len(v) > 0
	case List:
		return slices.ContainsFunc(v, func(e any) bool { _, one := e.(scalar); return !one })
	}
	return false
}

// isDashed reports whether a value is written with dashes.
func isDashed(v any) bool { _, list := v.(List); return list && tall(v) }

func spaces(n int) string { return strings.Repeat(" ", n) }
