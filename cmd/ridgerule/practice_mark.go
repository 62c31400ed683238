package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ridgerule/measure/practice"
	"ridgerule/measure/report"
	"ridgerule/measure/study"
)

// markFlags are the flags of practice mark.
type markFlags struct {
	out    outFlags
	keys   []string
	reader string
	each   bool
	rules  ruleFlags
}

func (a *app) practiceMark() *cobra.Command {
	var m markFlags
	c := &cobra.Command{
		Use:   "mark READINGS... --key KEY -o DIR",
		Short: "Mark readings against the truth of their set",
		Long: `Hold the readings of one reader against the truth: the signed error of each, what of it is the reader's own line
and what the edges, and the mark. READINGS are one file a sitting; several are pooled. The folder DIR gets marks.csv
and report.html, with each section, the reader's line and the true one. With --each every file is a reader of its own,
called like the file, and DIR gets marks.csv alone, for practice class.`,
		Example: `  ridgerule practice mark week1/readings.csv --key week1/key --reader r07 -o marks/r07
  ridgerule practice mark readings/*.csv --each --key week1/key -o marks`,
		Args: someArgs("READINGS"),
	}
	fl := c.Flags()
	m.out.add(fl)
	fl.StringArrayVar(&m.keys, "key", nil, "the folder `KEY` of the set (may be repeated, for readings of several sets)")
	fl.StringVar(&m.reader, "reader", "", "a `CODE` for the reader, never a name; one that follows from the readings when not given")
	fl.BoolVar(&m.each, "each", false, "each file is a reader of its own, and its name the reader's code")
	m.rules.add(fl)
	c.RunE = func(c *cobra.Command, args []string) error { return a.markPractice(args, m) }
	return c
}

func (a *app) markPractice(args []string, m markFlags) error {
	if len(m.keys) == 0 {
		return usagef("which truth? say --key KEY, the folder key/ that practice make left")
	}
	if m.reader != "" && !readerCode.MatchString(m.reader) {
		return badCode("--reader", m.reader)
	}
	f, err := newFolder(m.out.dir, m.out.replace, append(slices.Clone(args), m.keys...)...)
	if err != nil {
		return err
	}
	defer f.abandon()
	keys, err := openKeys(m.keys)
	if err != nil {
		return err
	}
	if m.each {
		return a.markEach(args, keys, m, f)
	}
	marks, err := a.markFiles(args, keys, m)
	if err != nil {
		return err
	}
	summary, err := practice.Summarise(marks)
	if err != nil {
		return err
	}
	items, err := markedItems(m.keys, keys, marks)
	if err != nil {
		return err
	}
	if err := f.write("marks.csv", marks.WriteCSV); err != nil {
		return err
	}
	if err := f.write("report.html", func(w io.Writer) error { return report.MarksPage(w, summary, items) }); err != nil {
		return err
	}
	if err := a.settle(f, m.out.dir); err != nil {
		return err
	}
	if a.json {
		return a.list(m.out.dir, []string{"marks.csv", "report.html"})
	}
	return a.markSummary(summary, m.out.dir)
}

// markEach marks every file as a reader of its own into one table.
func (a *app) markEach(args []string, keys []*practice.Key, m markFlags, f *folder) error {
	if m.reader != "" {
		return usagef("--reader names one reader; with --each the files are the readers")
	}
	var all []*practice.Marks
	seen := map[string]string{}
	for _, path := range args {
		m.reader = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
		if !readerCode.MatchString(m.reader) {
			return badCode(path+": the file's name is the reader's code, and", m.reader)
		}
		if before, twice := seen[m.reader]; twice {
			return usagef("%s and %s are both reader %s; mark several sittings of one reader without --each, or rename a file", before, path, m.reader)
		}
		seen[m.reader] = path
		marks, err := a.markFiles([]string{path}, keys, m)
		if err != nil {
			return err
		}
		all = append(all, marks)
	}
	if err := f.write("marks.csv", func(w io.Writer) error { return practice.WriteMarks(w, all) }); err != nil {
		return err
	}
	if err := a.settle(f, m.out.dir); err != nil {
		return err
	}
	a.say("%d readers marked", len(all))
	return a.list(m.out.dir, []string{"marks.csv"})
}

