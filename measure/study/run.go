package study

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/sync/errgroup"

	"ridgerule/dicomio"
	"ridgerule/dicomio/temporary"
)

// Job is one entry to measure.
type Job struct {
	Case   string `json:"case"`   // the label that the outputs carry, whatever the plan calls it
	Series string `json:"series"` // path
	Plan   string `json:"plan"`   // path
	Folder string `json:"folder"` // an empty folder to fill with the outputs of one case

	Limits dicomio.Limits `json:"limits"` // of the series

	Memory int64    `json:"-"` // what the heap may grow to, bytes; 0: no limit
	Hold   *os.File `json:"-"` // the folder's lock, for a process that fills it to inherit; never nil
}

// Options say how a study is run; Do must be set.
type Options struct {
	// Do measures one case and fills its folder. Its error should be a [*Failure] or one that
	// [FailureOf] understands. It is called from several goroutines at once.
	Do func(ctx context.Context, j Job) error

	Tool     string                // name and version; entries measured by another are measured again
	Shard    Shard                 // which entries; the zero value: all
	Jobs     int                   // entries at once; 0 means 1
	Memory   int64                 // bytes for all of them together; 0: no limit
	Limits   dicomio.Limits        // of each series
	Progress func(done, total int) // of what is left to do, from one goroutine at a time; nil: silent
}

// Outcome counts the entries of one run.
type Outcome struct {
	Entries   int       // of the shard
	Before    int       // whole already, from the same inputs
	Unchecked int       // whole already; their inputs cannot be read any more to compare
	Done      int       // measured now
	Elsewhere int       // being measured by another process
	Failures  []Failure // now, in the manifest's order
	Damaged   []string  // folders changed after they were made, and how; they are measured again
}

// Run measures the entries of m that are missing under folder or whose inputs changed. What fails
// is recorded there and stops nothing else.
//
// It returns ctx's error when cancelled (what is whole stays, what was growing is removed), and an
// error when folder itself cannot be written; the outcome is right then too.
func Run(ctx context.Context, m *Manifest, folder string, o Options) (Outcome, error) {
	r := &runner{dir: dir(folder), o: o, gate: newGate(o.Memory), failed: map[int]Failure{}, broken: map[int]string{}}
	if err := r.dir.begin(m); err != nil {
		return r.out, err
	}
	r.dir.sweep(m.Entries)
	err := r.run(ctx, m)
	for i := range m.Entries {
		if f, ok := r.failed[i]; ok {
			r.out.Failures = append(r.out.Failures, f)
		}
		if why, ok := r.broken[i]; ok {
			r.out.Damaged = append(r.out.Damaged, why)
		}
	}
	rows, tableErr := csvBytes(failureRows(r.dir.failures(m.Entries)))
	if tableErr == nil {
		tableErr = temporary.WriteFile(r.dir.at("failures.csv"), rows)
	}
	return r.out, errors.Join(err, tableErr)
}

// runner is one run at work.
type runner struct {
	dir  dir
	o    Options
	gate *gate

	mu     sync.Mutex
	out    Outcome
	failed map[int]Failure // by place in the manifest
	broken map[int]string  // likewise: folders changed after they were made
	ended  int             // entries that were to be measured and are dealt with
	todo   int
}

// task is an entry that is to be measured, with its inputs.
type task struct {
	at    int // in the manifest
	entry Entry
	in    inputs
}

func (r *runner) run(ctx context.Context, m *Manifest) error {
	todo, err := r.look(ctx, m)
	if err != nil {
		return err
	}
	r.todo = len(todo)
	g, within := errgroup.WithContext(ctx)
	g.SetLimit(max(1, r.o.Jobs))
	for _, t := range todo {
		if within.Err() != nil {
			break
		}
		g.Go(func() error { return r.measure(within, t) })
	}
	return cmp.Or(g.Wait(), ctx.Err())
}

