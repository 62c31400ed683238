package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
)

// traceKinds are the kinds of structure that run in a tube of about a canal's size.
var traceKinds = []string{"canal", "incisive_canal", "anterior_loop", "other"}

// marks returns what places the marks on a series' grid, with every fault that can be said before
// the series is looked at.
func (k *traceFlags) marks() (func(volume.Grid) ([]r3.Vec, error), error) {
	if why := badName(k.name); why != "" {
		return nil, usagef(`the structure's name %s; give it one: --name "left canal"`, why)
	}
	if k.kind != "" && !slices.Contains(traceKinds, k.kind) {
		return nil, usagef("--kind %q is none of %s", k.kind, strings.Join(traceKinds, ", "))
	}
	if err := freeFile(k.file, k.replace); err != nil {
		return nil, err
	}
	if k.plan != "" {
		return k.planned()
	}
	return k.given()
}

// badName says why s cannot be the name of a structure; "" when it can. The plan's own rule.
func badName(s string) string {
	switch {
	case strings.TrimSpace(s) == "":
		return "is missing"
	case len([]rune(s)) > 100:
		return "is longer than 100 characters"
	case strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) }):
		return "holds a character that cannot be printed"
	}
	return ""
}

// given reads the marks of the command line.
func (k *traceFlags) given() (func(volume.Grid) ([]r3.Vec, error), error) {
	if k.from == "" || k.to == "" {
		return nil, usagef("a canal is followed between two marks or more; give --from x,y,z and --to x,y,z (or --plan PLAN)")
	}
	var marks []r3.Vec
	add := func(flag, text string) error {
		p, err := point(text)
		if err != nil {
			return usagef("%s %q: %w", flag, text, err)
		}
		marks = append(marks, p)
		return nil
	}
	err := add("--from", k.from)
	for _, text := range k.through {
		err = errors.Join(err, add("--through", text))
	}
	if err = errors.Join(err, add("--to", k.to)); err != nil {
		return nil, err
	}
	return func(g volume.Grid) ([]r3.Vec, error) {
		if k.voxel {
			for i, m := range marks {
				marks[i] = g.Patient(volume.Index{I: m.X, J: m.Y, K: m.Z})
			}
		}
		return marks, nil
	}, nil
}

// point reads "x,y,z".
func point(text string) (r3.Vec, error) {
	parts := strings.Split(text, ",")
	if len(parts) != 3 {
		return r3.Vec{}, fmt.Errorf("%d numbers where a point has three; write x,y,z with decimal points and no spaces", len(parts))
	}
	var xyz [3]float64
	for i, part := range parts {
		x, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || !(x > -1e5 && x < 1e5) { // NaN too
			return r3.Vec{}, fmt.Errorf("%c is %q; give a decimal number within ±100000", "xyz"[i], part)
		}
		xyz[i] = x
	}
	return r3.Vec{X: xyz[0], Y: xyz[1], Z: xyz[2]}, nil
}

// planned takes the marks from a structure of the plan, and its kind.
func (k *traceFlags) planned() (func(volume.Grid) ([]r3.Vec, error), error) {
	if k.from != "" || k.to != "" || len(k.through) > 0 || k.voxel {
		return nil, usagef("--plan and marks of the command line exclude each other; keep one of them")
	}
	p, err := readPlan(k.plan)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(p.Structures, func(s measure.Structure) bool { return s.Name == k.name })
	if i < 0 {
		return nil, usagef("--name %q is no structure of %s", k.name, p.Path)
	}
	s := p.Structures[i]
	if len(s.Path) < 2 {
		return nil, usagef("structure %q of %s has %d points; a canal is followed between two marks or more", s.Name, p.Path, len(s.Path))
	}
	switch {
	case k.kind != "":
	case slices.Contains(traceKinds, string(s.Kind)):
		k.kind = string(s.Kind)
	default:
		return nil, usagef("structure %q of %s is of kind %s, which is no canal; give --kind to follow it as one", s.Name, p.Path, s.Kind)
	}
	return func(g volume.Grid) ([]r3.Vec, error) {
		in, err := p.InPatient(g, p.source)
		if err != nil {
			return nil, err
		}
		return in.Structures[i].Path, nil
	}, nil
}
