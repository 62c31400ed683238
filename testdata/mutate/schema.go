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

// An overlay has files of its own in place of the room's.
type overlay struct {
	scratch string
	files   map[string]string // its own by the room's, full paths
}

func (o *overlay) put(path string, text []byte) error {
	full, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	o.files[full] = filepath.Join(o.scratch, filepath.Base(path))
	return os.WriteFile(o.files[full], text, 0o600)
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

var compilerPlace = regexp.MustCompile(`([\w.]+\.go):(\d+):\d+: `)

// buildAll builds the mutants of functions into one binary and returns the numbers of those that do not compile.
func (r *room) buildAll(all []mutant) (unfit map[int]bool, err error) {
	unfit = map[int]bool{}
	for {
		o := &overlay{r.scratch, map[string]string{}}
		spans, err := o.spread(r.dir, all, unfit)
		if err != nil {
			return nil, err
		}
		said, err := o.build(r.dir, r.mutants)
		if err == nil {
			return unfit, nil
		}
		before := len(unfit)
		for _, m := range compilerPlace.FindAllStringSubmatch(said, -1) {
			line, _ := strconv.Atoi(m[2]) // digits
			for _, s := range spans {
				if s.file == m[1] && line >= s.from && line <= s.to {
					unfit[s.id] = true
				}
			}
		}
		if len(unfit) == before {
			return nil, fmt.Errorf("%w\n%s", err, said)
		}
	}
}

// span is where a mutant's function stands in its file.
type span struct {
	id       int
	file     string // base name
	from, to int    // lines
}

// spread writes the room's files with the mutants beside their functions, and returns where each stands.
func (o *overlay) spread(dir string, all []mutant, unfit map[int]bool) (spans []span, err error) {
	byPath, name := map[string][]mutant{}, ""
	for _, m := range all {
		name = m.room
		if m.in != nil && !unfit[m.id] {
			byPath[m.path] = append(byPath[m.path], m)
		}
	}
	for path, some := range byPath {
		text, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		text, more := beside(text, filepath.Base(path), some)
		spans = append(spans, more...)
		if err := o.put(path, text); err != nil {
			return nil, err
		}
	}
	return spans, o.put(filepath.Join(dir, "mutant_chosen.go"), []byte("package "+name+`

import (
	"os"
	"strconv"
)

var mutantChosen, _ = strconv.Atoi(os.Getenv("`+chosenMutant+`"))
`))
}

// beside returns a file's text with mutants of its functions at its end.
func beside(text []byte, file string, some []mutant) (changed []byte, spans []span) {
	slices.SortStableFunc(some, func(a, b mutant) int { return b.offset(b.in.Pos()) - a.offset(a.in.Pos()) }) // from the end: places before stay
	line := bytes.Count(text, []byte("\n")) + 2                                                               // where the first of them stands: the switches add no line
	var tail []byte
	for i := 0; i < len(some); {
		n := i
		for n < len(some) && some[n].in == some[i].in {
			n++
		}
		begin, end := some[i].offset(some[i].in.Pos()), some[i].offset(some[i].in.End())
		body := string(text[begin:end])
		for _, m := range some[i:n] {
			f := m.copied(body, begin) + "\n"
			lines := strings.Count(f, "\n")
			spans = append(spans, span{m.id, file, line, line + lines - 1})
			line += lines
			tail = append(tail, f...)
		}
		text = slices.Concat(text[:begin], []byte(switched(some[i:n], body, begin)), text[end:])
		i = n
	}
	return append(append(text, '\n'), tail...), spans
}

func (m mutant) offset(p token.Pos) int { return m.set.Position(p).Offset }

// copied returns the function with the operator put for another, under a name of its own.
func (m mutant) copied(body string, begin int) string {
	at, end := m.at.Offset-begin, m.offset(m.in.Name.End())-begin
	return body[:end] + fmt.Sprintf("_mutant%d", m.id) + body[end:at] + " " + m.to + " " + body[at+len(m.from):]
}

// edit is what comes in place of some bytes.
type edit struct {
	at, gone int
	put      string
}

// switched returns a function that begins with a switch to its mutants. It stays on its lines.
func switched(some []mutant, body string, begin int) string {
	f := some[0].in
	at := func(p token.Pos) int { return some[0].offset(p) - begin }
	to := f.Name.Name
	own, edits := named(f.Recv, at, nil)
	if len(own) > 0 {
		to = own[0] + "." + to
	}
	given, edits := named(f.Type.Params, at, edits)
	types, _ := named(f.Type.TypeParams, at, nil)
	if len(types) > 0 {
		to += "_mutant%d[" + strings.Join(types, ", ") + "]"
	} else {
		to += "_mutant%d"
	}
	call := to + "(" + strings.Join(given, ", ") + ")"
	head := " switch mutantChosen { "
	for _, m := range some {
		if f.Type.Results == nil {
			head += fmt.Sprintf("case %d: "+call+"; return; ", m.id, m.id)
		} else {
			head += fmt.Sprintf("case %d: return "+call+"; ", m.id, m.id)
		}
	}
	edits = append(edits, edit{at(f.Body.Lbrace) + 1, 0, head + "}; "})
	slices.SortFunc(edits, func(a, b edit) int { return b.at - a.at })
	for _, e := range edits {
		body = body[:e.at] + e.put + body[e.at+e.gone:]
	}
	return body
}

// named returns how the parameters of a list are handed on, and what names those without a name.
func named(list *ast.FieldList, at func(token.Pos) int, edits []edit) (all []string, named []edit) {
	if list == nil {
		return nil, edits
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
	return all, edits
}