// look compares each entry's inputs with those its folder was made from, and returns what is to be
// done, in the manifest's order.
func (r *runner) look(ctx context.Context, m *Manifest) ([]task, error) {
	var mine []task
	for i, e := range m.Entries {
		if r.o.Shard.has(i) {
			mine = append(mine, task{at: i, entry: e})
		}
	}
	r.out.Entries = len(mine)
	wanted := make([]bool, len(mine))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(max(1, r.o.Jobs))
	for k := range mine {
		g.Go(func() (err error) {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			wanted[k], err = r.wanted(&mine[k])
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	var todo []task
	for k, t := range mine {
		if wanted[k] {
			todo = append(todo, t)
		}
	}
	return todo, nil
}

// wanted reports whether the entry is to be measured, and notes its inputs. The error is the study's
// own, not the entry's.
func (r *runner) wanted(t *task) (bool, error) {
	in, err := t.entry.inputsOf(r.o.Tool, r.o.Limits)
	t.in = in
	made, unmade := readWhole(r.dir.whole(t.entry.Name()))
	switch {
	case unmade == nil && err == nil && made.Hash == in.Hash:
		r.count(&r.out.Before)
		return false, remove(r.dir.failed(t.entry.Name()))
	case unmade == nil && err != nil:
		r.count(&r.out.Unchecked)
		return false, nil
	case err != nil:
		return false, r.fail(*t, err)
	}
	if !errors.Is(unmade, fs.ErrNotExist) && unmade != nil {
		r.damaged(*t, unmade)
	}
	return true, nil
}

// damaged notes that the entry is measured again for what happened to its folder.
func (r *runner) damaged(t task, why error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.broken[t.at] = fmt.Sprintf("cases/%s: %s", t.entry.Name(), plainReason(why))
}

func (r *runner) count(n *int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	*n++
}

// fail records that the entry was not measured.
func (r *runner) fail(t task, err error) error {
	f := failureOf(err, StageMeasure).of(t.entry)
	f.Inputs = t.in.Hash
	r.mu.Lock()
	r.failed[t.at] = f
	r.mu.Unlock()
	return r.dir.writeFailure(t.entry, &f)
}

// measure makes the entry's folder, or records why not. The error is the study's own.
func (r *runner) measure(ctx context.Context, t task) error {
	defer r.step()
	c, err := r.dir.claim(t.entry.Name())
	switch {
	case errors.Is(err, temporary.ErrBusy):
		r.count(&r.out.Elsewhere)
		return nil
	case err != nil:
		return fmt.Errorf("study: %s cannot be written: %s", t.entry.Name(), plainReason(err))
	}
	defer c.Remove()
	if made, err := readWhole(c.final); err == nil && made.Hash == t.in.Hash {
		r.count(&r.out.Before) // by another process, since it was looked at
		return nil
	}
	err = recovered(func() error { return r.fill(ctx, t, c) })
	if ctx.Err() != nil || errors.Is(err, context.Canceled) {
		return ctx.Err() // interrupted, not failed
	}
	if err == nil {
		err = c.commit()
	}
	if err != nil {
		return r.fail(t, err)
	}
	r.count(&r.out.Done)
	return remove(r.dir.failed(t.entry.Name()))
}

// step tells how far the run is.
func (r *runner) step() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ended++
	if r.o.Progress != nil {
		r.o.Progress(r.ended, r.todo)
	}
}

// fill fills the claimed folder: the series' headers first, then, once there is memory for its
// volume, the case.
func (r *runner) fill(ctx context.Context, t task, c *claim) error {
	bytes, err := t.entry.look(ctx, r.o.Limits)
	if err != nil {
		return err
	}
	if err := r.gate.fits(bytes); err != nil {
		return err
	}
	if err := r.gate.enter(ctx, bytes); err != nil {
		return err
	}
	defer r.gate.leave(bytes)
	job := Job{Case: t.entry.Case, Series: t.entry.Series, Plan: t.entry.Plan, Folder: c.Path, Limits: r.o.Limits, Hold: c.Lock}
	if r.gate != nil {
		job.Memory = bytes - spare
	}
	if err := r.o.Do(ctx, job); err != nil {
		return err
	}
	if now, err := t.entry.inputsOf(r.o.Tool, r.o.Limits); err != nil || now != t.in {
		return &Failure{Stage: StageSeries, Reason: "the plan or the series changed while it was measured; run again"}
	}
	if err := writeMarker(c.Path, r.o.Tool, t.in); err != nil {
		return failureOf(err, StageWrite)
	}
	return nil
}

// begin makes the study's folder and notes the manifest in it.
func (d dir) begin(m *Manifest) error {
	if err := d.make(); err != nil {
		return fmt.Errorf("study: %s cannot be made: %s", filepath.Base(string(d)), plainReason(err))
	}
	return d.writeRoll(m)
}
