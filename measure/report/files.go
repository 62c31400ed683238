package report

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"
)

// File is one output of a case: its path inside the case's folder, with slashes, and its bytes.
type File struct {
	Name string
	Data []byte
}

// Files makes every standard output of a case: measurements.csv, sites.csv, result.json,
// datapackage.json, report.html, sections/SITE.png, panoramic.png, arch.svg, and pictures/, the
// grey values that [ReadPictures] needs to make the drawings again. Nothing is written: the
// caller decides how a folder becomes whole.
func Files(c Case) ([]File, error) {
	tables, err := tablesOf(c)
	if err != nil {
		return nil, err
	}
	drawings, err := Drawings(c)
	if err != nil {
		return nil, err
	}
	work := []job{
		{"measurements.csv", give(tables[0].Data)},
		{"sites.csv", give(tables[1].Data)},
		{"datapackage.json", func(w io.Writer) error {
			title := "Ridge measurements of " + c.Result.Case
			if mark := markOf(c.Result); mark != "" {
				title += ". " + mark
			}
			return DataPackage(w, title, c.Provenance.Date, tables)
		}},
		{"report.html", func(w io.Writer) error { return pageOf(w, c, drawings) }},
	}
	for _, d := range drawings {
		switch d.Name {
		case "arch":
			work = append(work, job{"arch.svg", d.SVG})
		default:
			work = append(work, job{d.Name + ".png", d.PNG})
		}
	}
	files, err := run(append(work, pictureJobs(c)...))
	if err != nil {
		return nil, err
	}
	return withResult(c, append(files, c.Surfaces...))
}

// withResult puts result.json after the tables: it knows the hashes of the pictures and surfaces beside it.
func withResult(c Case, files []File) ([]File, error) {
	p := c.Provenance
	if p.Files = maps.Clone(p.Files); p.Files == nil {
		p.Files = map[string]string{}
	}
	for _, f := range files {
		if strings.HasPrefix(f.Name, "pictures/") || strings.HasPrefix(f.Name, "surfaces/") {
			p.Files[f.Name] = hashOf(f.Data)
		}
	}
	var b bytes.Buffer
	if err := WriteJSON(&b, c.Result, p); err != nil {
		return nil, err
	}
	return slices.Insert(files, 2, File{"result.json", b.Bytes()}), nil
}

// job is one file and what writes it.
type job struct {
	name  string
	write func(io.Writer) error
}

func give(data []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	}
}

// run does the jobs on all processors; the files come back in the jobs' order.
func run(work []job) ([]File, error) {
	out := make([]File, len(work))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, j := range work {
		g.Go(func() error {
			var b bytes.Buffer
			if err := j.write(&b); err != nil {
				return fmt.Errorf("%s: %w", j.name, err)
			}
			out[i] = File{j.name, b.Bytes()}
			return nil
		})
	}
	return out, g.Wait()
}

func tablesOf(c Case) ([]Table, error) {
	var rows, sites bytes.Buffer
	if err := MeasurementsCSV(&rows, c.Result); err != nil {
		return nil, err
	}
	if err := SitesCSV(&sites, c.Result); err != nil {
		return nil, err
	}
	return []Table{
		{Path: "measurements.csv", Title: "One measurement a row", Columns: MeasurementColumns(), Key: MeasurementKey, Data: rows.Bytes()},
		{Path: "sites.csv", Title: "One site a row", Columns: SiteColumns(Depths(c.Result)), Key: SiteKey, Data: sites.Bytes()},
	}, nil
}

// Write makes every standard output and hands each to a writer that create opens by the file's
// name (see [File]). It stops at the first error; create's caller removes what is half made.
func Write(c Case, create func(name string) (io.WriteCloser, error)) error {
	files, err := Files(c)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := put(f, create); err != nil {
			return fmt.Errorf("report: %s: %w", f.Name, err)
		}
	}
	return nil
}

func put(f File, create func(name string) (io.WriteCloser, error)) error {
	w, err := create(f.Name)
	if err != nil {
		return err
	}
	if _, err := w.Write(f.Data); err != nil {
		return errors.Join(err, w.Close())
	}
	return w.Close()
}
