package dicomio

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"
)

// attrs are the attributes of a data set or of one item of a sequence.
type attrs map[tag.Tag]*dicom.Element

func newAttrs(elements []*dicom.Element) attrs {
	a := make(attrs, len(elements))
	for _, el := range elements {
		if _, twice := a[el.Tag]; !twice { // the first of two wins
			a[el.Tag] = el
		}
	}
	return a
}

// texts returns the values of a string attribute, trimmed; nil when absent or empty.
func (a attrs) texts(t tag.Tag) []string {
	el := a[t]
	if el == nil {
		return nil
	}
	values, _ := el.Value.GetValue().([]string)
	out := make([]string, len(values))
	empty := true
	for i, v := range values {
		out[i] = strings.Trim(v, " \x00")
		empty = empty && out[i] == ""
	}
	if empty {
		return nil
	}
	return out
}

// text returns the first value of a string attribute, "" when there is none.
func (a attrs) text(t tag.Tag) string {
	if v := a.texts(t); len(v) > 0 {
		return v[0]
	}
	return ""
}

// whole returns a string attribute as it was written, its values joined by backslashes.
func (a attrs) whole(t tag.Tag) string { return strings.Join(a.texts(t), `\`) }

// number returns a binary attribute's first value; ok is false when it is absent.
func (a attrs) number(t tag.Tag) (value int, ok bool) {
	el := a[t]
	if el == nil {
		return 0, false
	}
	values, _ := el.Value.GetValue().([]int)
	if len(values) == 0 {
		return 0, false
	}
	return values[0], true
}

// items returns the items of a sequence.
func (a attrs) items(t tag.Tag) []attrs {
	el := a[t]
	if el == nil {
		return nil
	}
	values, _ := el.Value.GetValue().([]*dicom.SequenceItemValue)
	out := make([]attrs, 0, len(values))
	for _, v := range values {
		elements, _ := v.GetValue().([]*dicom.Element)
		out = append(out, newAttrs(elements))
	}
	return out
}

// item returns the first item of a sequence, nil when there is none.
func (a attrs) item(t tag.Tag) attrs { return first(a.items(t)) }

func first(items []attrs) attrs {
	if len(items) == 0 {
		return nil
	}
	return items[0]
}

// decimals returns the n numbers of a decimal-string attribute. The error's code is "missing_" or "bad_" and keyword.
func (a attrs) decimals(t tag.Tag, keyword string, n int) ([]float64, *SeriesError) {
	texts := a.texts(t)
	if texts == nil {
		return nil, &SeriesError{Code: "missing_attribute", Attribute: keyword, Problem: "is missing",
			Remedy: "export the series again from the scanner's own software, as CT images"}
	}
	bad := func(problem string) *SeriesError {
		return &SeriesError{Code: "bad_attribute", Attribute: keyword, Value: printable(a.whole(t), 64), Problem: problem,
			Remedy: "export the series again; a value is never guessed"}
	}
	if len(texts) != n {
		return nil, bad(fmt.Sprintf("has %d values, needs %d", len(texts), n))
	}
	out := make([]float64, n)
	for i, text := range texts {
		v, err := decimal(text)
		if err != nil {
			return nil, bad(err.Error())
		}
		out[i] = v
	}
	return out, nil
}

// decimal parses one value of VR DS, in the unit of its attribute. Unlike [strconv.ParseFloat] it takes no NaN, Inf,
// hexadecimal or underscore, and it names a decimal comma.
//
// Source: DICOM PS3.5 6.2, DS.
func decimal(text string) (float64, error) {
	if strings.Contains(text, ",") {
		return 0, fmt.Errorf("a decimal comma (%q) where DICOM needs a point", printable(text, 24))
	}
	if text == "" || strings.Trim(text, "0123456789+-.eE") != "" {
		return 0, fmt.Errorf("%q is not a number", printable(text, 24))
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%q is not a number", printable(text, 24))
	}
	return v, nil
}

// optional returns the first value of a decimal-string attribute, in that attribute's unit, or 0 when it is absent or no
// number: for facts that are printed, never for geometry.
func (a attrs) optional(t tag.Tag) float64 {
	v, err := decimal(a.text(t))
	if err != nil {
		return 0
	}
	return v
}
