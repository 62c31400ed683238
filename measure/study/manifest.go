package study

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Manifest is a checked list of readings.
type Manifest struct {
	Further []string // names of the further columns, in their order
	Entries []Entry  // in the file's order
}

// Entry is one reading of one case: a row of the manifest.
type Entry struct {
	Case, Reader, Replicate string   // labels, together unique; Reader and Replicate may be empty
	Series, Plan            string   // paths, as the manifest gives them from its own folder
	Further                 []string // one cell a further column, carried through unread
	Line                    int      // of the manifest, for messages
}

// Name returns the entry's folder name: CASE, CASE.READER or CASE.READER.REPLICATE.
func (e Entry) Name() string {
	name := e.Case
	for _, part := range []string{e.Reader, e.Replicate} {
		if part != "" {
			name += "." + part
		}
	}
	return name
}

// ManifestError is one fault of a manifest.
type ManifestError struct {
	File            string // base name
	Line            int    // from 1; 0: the file as a whole
	Problem, Remedy string
}

func (e *ManifestError) Error() string {
	where := e.File
	if e.Line > 0 {
		where += fmt.Sprintf(":%d", e.Line)
	}
	return where + ": " + e.Problem + "; " + e.Remedy
}

// ManifestErrors are all faults of a manifest, in the order of its lines. As an error it is never
// empty.
type ManifestErrors []*ManifestError

