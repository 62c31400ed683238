package study

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ridgerule/dicomio/temporary"
	"ridgerule/measure/report"
)

// Merged counts what a merge found.
type Merged struct {
	Entries, Measured int
	Failed, Waiting   int      // not measured; neither measured nor failed yet
	Tools             []string // names and versions of what measured them, sorted: more than one deserves a word
}

// MergeOptions say how a study is merged; the zero value is ready.
type MergeOptions struct {
	Made     time.Time             // creation date of the data package; the zero time leaves it out
	Progress func(done, total int) // of the entries; nil: silent
}

// ErrDamaged is what [Merge] returns, wrapped, where files were changed after they were made. It names all the
// entries.
var ErrDamaged = errors.New("study: changed after it was measured")

// Merge writes, into the folder of a study, the tables of all its entries in the manifest's order:
// measurements.csv and sites.csv, with the labels and the further columns first, cases.csv with what each was
// measured by and from, failures.csv and datapackage.json. The bytes follow from the manifest and the
// entries alone. An entry is read, written and forgotten: memory holds the manifest and no table.
//
// It returns an error wrapping [ErrNoStudy] for a folder without a study, and [ErrDamaged].
func Merge(folder string, o MergeOptions) (out Merged, err error) {
	d := dir(folder)
	m, err := d.readRoll()
	if err != nil {
		return Merged{}, err
	}
	g := &merger{dir: d, study: m, o: o, measured: make([]bool, len(m.Entries)), depths: map[float64]bool{}}
	defer g.abandon()
	if err = g.gather(); err == nil {
		err = g.sites()
	}
	if err == nil {
		err = g.commit()
	}
	return g.out, err
}

// merger is one merge at work.
type merger struct {
	dir      dir
	study    *Manifest
	o        MergeOptions
	out      Merged
	measured []bool           // by place in the manifest
	depths   map[float64]bool // mm, of any entry's widths
	tables   []*table         // written so far, in the data package's order
}

// gather holds every entry's files against their hashes and writes all tables but sites.csv, whose columns are
// known at the end only. Damaged entries are all found before any is an error.
func (g *merger) gather() error {
	long, err1 := g.table("measurements.csv", "One measurement a row", report.MeasurementColumns()[1:], report.MeasurementKey[1:])
	cases, err2 := g.table("cases.csv", "One measured reading a row", caseColumns(), nil)
	lost, err3 := g.table("failures.csv", "One reading that was not measured a row", failureColumns(), nil)
	if err := errors.Join(err1, err2, err3); err != nil {
		return err
	}
	var damaged []string
	for i, e := range g.study.Entries {
		folder := g.dir.whole(e.Name())
		made, err := readWhole(folder)
		failed, known := g.dir.readFailure(e)
		switch {
		case err == nil && (!known || failed.Inputs == made.Hash):
			g.measured[i] = true
			g.out.Measured++
			if !slices.Contains(g.out.Tools, made.Tool) {
				g.out.Tools = append(g.out.Tools, made.Tool)
			}
			cases.row(e, made.Tool, made.Result.Plan, made.Result.Series, made.Files[tableFiles[0]])
			if err = long.add(e, folder, made); err == nil {
				err = g.noteDepths(folder, made)
			}
		case known:
			err = nil
			g.out.Failed++
			lost.row(e, failed.Stage, failed.Reason)
		case !exists(folder):
			err = nil
			g.out.Waiting++
			lost.row(e, StageNotRun, "neither measured nor failed yet; run the study again")
		}
		if err != nil {
			damaged = append(damaged, fmt.Sprintf("cases/%s: %s; remove that folder and run the study again", e.Name(), plainReason(err)))
		}
		g.step(i)
	}
	g.out.Entries = len(g.study.Entries)
	slices.Sort(g.out.Tools)
	if len(damaged) > 0 {
		return fmt.Errorf("%w:\n%s", ErrDamaged, strings.Join(damaged, "\n"))
	}
	return nil
}

// noteDepths notes the widths that the entry's sites have columns for.
func (g *merger) noteDepths(folder string, made marker) error {
	rows, err := readTable(folder, "sites.csv", made)
	if err != nil || len(rows) == 0 {
		return err
	}
	for _, name := range rows[0] {
		if d, ok := widthDepth(name); ok {
			g.depths[d] = true
		}
	}
	return nil
}

// sites writes sites.csv, with a column for each depth of any entry.
func (g *merger) sites() error {
	var depths []float64
	for d := range g.depths {
		depths = append(depths, d)
	}
	slices.Sort(depths)
	wide, err := g.table("sites.csv", "One site a row", report.SiteColumns(depths)[1:], report.SiteKey[1:])
	if err != nil {
		return err
	}
	for i, e := range g.study.Entries {
		if !g.measured[i] {
			continue
		}
		folder := g.dir.whole(e.Name())
		made, err := readMarker(folder)
		if err == nil {
			err = wide.add(e, folder, made)
		}
		if err != nil {
			return fmt.Errorf("%w:\ncases/%s: %s; remove that folder and run the study again", ErrDamaged, e.Name(), plainReason(err))
		}
	}
	return nil
}

// commit brings the tables to their places and describes them.
func (g *merger) commit() error {
	var all []report.Table
	for _, name := range []string{"measurements.csv", "sites.csv", "cases.csv", "failures.csv"} {
		t := g.tables[slices.IndexFunc(g.tables, func(t *table) bool { return t.about.Path == name })]
		if err := t.commit(); err != nil {
			return err
		}
		all = append(all, t.about)
	}
	var pack bytes.Buffer
	if err := report.DataPackage(&pack, "Ridge measurements of a study", g.o.Made, all); err != nil {
		return err
	}
	return temporary.WriteFile(g.dir.at("datapackage.json"), pack.Bytes())
}

// abandon removes what was not committed.
func (g *merger) abandon() {
	for _, t := range g.tables {
		t.file.Remove() // after a commit it does nothing
	}
}

func (g *merger) step(i int) {
	if g.o.Progress != nil {
		g.o.Progress(i+1, len(g.study.Entries))
	}
}
