package report

import (
	"fmt"
	"io"

	"ridgerule/measure"
)

// Drawing is one picture of a case, ready for any medium. Name is its file name without ending:
// "sections/36", "panoramic", "arch".
type Drawing struct {
	Name  string
	sheet *sheet
}

// Drawings returns every picture of the case: a section a site, the panoramic where the case has
// one, the arch. They are drawn once.
func (v *View) Drawings() []Drawing { return v.drawn() }

func (v *View) draw() []Drawing {
	r := v.c.Result
	var out []Drawing
	for i := range v.page.Sites {
		out = append(out, Drawing{"sections/" + v.names[i], v.section(i, wholeWidth)})
	}
	if p := v.c.Panoramic; p != nil {
		out = append(out, Drawing{"panoramic", panoramicSheet(r, *p, v.window, panoramicRoom)})
	}
	if s := archSheet(r, archRoom, tiny); s != nil {
		out = append(out, Drawing{"arch", s})
	}
	return out
}

// section draws the section of the i-th site into room.
func (v *View) section(i int, room spot) *sheet {
	s := &v.page.Sites[i]
	return sectionSheet(v.c.Result, s, v.c.section(s.ID), v.window, room)
}

// check reports a picture whose numbers do not fit together.
func (c Case) check() error {
	for id, p := range c.Sections {
		if err := p.check("of site " + id); err != nil {
			return err
		}
	}
	if c.Panoramic != nil {
		return c.Panoramic.check("panoramic")
	}
	return nil
}

// section returns the picture of a site, or nil.
func (c Case) section(id string) *Picture {
	if p, known := c.Sections[id]; known {
		return &p
	}
	return nil
}

// pixelSize returns the size of a pixel in the patient (mm) for a sheet at this scale: 0.05 mm,
// or 0.1 mm where that would make a picture too large.
func pixelSize(scale float64) float64 {
	if scale >= 2 {
		return 0.05
	}
	return 0.1
}

// PNG writes the drawing with its physical size (pHYs), so that it prints at life size; the size
// of a pixel stands on it.
func (d Drawing) PNG(w io.Writer) error {
	size := pixelSize(d.sheet.Scale)
	with := *d.sheet
	with.marks = with.marks[:len(with.marks):len(with.marks)]
	with.Height += 3
	with.write(label{At: spot{with.Width - max(1, with.Edge), with.Height - 1}, Text: plain(size) + " mm a pixel", Size: tiny, Anchor: end, Ink: soft})
	return with.PNG(w, 1/(size*with.Scale))
}

// SVG writes the drawing as one self-contained file, sized in mm of paper.
func (d Drawing) SVG(w io.Writer) error {
	text, err := d.sheet.SVG()
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, text+"\n")
	return err
}

// fileNames returns a file name for each site: its id with everything but letters, digits, dot,
// hyphen and underscore replaced, told apart by a number where two would be the same.
func fileNames(sites []measure.SiteResult) []string {
	taken := map[string]bool{"panoramic": true} // a picture of its own
	out := make([]string, len(sites))
	for i, s := range sites {
		name := fileName(s.ID)
		for n := 2; taken[name]; n++ {
			name = fmt.Sprintf("%s-%d", fileName(s.ID), n)
		}
		taken[name] = true
		out[i] = name
	}
	return out
}

func fileName(id string) string {
	b := []byte(id)
	for i, c := range b {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !letter && c != '-' && (c != '.' || i == 0) {
			b[i] = '_'
		}
	}
	if len(b) == 0 {
		return "site"
	}
	return string(b[:min(len(b), 60)])
}