// Error returns the faults, one a line.
func (e ManifestErrors) Error() string {
	lines := make([]string, len(e))
	for i, fault := range e {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// What a manifest may hold.
const (
	maxManifest = 64 << 20 // bytes of CSV
	maxYAML     = 4 << 20  // bytes of YAML, which costs more to read
	maxEntries  = 100_000
	maxFurther  = 64   // further columns
	maxCell     = 4096 // bytes
	mostFaults  = 100  // listed at once
)

// OpenManifest reads the manifest at path: YAML where its name ends in .yaml, .yml or .json, else
// CSV. See [ReadManifest].
func OpenManifest(path string) (*Manifest, error) {
	fail := func(err error) error {
		var why *fs.PathError
		if errors.As(err, &why) {
			err = why.Err
		}
		return ManifestErrors{{File: filepath.Base(path), Problem: err.Error(), Remedy: "name a manifest (CSV or YAML)"}}
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, fail(err)
	}
	if !info.Mode().IsRegular() {
		return nil, fail(errors.New("not a file"))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fail(err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxManifest+1))
	if err != nil {
		return nil, fail(err)
	}
	return ReadManifest(filepath.Base(path), data, filepath.Dir(path))
}

// ReadManifest reads a manifest from the bytes of its file. The columns (CSV) or keys of each list
// item (YAML) are case, series and plan, optionally reader and replicate, and any others, which are
// carried through. Relative paths start from dir. Nothing that the manifest names is looked at:
// what is not there fails on its own, as one case.
//
// The error is a [ManifestErrors] with every fault of the file.
func ReadManifest(name string, data []byte, dir string) (*Manifest, error) {
	r := &manifestReader{file: filepath.Base(name)}
	data = trimMark(data)
	var t grid
	switch ext := strings.ToLower(filepath.Ext(name)); {
	case len(data) > maxManifest:
		r.fault(0, "make several manifests", "the file is larger than %d MB", maxManifest>>20)
	case slices.Contains([]string{".yaml", ".yml", ".json"}, ext):
		t = r.yaml(data)
	default:
		t = r.csv(data)
	}
	m := r.manifest(t, dir)
	if len(r.faults) > 0 {
		return nil, r.err()
	}
	return m, nil
}

// grid is a manifest as rows of text, whatever it was written in.
type grid struct {
	columns []string
	lines   []int // of each row
	rows    [][]string
}

// manifestReader collects every fault of one manifest.
type manifestReader struct {
	file   string
	faults ManifestErrors
	more   int // past mostFaults
}

func (r *manifestReader) fault(line int, remedy, format string, args ...any) {
	if len(r.faults) >= mostFaults {
		r.more++
		return
	}
	r.faults = append(r.faults, &ManifestError{r.file, line, fmt.Sprintf(format, args...), remedy})
}

func (r *manifestReader) err() error {
	slices.SortStableFunc(r.faults, func(a, b *ManifestError) int { return a.Line - b.Line })
	if r.more > 0 {
		return append(r.faults, &ManifestError{File: r.file, Problem: fmt.Sprintf("%d more errors are not listed", r.more), Remedy: "mend the first ones"})
	}
	return r.faults
}

// manifest turns rows of text into entries.
func (r *manifestReader) manifest(t grid, dir string) *Manifest {
	m := &Manifest{}
	if len(r.faults) > 0 && len(t.columns) == 0 {
		return m
	}
	at, further := r.columns(t.columns)
	for _, i := range further {
		m.Further = append(m.Further, t.columns[i])
	}
	if len(t.rows) == 0 && len(r.faults) == 0 {
		r.fault(0, "write one reading a row", "the manifest lists no case")
	}
	if len(t.rows) > maxEntries {
		r.fault(0, "make several manifests", "%d rows, more than %d", len(t.rows), maxEntries)
		return m
	}
	for i, cells := range t.rows {
		m.Entries = append(m.Entries, r.entry(at, further, cells, t.lines[i], dir))
	}
	r.unique(m.Entries)
	return m
}

// ownColumns are the manifest's columns with a meaning; the first three must be there.
var ownColumns = []string{"case", "series", "plan", "reader", "replicate"}

// columns returns where each column with a meaning stands, and the places of the further ones.
func (r *manifestReader) columns(names []string) (at map[string]int, further []int) {
	at, seen := map[string]int{}, map[string]bool{}
	for i, name := range names {
		switch low := strings.ToLower(name); {
		case seen[low]:
			r.fault(1, "rename one", "two columns are called %q", name)
		case slices.Contains(ownColumns, name):
			at[name] = i
		default:
			if problem, remedy := badColumn(name); problem != "" {
				r.fault(1, remedy, "column %d, %q, %s", i+1, cut(name), problem)
			}
			further = append(further, i)
		}
		seen[strings.ToLower(name)] = true
	}
	for _, name := range ownColumns[:3] {
		if _, ok := at[name]; !ok {
			r.fault(1, "the columns are case,series,plan,reader,replicate and any others, separated by commas", "there is no column %q", name)
		}
	}
	if len(further) > maxFurther {
		r.fault(1, "leave some out", "%d further columns, more than %d", len(further), maxFurther)
	}
	return at, further
}

func (r *manifestReader) entry(at map[string]int, further []int, cells []string, line int, dir string) Entry {
	e := Entry{Line: line}
	get := func(name string) string {
		if i, ok := at[name]; ok {
			return cells[i]
		}
		return ""
	}
	for _, l := range []struct {
		name string
		into *string
	}{{"case", &e.Case}, {"reader", &e.Reader}, {"replicate", &e.Replicate}} {
		*l.into = strings.TrimSpace(get(l.name))
		if why := badLabel(*l.into); why != "" && (*l.into != "" || l.name == "case") {
			r.fault(line, "use letters, digits, - and _", "%s %q %s", l.name, cut(*l.into), why)
		}
	}
	if e.Reader == "" && e.Replicate != "" {
		r.fault(line, "name the reader, as A", "replicate %q stands without a reader", cut(e.Replicate))
	}
	for _, p := range []struct {
		name string
		into *string
	}{{"series", &e.Series}, {"plan", &e.Plan}} {
		path := get(p.name)
		if _, there := at[p.name]; there && (strings.TrimSpace(path) == "" || strings.ContainsRune(path, 0)) {
			r.fault(line, "give its path, from the manifest's folder", "the %s has no path", p.name)
		}
		if !filepath.IsAbs(path) {
			path = filepath.Join(dir, filepath.FromSlash(path))
		}
		*p.into = path
	}
	for _, i := range further {
		if len(cells[i]) > maxCell {
			r.fault(line, "shorten it", "a cell of column %d is longer than %d bytes", i+1, maxCell)
		}
		e.Further = append(e.Further, cells[i])
	}
	return e
}

// unique refuses a reading given twice, and two whose folders would be one on some system.
func (r *manifestReader) unique(entries []Entry) {
	exact, folded := map[[3]string]int{}, map[string]int{}
	for _, e := range entries {
		if e.Case == "" {
			continue // said already
		}
		key, folder := [3]string{e.Case, e.Reader, e.Replicate}, strings.ToLower(e.Name())
		if first, twice := exact[key]; twice {
			r.fault(e.Line, "give it another replicate, or remove one", "case, reader and replicate are those of line %d", first)
		} else if first, twice := folded[folder]; twice {
			r.fault(e.Line, "rename one", "its folder %s would be that of line %d", e.Name(), first)
		} else {
			exact[key], folded[folder] = e.Line, e.Line
		}
	}
}
