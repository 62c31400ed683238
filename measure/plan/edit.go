package plan

import (
	"errors"
	"fmt"
	"reflect"
)

// Edits of a plan's text. A plan is written by hand and by programs in turn: what a program changes is the bytes of
// one value; comments, order, blank lines and line ends (LF, CRLF, CR) around it stay as they were.
//
// A path is what [Source.Position] takes: keys with dots, places in a list in brackets from 0, as
// "sites[2].implant.axis", "arch.points[0]", "declared[1]", "review".
//
// Rules:
//   - every edit is read again before it is returned: each value but the one edited is as it was, and that one is
//     what was wanted, or the edit is refused;
//   - the text need not be a whole plan: one that is still being made is edited, too, if it is YAML or JSON that
//     [Read] does not refuse as such. [Read] says afterwards what is missing or wrong;
//   - the text given is not changed; what comes back is another.

// ErrEdit is wrapped by the errors of edits that cannot be made. A text that is not readable at all is an [Errors].
var ErrEdit = errors.New("plan: no such edit")

// Set returns the text with the value at path replaced, or added where there is none, as by [Insert]. A value is
//
//	bool, int, string
//	float64              in the unit of its key, at most 6 decimals
//	r3.Vec, []r3.Vec     points in the plan's coordinates, at most 3 decimals
//	Direction            at most 6 decimals
//	[]float64, []string
//	Map, List            keys with values, a list of values
//	Site, PlannedImplant, Sizes, Declared, safety.Structure
//
// A value keeps the style of the one that it replaces: within brackets it is written within brackets. The comments
// within a list or mapping that is replaced as a whole go with it; to keep them, set its parts.
func Set(text []byte, path string, value any) ([]byte, error) {
	return edit(text, path, set, value)
}

// Insert returns the text with a value added at path: a key after the last one of its mapping; an element before the
// one that has this place now, or after the last one of its list. Comments above an element stay with it. Lists and
// mappings on the way that are not there are made. A key that is there already is an error, and so is a place past the
// end of a list. Values are as for [Set].
func Insert(text []byte, path string, value any) ([]byte, error) {
	return edit(text, path, insert, value)
}

// Delete returns the text without the value at path and its key or dash; a comment behind it goes with it where the
// value has its lines to itself. Comments above it stay: nobody but their author knows whom they are about. What is
// left without any value is [] or {}.
func Delete(text []byte, path string) ([]byte, error) {
	return edit(text, path, remove, nil)
}

// Written returns the value at path as it is written, the comments within it included: what an undo puts back, or a
// page shows. It is empty where there is none.
func Written(text []byte, path string) ([]byte, error) {
	d, err := openText(text)
	if err != nil {
		return nil, err
	}
	steps, err := parsePath(path)
	if err != nil {
		return nil, err
	}
	at, err := d.find(steps)
	if err != nil || at.node == nil {
		return nil, err
	}
	return text[d.start(at.node):d.end(at.node)], nil
}

// verb is what an edit does.
type verb int

const (
	set verb = iota
	insert
	remove
)

// edit makes the splices of one edit and holds what they give against what was wanted.
func edit(text []byte, path string, do verb, value any) ([]byte, error) {
	d, err := openText(text)
	if err != nil {
		return nil, err
	}
	steps, err := parsePath(path)
	if err != nil {
		return nil, err
	}
	w := writer{quoteAll: d.json}
	v, err := w.plain(value)
	if err != nil {
		return nil, err
	}
	if v == nil && do != remove {
		return nil, fmt.Errorf("%w: no value for %s", ErrEdit, path)
	}
	at, err := d.find(steps)
	if err != nil {
		return nil, err
	}
	splices, err := d.splices(at, do, v, w)
	if err != nil {
		return nil, err
	}
	out := d.apply(splices)
	again, err := openText(out)
	if err != nil {
		return nil, fmt.Errorf("%w: %s cannot be changed as it is written: %w", ErrEdit, path, err)
	}
	if !reflect.DeepEqual(changed(treeOf(d.root), steps, do, v), treeOf(again.root)) {
		return nil, fmt.Errorf("%w: %s cannot be changed as it is written", ErrEdit, path)
	}
	return out, nil
}

// splices returns what to put in place of which bytes.
func (d *document) splices(at *place, do verb, v any, w writer) ([]splice, error) {
	switch {
	case do == remove && !at.written:
		return nil, fmt.Errorf("%w: %v is not there", ErrEdit, at)
	case do == remove:
		return d.without(at, w), nil
	case do == insert && at.written && at.step.key != "":
		return nil, fmt.Errorf("%w: %v is there already", ErrEdit, at)
	case do == set && at.written:
		return d.replaced(at, v, w), nil
	}
	return d.added(at, v, w)
}

// replaced puts a value in the place of another, or of none behind a key or dash.
func (d *document) replaced(at *place, v any, w writer) []splice {
	if at.node == nil {
		return d.behind(at, v, w)
	}
	from, to := d.start(at.node), d.end(at.node)
	if at.flow() || !isBlock(at.node) {
		return []splice{{from, to, w.flow(v)}}
	}
	indent, lead := d.column(from), ""
	if outer := at.up; outer != nil && outer.node != nil && indent <= d.column(d.start(outer.node)) && !(isDashed(v) && !isMap(at.node)) {
		indent, lead = indent+2, "  " // a list may stand under its key, nothing else
	}
	return []splice{{from, to, lead + w.block(v, indent)}}
}

