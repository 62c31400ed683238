package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/study"
)

// practicePixel is the pixel of a practice section's picture, mm: a third of the scan's voxel.
const practicePixel = 0.1

// makeFlags are the flags of practice make.
type makeFlags struct {
	out              outFlags
	set              practice.Options
	level, jaw, salt string
	paper            string
	seeded, noScans  bool
}

func (a *app) practiceMake() *cobra.Command {
	var m makeFlags
	c := &cobra.Command{
		Use:   "make -o DIR",
		Short: "Make a set of sections to measure, with the truth sealed apart",
		Long: `Make a set of synthetic sections in the folder DIR: worksheet.html and worksheet.pdf with a bare section and a
question an item, readings.csv to fill, items.csv with each section's place, the scans, the sections' pictures for
desk --practice, and key/ with the truth. With --no-scans a large set is made several times faster: worksheet, page and
marks do without them, and all else is the same. Keep key/ apart from whoever practises. Its files have checksums; it is not encrypted. The seed stands only
there: whoever has seed and salt can make the set again, truth included, so a seed that is known is an open key.`,
		Example: `  ridgerule practice make -o week1 --items 20
  ridgerule practice mark week1/readings.csv --key week1/key -o marks`,
		Args: noArgs,
	}
	fl := c.Flags()
	m.out.add(fl)
	fl.IntVar(&m.set.Items, "items", 20, "how many items, 1 to 500")
	fl.Uint64Var(&m.set.Seed, "seed", 0, "of the sites; random when not given, and written in key/ only")
	fl.StringVar(&m.salt, "salt", "", "of names and noise, 32 hexadecimal `DIGITS`; random when not given, and written in key/ only")
	fl.StringVar(&m.level, "level", "mixed", "`easy|mixed|hard`")
	fl.StringVar(&m.jaw, "jaw", "", "`mandible` or maxilla; both when not given")
	fl.Float64Var(&m.set.Repeats, "hidden-repeats", 0.25, "share of the items that repeat another one unseen, 0 to 0.5")
	fl.StringVar(&m.paper, "paper", "a4", "of worksheet.pdf, `a4|letter`")
	fl.BoolVar(&m.noScans, "no-scans", false, "leave out the scans: several times faster, and all else the same")
	c.RunE = func(c *cobra.Command, _ []string) error {
		m.seeded = fl.Changed("seed")
		if err := m.read(); err != nil {
			return err
		}
		return a.makePractice(c.Context(), m)
	}
	return c
}

// read turns the flags into the options of a set.
func (m *makeFlags) read() error {
	m.set.Level = practice.Level(m.level)
	switch m.jaw {
	case "":
	case "mandible":
		m.set.Jaws = []phantom.Kind{phantom.Mandible}
	case "maxilla":
		m.set.Jaws = []phantom.Kind{phantom.Maxilla}
	default:
		return usagef("--jaw %q is neither mandible nor maxilla", m.jaw)
	}
	if m.set.Items == 0 { // which the library takes for its default
		return usagef("--items 0: a set has 1 to 500")
	}
	if _, err := paperNamed(m.paper); err != nil {
		return err
	}
	salt, seed, err := chance()
	if err != nil {
		return err
	}
	m.set.Salt = salt
	if !m.seeded {
		m.set.Seed = seed
	}
	if m.salt != "" {
		salt, err := hex.DecodeString(m.salt)
		if err != nil || len(salt) != 16 {
			return usagef("--salt has 32 hexadecimal digits; leave it out for a random one")
		}
		m.set.Salt = salt
	}
	return nil
}

// chance draws a salt and a seed.
func chance() (salt []byte, seed uint64, err error) {
	all := make([]byte, 24)
	_, err = rand.Read(all)
	return all[:16], binary.LittleEndian.Uint64(all[16:]), err
}

func paperNamed(name string) (report.Paper, error) {
	switch strings.ToLower(name) {
	case "a4":
		return report.A4, nil
	case "letter":
		return report.Letter, nil
	}
	return "", usagef("--paper %q is neither a4 nor letter", name)
}

func (a *app) makePractice(ctx context.Context, m makeFlags) error {
	f, err := newFolder(m.out.dir, m.out.replace)
	if err != nil {
		return err
	}
	defer f.abandon()
	set, err := practice.Draw(m.set)
	if err != nil {
		return err
	}
	items, err := a.practicePictures(ctx, f, set, !m.noScans)
	if err != nil {
		return err
	}
	paper, err := paperNamed(m.paper)
	if err != nil {
		return err
	}
	if err := a.practicePapers(f, set, items, paper); err != nil {
		return err
	}
	if err := sealKey(f, set.Key); err != nil {
		return err
	}
	if err := f.sameAge(a.now()); err != nil {
		return err
	}
	if err := a.settle(f, m.out.dir); err != nil {
		return err
	}
	a.say("keep %s from whoever practises: it holds the truth", filepath.Join(m.out.dir, "key"))
	made := []string{"worksheet.html", "worksheet.pdf", "readings.csv", "items.csv", "pictures", "scans", "key"}
	return a.list(m.out.dir, slices.DeleteFunc(made, func(name string) bool { return m.noScans && name == "scans" }))
}