// markFiles reads the sittings and marks them. What is wrong with a file is printed a fault a line.
func (a *app) markFiles(args []string, keys []*practice.Key, m markFlags) (*practice.Marks, error) {
	var sittings [][]practice.Reading
	code := m.reader
	for _, path := range args {
		data, err := readFile(path)
		if err != nil {
			return nil, err
		}
		list, err := practice.ReadReadings(bytes.NewReader(data))
		if err != nil {
			return nil, a.sayLines(path, err)
		}
		if code == "" {
			code = practice.CodeOf(data)
		}
		sittings = append(sittings, list)
	}
	marks, err := practice.MarkReadings(keys, sittings, code, m.rules.Rules)
	var row *practice.RowError
	if errors.As(err, &row) {
		return nil, usagef("%s: row %d: %s", args[row.Sitting-1], row.Row, row.Reason)
	}
	return marks, err
}

// sayLines prints every fault of a file that its user filled, one a line.
func (a *app) sayLines(path string, err error) error {
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintf(a.stderr, "%s: %s\n", path, strings.TrimPrefix(strings.TrimSpace(line), "practice: session: "))
	}
	return errSaid{usageError{err}}
}

// openKeys reads the keys, each held against its checksums.
func openKeys(dirs []string) ([]*practice.Key, error) {
	var keys []*practice.Key
	for _, dir := range dirs {
		if err := checkKey(dir); err != nil {
			return nil, err
		}
		file, err := os.Open(filepath.Join(dir, "key.json"))
		if err != nil {
			return nil, usagef("%s: %w", dir, reason(err))
		}
		key, err := practice.ReadKey(file)
		file.Close()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", filepath.Join(dir, "key.json"), err)
		}
		keys = append(keys, key)
	}
	return keys, nil
}

// checkKey holds the files of a key against its checksums. What lies outside the key is not looked for: it may
// have been given away.
func checkKey(dir string) error {
	data, err := os.ReadFile(filepath.Join(dir, checksums))
	if err != nil {
		return usagef("%s is no key: %s cannot be read: %w; name the folder key/ that practice make left", dir, checksums, reason(err))
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return fmt.Errorf("%w: %s: %v", practice.ErrKey, filepath.Join(dir, checksums), err)
	}
	listed := false
	for _, row := range rows[min(1, len(rows)):] {
		name, inside := strings.CutPrefix(row[0], "key/")
		if !inside || !filepath.IsLocal(name) {
			continue
		}
		listed = listed || name == "key.json"
		if sum, err := study.FileHash(filepath.Join(dir, filepath.FromSlash(name))); err != nil || len(row) < 2 || sum != row[1] {
			return fmt.Errorf("%w: %s is not as it was made; take the key that belongs to the set", practice.ErrKey, filepath.Join(dir, name))
		}
	}
	if !listed {
		return fmt.Errorf("%w: %s lists no key.json", practice.ErrKey, filepath.Join(dir, checksums))
	}
	return nil
}

// markedItems reads the pictures of the items that were read.
func markedItems(dirs []string, keys []*practice.Key, marks *practice.Marks) (map[string]report.MarkedItem, error) {
	out := map[string]report.MarkedItem{}
	for _, k := range marks.List {
		if _, there := out[k.Item]; there {
			continue
		}
		for i, key := range keys {
			sheet, line, ok := key.Find(k.Item)
			if !ok {
				continue
			}
			p, err := keptPicture(dirs[i], k.Item)
			if err != nil {
				return nil, err
			}
			out[k.Item] = report.MarkedItem{PracticeItem: report.PracticeItem{Sheet: sheet, Picture: p}, True: line}
		}
	}
	return out, nil
}

// markSummary prints what the marks say.
func (a *app) markSummary(s *practice.Summary, dir string) error {
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "item\tquestion\tyours\ttrue\terror\tmark")
	for _, k := range s.Marks {
		if k.Value == nil {
			fmt.Fprintf(w, "%s\t%s\t–\t%.1f\t–\tnot answered\n", k.Item, k.Question, k.Truth)
			continue
		}
		mark := string(k.Verdict)
		if k.Unsafe {
			mark += ", unsafe side"
		}
		fmt.Fprintf(w, "%s\t%s\t%.1f\t%.1f\t%+.1f\t%s\n", k.Item, k.Question, *k.Value, k.Truth, k.Error, mark)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, k := range s.Kinds {
		fmt.Fprintln(a.stdout, k.Words)
	}
	_, err := fmt.Fprintln(a.stdout, "report: "+filepath.Join(dir, "report.html"))
	return err
}