// behind writes a value behind a key or dash that has none.
func (d *document) behind(at *place, v any, w writer) []splice {
	from := d.headEnd(at.up.node, at.index)
	if at.up.flow() || isFlow(at.up.node) || !tall(v) {
		return []splice{{from, from, " " + w.flow(v)}}
	}
	indent := d.column(d.start(at.up.node)) + 2
	from = d.lineEnd(from)
	return []splice{{from, from, "\n" + spaces(indent) + w.block(v, indent)}}
}

// added writes a new key or element.
func (d *document) added(at *place, v any, w writer) ([]splice, error) {
	if at.up.node == nil { // what would hold it is not there either
		if at.step.key == "" && at.step.index > 0 {
			return nil, fmt.Errorf("%w: %v: the list has no elements yet", ErrEdit, at)
		}
		holder := any(List{v})
		if at.step.key != "" {
			holder = Map{{at.step.key, v}}
		}
		if at.up.written {
			return d.replaced(at.up, holder, w), nil
		}
		return d.added(at.up, holder, w)
	}
	count := countOf(at.up.node)
	if at.step.key == "" && at.step.index > count {
		return nil, fmt.Errorf("%w: %v: the list has %d elements", ErrEdit, at, count)
	}
	item, index := v, count
	if at.step.key != "" {
		item = Map{{at.step.key, v}}
	} else {
		index = at.step.index
	}
	switch holder := at.up; {
	case !isBlock(holder.node) && count == 0 && !holder.flow() && tall(List{item}) && d.alone(holder):
		return d.opened(holder, item, at.step.key != "", w), nil
	case !isBlock(holder.node):
		return d.addedInFlow(holder.node, index, w.inner(item, at.step.key != "")), nil
	default:
		return d.addedInBlock(holder.node, index, item, at.step.key != "", w), nil
	}
}

// alone reports whether an empty list or mapping stands at the end of its line, behind its key.
func (d *document) alone(p *place) bool {
	to := d.end(p.node)
	return p.up != nil && isMap(p.up.node) && !d.json && d.lineEnd(to) == to
}

// opened writes the first element of what was [] or {} as a block.
func (d *document) opened(holder *place, item any, key bool, w writer) []splice {
	indent := d.column(d.start(holder.up.node)) + 2
	from := d.headEnd(holder.up.node, holder.index)
	return []splice{{from, d.end(holder.node), "\n" + spaces(indent) + w.part(item, key, indent)}}
}

func (d *document) addedInFlow(holder holderNode, index int, text string) []splice {
	count := countOf(holder)
	switch {
	case count == 0:
		from := d.start(holder) + 1
		return []splice{{from, from, text}}
	case index < count:
		from := d.itemStart(holder, index)
		return []splice{{from, from, text + ", "}}
	}
	from := d.itemEnd(holder, count-1)
	return []splice{{from, from, ", " + text}}
}

func (d *document) addedInBlock(holder holderNode, index int, item any, key bool, w writer) []splice {
	indent := d.column(d.start(holder))
	text := w.part(item, key, indent)
	if index > 0 {
		from := d.lineEnd(d.itemEnd(holder, index-1))
		return []splice{{from, from, "\n" + spaces(indent) + text}}
	}
	from := d.itemStart(holder, 0)
	if line := d.lineStart(from); d.blank(line, from) {
		from = d.aboveComments(line)
		return []splice{{from, from, spaces(indent) + text + "\n"}}
	}
	return []splice{{from, from, text + "\n" + spaces(indent)}}
}

// without takes a key or an element out.
func (d *document) without(at *place, w writer) []splice {
	holder, i := at.up.node, at.index
	count := countOf(holder)
	from, to := d.itemStart(holder, i), d.itemEnd(holder, i)
	switch {
	case !isBlock(holder):
		return d.withoutInFlow(holder, i)
	case count == 1 && isMap(holder):
		return d.replaced(at.up, Map{}, w)
	case count == 1:
		return d.replaced(at.up, List{}, w)
	case d.blank(d.lineStart(from), from):
		from, to = d.lineStart(from), d.lineEnd(to)
		if to < len(d.text) {
			to = d.nextLine(to)
		} else if from > 0 {
			from = d.lineEndBefore(from)
		}
		return []splice{{from, to, ""}}
	case d.blank(to, d.itemStart(holder, i+1)): // the first of a mapping behind a dash: the next takes its place
		return []splice{{from, d.itemStart(holder, i+1), ""}}
	}
	return []splice{{from, to, ""}}
}

func (d *document) withoutInFlow(holder holderNode, i int) []splice {
	from, to := d.itemStart(holder, i), d.itemEnd(holder, i)
	switch last := countOf(holder) - 1; {
	case i < last && !d.commented(to, d.itemStart(holder, i+1)):
		return []splice{{from, d.itemStart(holder, i+1), ""}}
	case i == last && i > 0 && !d.commented(d.itemEnd(holder, i-1), from):
		return []splice{{d.itemEnd(holder, i-1), to, ""}}
	case i < last:
		comma := d.comma(to)
		return []splice{{from, to, ""}, {comma, comma + 1, ""}}
	case i > 0:
		comma := d.comma(d.itemEnd(holder, i-1))
		return []splice{{comma, comma + 1, ""}, {from, to, ""}}
	}
	if comma := d.comma(to); comma >= 0 {
		return []splice{{from, to, ""}, {comma, comma + 1, ""}}
	}
	return []splice{{from, to, ""}}
}
