package main

import (
	"path/filepath"
	"strings"

	"ridgerule/measure/align"
	"ridgerule/measure/plan"
	"ridgerule/measure/propose"
)

// setUp reads the planned teeth into the scan's frame, and puts their files into the head of the plan; nil where none are named.
func (a *app) setUp(k proposeFlags, head *propose.Header) ([]propose.PlannedTooth, error) {
	if len(k.teeth) == 0 {
		return nil, nil
	}
	r, err := k.restoration(head)
	if err != nil {
		return nil, err
	}
	if r.Align.Accepted == nil {
		a.say("caution: the alignment %s was accepted by nobody: look at its page, then accept: ridgerule align --accept %s --by NAME", k.align, k.align)
	}
	r.Place()
	teeth := []propose.PlannedTooth{}
	for _, t := range r.Teeth() {
		one := propose.PlannedTooth{Tooth: t.Tooth}
		used := map[int]bool{}
		for _, f := range t.Sheet.Triangles {
			for _, i := range f {
				if !used[i] {
					used[i] = true
					one.Points = append(one.Points, t.Sheet.Points[i])
				}
			}
		}
		teeth = append(teeth, one)
	}
	return teeth, nil
}

// restoration reads the surfaces in their own frame and their alignment, which must be with the scan of head.
func (k proposeFlags) restoration(head *propose.Header) (*plan.Restoration, error) {
	f, err := readAlignment(k.align)
	if err != nil {
		return nil, err
	}
	switch {
	case f.Kind != align.KindSurface:
		return nil, usagef("%s brings %s together, not a surface and a scan: make it with ridgerule align SETUP.stl SCAN --start PAIRS -o setup.json", k.align, f.Kind)
	case f.Second.Series != "" && f.Second.Series != head.Series:
		return nil, usagef("%s was made with another scan (series %.12s…, this is %.12s…): align the set-up with this one", k.align, f.Second.Series, head.Series)
	}
	r := &plan.Restoration{Align: f}
	for _, arg := range k.teeth {
		tooth, path, named := strings.Cut(arg, "=")
		if !named {
			tooth, path = "", arg
		} else if _, is := plan.ToothOf(tooth); !is {
			return nil, usagef("--teeth %s: %q is no tooth's number of ISO 3950; write --teeth 36=crown.stl", arg, tooth)
		}
		sheet, err := readSheet(path)
		if err != nil {
			return nil, err
		}
		hash, err := hashOfFile(path)
		if err != nil {
			return nil, err
		}
		if f.First.Exchanged(path, hash) {
			return nil, usagef("%s is not the file of that name that was aligned in %s: it was changed or exchanged since; align this one, look at it and accept it, or put the aligned one back", path, k.align)
		}
		name, err := k.besidePlan(path)
		if err != nil {
			return nil, err
		}
		r.Surfaces = append(r.Surfaces, plan.PlannedSurface{Tooth: tooth, Sheet: sheet})
		head.SetUp = append(head.SetUp, propose.SetUpFile{File: name, Tooth: tooth})
	}
	head.Align, err = k.besidePlan(k.align)
	return r, err
}

// besidePlan returns how the plan names a file: a plan's files lie in its folder or below.
func (k proposeFlags) besidePlan(path string) (string, error) {
	if k.file == "" {
		return filepath.Base(path), nil
	}
	from, err := filepath.Abs(filepath.Dir(k.file))
	if err != nil {
		return "", err
	}
	to, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	name, err := filepath.Rel(from, to)
	if err != nil || !filepath.IsLocal(name) {
		return "", usagef("%s lies outside the folder of the plan %s: a plan names files beside it or below; copy it there", path, k.file)
	}
	return filepath.ToSlash(name), nil
}
