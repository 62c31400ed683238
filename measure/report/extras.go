package report

import (
	"io"

	"ridgerule/dicomio"
	"ridgerule/measure"
)

// Extra says which outputs are wanted beside the standard ones; the zero value wants none.
type Extra struct {
	PDF      Paper           // report.pdf on this paper; "": none
	DaySheet bool            // day-sheet.pdf, on the paper of PDF, else on A4
	DICOM    *dicomio.Source // dicom/: the numbers and the drawings as objects about this series; nil: none
}

// Extras makes the outputs that x wants, each as its own function here makes it: report.pdf by [PDF],
// day-sheet.pdf by [DaySheet], dicom/measurements.dcm by [SR], the other files of dicom/ by [Captures].
func Extras(c Case, x Extra) ([]File, error) {
	var work []job
	if x.PDF != "" {
		work = append(work, job{"report.pdf", func(w io.Writer) error { return PDF(w, c, x.PDF) }})
	}
	if x.DaySheet {
		work = append(work, job{"day-sheet.pdf", func(w io.Writer) error { return DaySheet(w, c, x.PDF) }})
	}
	if x.DICOM != nil {
		work = append(work, job{"dicom/measurements.dcm", func(w io.Writer) error { return SR(w, c, *x.DICOM) }})
	}
	files, err := run(work)
	if err != nil || x.DICOM == nil {
		return files, err
	}
	captures, err := Captures(c, *x.DICOM)
	return append(files, captures...), err
}

// SiteFiles returns what the files of each site of r are called, without folder and ending: site ids made
// harmless and unlike each other.
func SiteFiles(r *measure.Result) []string { return fileNames(r.Sites) }
