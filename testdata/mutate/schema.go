package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// All mutants of functions are built into one binary, for building costs more than most tests: beside each function f stand
// its mutants f_mutant1, f_mutant2 …, and f begins with a switch to the one that the environment names.

const chosenMutant = "RIDGERULE_MUTANT"

// A copied function stands in a file that the overlay has in place of the room's own.
type overlay struct {
	scratch string
	files   map[string]string // the overlay's by the room's own, full paths
}

func (o *overlay) put(path string, text []byte) error {
	to := filepath.Join(o.scratch, filepath.Base(path))
	o.files[path] = to
	return os.WriteFile(to, text, 0o600)
}

// build builds the tests of a room; said is what the compiler says.
func (o *overlay) build(dir, binary string) (said string, err error) {
	table, err := json.Marshal(map[string]map[string]string{"Replace": o.files})
	if err != nil {
		return "", err
	}
	list := filepath.Join(o.scratch, "overlay.json")
	if err := os.WriteFile(list, table, 0o600); err != nil {
		return "", err
	}
	out, err := exec.Command("go", "test", "-c", "-vet=off", "-ldflags=-s -w", "-gcflags=-e", "-overlay", list, "-o", binary, "./"+dir).CombinedOutput()
	return string(out), err
}

// buildAll builds the mutants of functions into one binary and returns the numbers of those that do not compile.
func (r *room) buildAll(all []mutant) (unfit map[int]bool, err error) {
	unfit = map[int]bool{}
	for {
		o := &overlay{r.scratch, map[string]string{}}
		lines, err := o.spread(r.dir, all, unfit)
		if err != nil {
			return nil, err
		}
		said, err := o.build(r.dir, r.mutants)
		if err == nil {
			return unfit, nil
		}
		more := false
		for _, m := range regexp.MustCompile(`([\w.]+\.go):(\d+):\d+: `).FindAllStringSubmatch(said, -1) {
			line, _ := strconv.Atoi(m[2]) // digits
			for id, at := range lines {
				if at.file == m[1] && line >= at.from && line <= at.to {
					unfit[id], more = true, true
				}
			}
		}
		if !more {
			return nil, fmt.Errorf("%w\n%s", err, said)
		}
	}
}

// span is where a mutant's function stands in its file.
type span struct {
	file     string // base name
	from, to int    // lines
}

// spread writes the room's files with the mutants beside their functions, and returns where each stands.
func (o *overlay) spread(dir string, all []mutant, unfit map[int]bool) (map[int]span, error) {
	lines := map[int]span{}
	byPath := map[string][]mutant{}
	for _, m := range all {
		if m.in != nil && !unfit[m.id] {
			byPath[m.path] = append(byPath[m.path], m)
		}
	}
	name := ""
	for path, some := range byPath {
		text, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		slices.SortFunc(some, func(a, b mutant) int { return b.offset(b.in.Pos()) - a.offset(a.in.Pos()) }) // from the end: places before stay
		name = some[0].room
		tail := ""
		for i := 0; i < len(some); {
			n := i
			for n < len(some) && some[n].in == some[i].in {
				n++
			}
			begin := some[i].offset(some[i].in.Pos())
			end := some[i].offset(some[i].in.End())
			body := string(text[begin:end])
			for _, m := range some[i:n] {
				from := bytes.Count(text, []byte("\n")) + strings.Count(tail, "\n") + 2 // the switches add no line
				f := m.copied(body, begin)
				lines[m.id] = span{filepath.Base(path), from, from + strings.Count(f, "\n")}
				tail += f + "\n"
			}
			text = slices.Concat(text[:begin], []byte(switched(some[i:n], body, begin)), text[end:])
			i = n
		}
		full, err := filepath.Abs(path)
		if err != nil {
			return nil, err
		}
		if err := o.put(full, append(append(text, '\n'), tail...)); err != nil {
			return nil, err
		}
	}
	full, err := filepath.Abs(filepath.Join(dir, "mutant_chosen.go"))
	if err != nil {
		return nil, err
	}
	return lines, o.put(full, []byte("package "+name+"\n\nimport (\n\t\"os\"\n\t\"strconv\"\n)\n\nvar mutantChosen, _ = strconv.Atoi(os.Getenv(\""+chosenMutant+"\"))\n"))
}

func (m mutant) offset(p token.Pos) int { return m.set.Position(p).Offset }

// copied returns the function with the operator put for another, under a name of its own.
func (m mutant) copied(body string, begin int) string {
	at, name := m.at.Offset-begin, m.offset(m.in.Name.Pos())-begin
	end := name + len(m.in.Name.Name)
	return body[:end] + fmt.Sprintf("_mutant%d", m.id) + body[end:at] + " " + m.to + " " + body[at+len(m.from):]
}

// switched returns a function that begins with a switch to its mutants. It stays on its lines.
func switched(some []mutant, body string, begin int) string {
	m := some[0]
	f := m.in
	at := func(p token.Pos) int { return m.offset(p) - begin }
	type edit struct {
		at, gone int
		put      string
	}
	var edits []edit
	names := func(list *ast.FieldList) (all []string) {
		if list == nil {
			return nil
		}
		for _, field := range list.List {
			dots := ""
			if _, is := field.Type.(*ast.Ellipsis); is {
				dots = "..."
			}
			if len(field.Names) == 0 {
				name := fmt.Sprintf("unnamed%d", len(edits))
				edits = append(edits, edit{at(field.Type.Pos()), 0, name + " "})
				all = append(all, name+dots)
			}
			for _, n := range field.Names {
				name := n.Name
				if name == "_" {
					name = fmt.Sprintf("unnamed%d", len(edits))
					edits = append(edits, edit{at(n.Pos()), 1, name})
				}
				all = append(all, name+dots)
			}
		}
		return all
	}
	to := f.Name.Name
	if own := names(f.Recv); len(own) > 0 {
		to = own[0] + "." + to
	}
	types := ""
	if f.Type.TypeParams != nil {
		var all []string
		for _, field := range f.Type.TypeParams.List {
			for _, n := range field.Names {
				all = append(all, n.Name)
			}
		}
		types = "[" + strings.Join(all, ", ") + "]"
	}
	given := strings.Join(names(f.Type.Params), ", ")
	head := " switch mutantChosen { "
	for _, m := range some {
		call := fmt.Sprintf("%s_mutant%d%s(%s)", to, m.id, types, given)
		if f.Type.Results == nil {
			head += fmt.Sprintf("case %d: %s; return; ", m.id, call)
		} else {
			head += fmt.Sprintf("case %d: return %s; ", m.id, call)
		}
	}
	edits = append(edits, edit{at(f.Body.Lbrace) + 1, 0, head + "}; "})
	slices.SortFunc(edits, func(a, b edit) int { return b.at - a.at })
	for _, e := range edits {
		body = body[:e.at] + e.put + body[e.at+e.gone:]
	}
	return body
}