// practicePictures writes the picture of each item's section, to be given away and into the key, and where scans are wanted the
// item's scan.
func (a *app) practicePictures(ctx context.Context, f *folder, set *practice.Set, scans bool) ([]report.PracticeItem, error) {
	step, end := a.progress("making the sections")
	defer end()
	var items []report.PracticeItem
	for i := range set.Key.Items {
		it := &set.Key.Items[i]
		draw := it.Section
		if scans {
			draw = it.Scan
		}
		v, err := draw(ctx, func(done float64) { step(i*1000+int(1000*done), 1000*len(set.Key.Items)) })
		if err != nil {
			return nil, err
		}
		if scans {
			if err := writePracticeScan(f, it, v); err != nil {
				return nil, err
			}
		}
		p := sheetPicture(v, it.Sheet)
		for _, dir := range []string{"", "key/"} {
			if err := f.write(dir+"pictures/"+it.Sheet.Item+".png", func(w io.Writer) error { return report.KeepPicture(w, p) }); err != nil {
				return nil, err
			}
		}
		items = append(items, report.PracticeItem{Sheet: it.Sheet, Picture: p})
	}
	return items, nil
}

func writePracticeScan(f *folder, it *practice.Sealed, v *volume.Volume) error {
	if err := os.MkdirAll(f.path("scans"), 0o700); err != nil {
		return err
	}
	if err := dicomio.WriteCT(f.path("scans/"+it.Sheet.Item), v, dicomio.WriteOptions{Seed: it.Series}); err != nil {
		return err
	}
	return private(f.path("scans/" + it.Sheet.Item))
}

// sheetPicture is the bare section of a sheet.
func sheetPicture(v *volume.Volume, s practice.Sheet) report.Picture {
	half := practicePixel / 2
	section := reformat.Resample(v, s.Frame, reformat.UV{U: half, V: half}, reformat.UV{U: s.Width - half, V: s.Height - half}, practicePixel)
	return report.PictureOf(section).AsKept()
}

// practicePapers writes what is given to the reader.
func (a *app) practicePapers(f *folder, set *practice.Set, items []report.PracticeItem, paper report.Paper) error {
	made, err := report.Date(a.getenv, a.now)
	if err != nil {
		return usageError{err}
	}
	for _, file := range []struct {
		name string
		fill func(io.Writer) error
	}{
		{"worksheet.html", func(w io.Writer) error { return report.Worksheet(w, items) }},
		{"worksheet.pdf", func(w io.Writer) error { return report.WorksheetPDF(w, items, paper, made) }},
		{"readings.csv", func(w io.Writer) error { return practice.WriteForm(w, set.Sheets) }},
		{"items.csv", func(w io.Writer) error { return practice.WriteItems(w, set.Sheets) }},
	} {
		if err := f.write(file.name, file.fill); err != nil {
			return err
		}
	}
	return nil
}

// sameAge makes all that is in a folder as old as each other, to the second: no time tells what was made first or took long.
func (f *folder) sameAge(now time.Time) error {
	now = now.Truncate(time.Second)
	root, err := os.OpenRoot(f.temp)
	if err != nil {
		return err
	}
	defer root.Close()
	return fs.WalkDir(root.FS(), ".", func(name string, _ fs.DirEntry, err error) error {
		if err != nil || name == "." {
			return err
		}
		return root.Chtimes(name, now, now)
	})
}

const checksums = "checksums.csv"

// sealKey writes the key, the truth as a table, and a checksum of every file of the set.
func sealKey(f *folder, key *practice.Key) error {
	if err := f.write("key/key.json", key.Write); err != nil {
		return err
	}
	if err := f.write("key/truth.csv", key.WriteTruth); err != nil {
		return err
	}
	table := bytes.NewBufferString("file,sha256\n")
	err := filepath.WalkDir(f.temp, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		sum, err := study.FileHash(path)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(f.temp, path)
		if err == nil && !strings.HasPrefix(filepath.Base(name), ".") && filepath.Base(name) != "readings.csv" { // which is to be filled
			fmt.Fprintf(table, "%s,%s\n", filepath.ToSlash(name), sum)
		}
		return err
	})
	if err != nil {
		return err
	}
	return f.write("key/"+checksums, give(table.Bytes()))
}
