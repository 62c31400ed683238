package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
)

type outcome string

const (
	dead    outcome = "killed  "
	alive   outcome = "SURVIVED"
	endless outcome = "endless " // no end within the limit; counts as killed, and is to be read
	unbuilt outcome = "unbuilt " // does not compile; counts for nothing
)

// A room is a package with its tests: how long each takes and what it reaches.
type room struct {
	dir, scratch string
	mutants      string   // the binary that holds them all
	tests        []testOf // quickest first
	covered      float64  // statements that some test reaches, %
}

type testOf struct {
	name   string
	time   time.Duration      // of the processor
	blocks map[string][]block // by the file's base name; what it reaches
}

// A block is a stretch of statements that the coverage counts as one.
type block struct{ fromLine, fromColumn, toLine, toColumn int }

func (b block) holds(line, column int) bool {
	after := line > b.fromLine || line == b.fromLine && column >= b.fromColumn
	before := line < b.toLine || line == b.toLine && column < b.toColumn
	return after && before
}

func newRoom(dir, scratch string) (*room, error) {
	r := &room{dir: dir, scratch: scratch, mutants: filepath.Join(scratch, "mutants.test")}
	binary := filepath.Join(scratch, "covered.test")
	if out, err := exec.Command("go", "test", "-c", "-cover", "-vet=off", "-o", binary, "./"+dir).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%s: %w\n%s", dir, err, out)
	}
	list, err := r.command(context.Background(), time.Hour, binary, "-test.list", "^(Test|Example|Fuzz)").Output()
	if err != nil {
		return nil, err
	}
	statements := map[string]int{} // of each block
	reached := map[string]bool{}
	for _, name := range strings.Fields(string(list)) {
		profile := filepath.Join(scratch, "profile")
		c := r.command(context.Background(), time.Hour, binary, "-test.run", "^"+name+"$", "-test.coverprofile", profile)
		out, err := c.CombinedOutput()
		if err != nil {
			return nil, fmt.Errorf("%s fails without any mutant: %w\n%s", name, err, out)
		}
		t := testOf{name: name, time: used(c), blocks: map[string][]block{}}
		if err := t.read(profile, statements, reached); err != nil {
			return nil, err
		}
		r.tests = append(r.tests, t)
	}
	slices.SortFunc(r.tests, func(a, b testOf) int { return cmp.Compare(a.time, b.time) })
	all, hit := 0, 0
	for place, n := range statements {
		all += n
		if reached[place] {
			hit += n
		}
	}
	r.covered = percent(hit, all)
	return r, nil
}

// read takes what a test reaches from its coverage profile: lines of FILE:LINE.COLUMN,LINE.COLUMN STATEMENTS COUNT.
func (t *testOf) read(path string, statements map[string]int, reached map[string]bool) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }() // only read
	for lines := bufio.NewScanner(f); lines.Scan(); {
		place, counts, _ := strings.Cut(lines.Text(), " ")
		file, span, _ := strings.Cut(filepath.Base(place), ":")
		var b block
		var n, times int
		if _, err := fmt.Sscanf(span+" "+counts, "%d.%d,%d.%d %d %d",
			&b.fromLine, &b.fromColumn, &b.toLine, &b.toColumn, &n, &times); err != nil {
			continue // the head line
		}
		statements[place] = n
		if times > 0 {
			reached[place] = true
			t.blocks[file] = append(t.blocks[file], b)
		}
	}
	return nil
}

// reaching returns the tests that reach a mutant, quickest first.
func (r *room) reaching(m mutant) (some []testOf) {
	for _, t := range r.tests {
		in := func(b block) bool { return b.holds(m.asked.Line, m.asked.Column) }
		if m.in == nil || slices.ContainsFunc(t.blocks[filepath.Base(m.path)], in) {
			some = append(some, t)
		}
	}
	return some
}

// tryAll tries mutants, so many at once, and prints what becomes of each.
func (r *room) tryAll(all []mutant, unfit map[int]bool, workers int) (killed, tried int, err error) {
	var mu sync.Mutex
	var group errgroup.Group
	group.SetLimit(workers)
	for _, m := range all {
		group.Go(func() error {
			said := unbuilt
			if !unfit[m.id] {
				var err error
				if said, err = r.try(m); err != nil {
					return err
				}
			}
			mu.Lock()
			defer mu.Unlock()
			fmt.Println(said, m)
			if said != unbuilt {
				tried++
			}
			if said == dead || said == endless {
				killed++
			}
			return nil
		})
	}
	err = group.Wait()
	return killed, tried, err
}

// try runs the tests that reach a mutant, the quicker ones first.
func (r *room) try(m mutant) (outcome, error) {
	binary := r.mutants
	if m.in == nil {
		binary = filepath.Join(r.scratch, fmt.Sprintf("one%d.test", m.id))
		if said, err := r.buildOne(m, binary); said != alive || err != nil {
			return said, err
		}
	}
	tests := r.reaching(m)
	for len(tests) > 0 {
		// Some at once: each process costs its start.
		n, total := 0, time.Duration(0)
		for n < len(tests) && (n == 0 || total < max(100*time.Millisecond, 3*tests[0].time)) {
			total += tests[n].time
			n++
		}
		if said := r.runs(binary, m.id, tests[:n], total); said != alive {
			return said, nil
		}
		tests = tests[n:]
	}
	return alive, nil
}

// buildOne builds a mutant outside every function.
func (r *room) buildOne(m mutant, binary string) (outcome, error) {
	text, err := os.ReadFile(m.path)
	if err != nil {
		return "", err
	}
	o := &overlay{filepath.Join(r.scratch, fmt.Sprint(m.id)), map[string]string{}}
	if err := os.Mkdir(o.scratch, 0o700); err != nil {
		return "", err
	}
	if err := o.put(m.path, slices.Concat(text[:m.at.Offset], []byte(" "+m.to+" "), text[m.at.Offset+len(m.from):])); err != nil {
		return "", err
	}
	_, err = o.build(r.dir, binary)
	if _, refused := errors.AsType[*exec.ExitError](err); refused {
		return unbuilt, nil
	}
	return alive, err
}

// runs gives the tests ten times the processor's time that they took, and five seconds more.
func (r *room) runs(binary string, id int, tests []testOf, took time.Duration) outcome {
	names := make([]string, len(tests))
	for i, t := range tests {
		names[i] = t.name
	}
	most := 10*took + 5*time.Second
	end, cancel := context.WithTimeout(context.Background(), 20*most) // of one that waits for nothing
	defer cancel()
	c := r.command(end, most, binary, "-test.failfast", "-test.run", "^("+strings.Join(names, "|")+")$")
	c.Env = append(os.Environ(), fmt.Sprintf("%s=%d", chosenMutant, id))
	err := c.Run()
	switch {
	case end.Err() != nil || err != nil && used(c) >= most-time.Second:
		return endless
	case err != nil:
		return dead
	}
	return alive
}

// used is the processor's time that a command took.
func used(c *exec.Cmd) time.Duration { return c.ProcessState.UserTime() + c.ProcessState.SystemTime() }

// command runs a test binary in the room's folder, in 4 GB of addresses: a mutant may ask for any memory.
func (r *room) command(end context.Context, most time.Duration, binary string, args ...string) *exec.Cmd {
	limits := fmt.Sprintf(`ulimit -v 4194304; ulimit -t %d; exec "$0" "$@"`, int(most.Seconds()))
	c := exec.CommandContext(end, "sh", append([]string{"-c", limits, binary}, args...)...)
	c.Dir = r.dir
	c.WaitDelay = time.Second
	return c
}
