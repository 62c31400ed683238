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

	"ridgerule/dicomio"
	"ridgerule/measure"
)

// File is one output of a case: its path inside the case's folder, with slashes, and its bytes.
type File struct {
	Name string
	Data []byte
}

// Extra says which outputs are wanted beside the standard ones; the zero value wants none.
type Extra struct {
	PDF      Paper           // report.pdf on this paper; "": none
	DaySheet bool            // day-sheet.pdf, on the paper of PDF, else on A4
	DICOM    *dicomio.Source // dicom/: the numbers and the drawings as objects about this series; nil: none
}

// Files makes every standard output of the case: measurements.csv, sites.csv, result.json,
// review.json where the plan was reviewed, datapackage.json, report.html, sections/SITE.png,
// panoramic.png, arch.svg, and pictures/, the grey values that [ReadPictures] needs to make the
// drawings again; and after them what x wants: report.pdf, day-sheet.pdf, dicom/measurements.dcm
// and the drawings beside it. Nothing is written: the caller decides how a folder becomes whole.
func (v *View) Files(x Extra) ([]File, error) {
	tables, err := tablesOf(v.c)
	if err != nil {
		return nil, err
	}
	work := []job{
		{"measurements.csv", give(tables[0].Data)},
		{"sites.csv", give(tables[1].Data)},
		{"datapackage.json", func(w io.Writer) error {
			return DataPackage(w, strings.TrimSuffix("Ridge measurements of "+v.c.Result.Case+". "+v.page.Mark, ". "), v.c.Provenance.Date, tables)
		}},
		{"report.html", v.HTML},
	}
	for _, d := range v.drawn() {
		switch d.Name {
		case "arch":
			work = append(work, job{"arch.svg", d.SVG})
		default:
			work = append(work, job{d.Name + ".png", d.PNG})
		}
	}
	work = append(work, v.pictureJobs()...)
	standard := len(work)
	files, err := run(append(work, v.extraJobs(x)...))
	if err != nil {
		return nil, err
	}
	extra := files[standard:]
	if files, err = withResult(v.c, slices.Concat(files[:standard], v.c.Surfaces)); err != nil || x.DICOM == nil {
		return append(files, extra...), err
	}
	captures, err := v.Captures(*x.DICOM)
	return slices.Concat(files, extra, captures), err
}

// extraJobs are the files that x wants, but for the drawings in dicom/.
func (v *View) extraJobs(x Extra) []job {
	var work []job
	if x.PDF != "" {
		work = append(work, job{"report.pdf", func(w io.Writer) error { return v.PDF(w, x.PDF) }})
	}
	if x.DaySheet {
		work = append(work, job{"day-sheet.pdf", func(w io.Writer) error { return v.DaySheet(w, x.PDF) }})
	}
	if x.DICOM != nil {
		work = append(work, job{"dicom/measurements.dcm", func(w io.Writer) error { return v.SR(w, *x.DICOM) }})
	}
	return work
}

// withResult puts result.json after the tables: it knows the hashes of the pictures and surfaces beside it. The review
// follows, where the plan has one.
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
	files = slices.Insert(files, 2, File{"result.json", b.Bytes()})
	if c.Result.Plan.Review == nil {
		return files, nil
	}
	said, err := reviewOf(c.Result, ContentOf(b.Bytes()))
	return slices.Insert(files, 3, said), err
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

// Write makes every output of the case (see [View.Files]) and hands each to a writer that create opens by the file's
// name (see [File]). It stops at the first error; create's caller removes what is half made.
func Write(c Case, x Extra, create func(name string) (io.WriteCloser, error)) error {
	v, err := NewView(c)
	if err != nil {
		return err
	}
	files, err := v.Files(x)
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

// SiteFiles returns what the files of each site of r are called, without folder and ending: site ids made
// harmless and unlike each other.
func SiteFiles(r *measure.Result) []string { return fileNames(r.Sites) }
