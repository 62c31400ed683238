package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"ridgerule/measure/practice"
)

// A sitting's folder: answers.csv, which the reader fills; key/session.json, which goes on where it was; and readings.csv when
// all is answered.

// resumeSitting takes what is new in the answers of a sitting that has begun.
func (a *app) resumeSitting(f readFlags, sum string) error {
	s, release, err := a.holdSitting(f.dir)
	if err != nil {
		return err
	}
	defer release()
	switch {
	case s.Reader != f.reader:
		return usagef("the sitting in %s is reader %s's; give --reader %s, or another folder", f.dir, s.Reader, s.Reader)
	case s.List != sum:
		return usagef("the list has changed since the sitting in %s began; take the list that it began with, or another folder", f.dir)
	case len(f.given) > 0:
		return usagef("%s: the sitting in %s has begun; what is asked, and in which order, stays", f.given[0], f.dir)
	}
	answers := filepath.Join(f.dir, answersFile)
	fresh, err := a.takeForm(answers, s, a.now(), f.correct)
	if err != nil {
		return err
	}
	s.Show(a.now())
	if err := fillForm(answers, s.Readings()); err != nil {
		return err
	}
	if err := keepSitting(f.dir, s); err != nil {
		return err
	}
	return a.saySitting(f, s, fresh)
}

// holdSitting opens a sitting for this process alone, until it is released.
func (a *app) holdSitting(dir string) (s *practice.Session, release func(), err error) {
	if _, err := openSession(dir); err != nil {
		return nil, nil, err
	}
	if release, err = a.hold(filepath.Join(dir, answersFile)); err != nil {
		return nil, nil, err
	}
	if s, err = openSession(dir); err != nil { // as it stands now that nobody else writes it
		release()
	}
	return s, release, err
}

// keepSitting writes a session into its folder, and the table of the readings when all is answered.
func keepSitting(dir string, s *practice.Session) error {
	if err := writeFilled(filepath.Join(dir, filepath.FromSlash(sessionFile)), s.Write); err != nil {
		return err
	}
	if s.Next() != nil {
		return nil
	}
	return writeFilled(filepath.Join(dir, "readings.csv"), s.WriteTable)
}

func writeFilled(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	return writeFile(path, b.Bytes())
}

func openSession(dir string) (*practice.Session, error) {
	path := filepath.Join(dir, filepath.FromSlash(sessionFile))
	if _, err := os.Stat(path); err != nil {
		return nil, usagef("%s holds no sitting: it has no %s; ridgerule read LIST --reader CODE -o DIR makes one", dir, sessionFile)
	}
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	s, err := practice.ReadSession(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

// saySitting says how far a sitting is, and what comes next.
func (a *app) saySitting(f readFlags, s *practice.Session, fresh int) error {
	next := s.Next()
	if a.json {
		said := map[string]any{"folder": f.dir, "reader": s.Reader, "items": len(s.Items), "answered": len(s.Answers), "new": fresh}
		if next != nil {
			said["next"] = next.Sheet.Item
		}
		return a.printJSON(said)
	}
	line := fmt.Sprintf("%d of %d answered", len(s.Answers), len(s.Items))
	if fresh > 0 {
		line += fmt.Sprintf(", %d of them new", fresh)
	}
	if next == nil {
		_, err := fmt.Fprintf(a.stdout, "%s\nreadings: %s\n", line, filepath.Join(f.dir, "readings.csv"))
		return err
	}
	at := slices.IndexFunc(s.Items, func(it practice.Item) bool { return it.Sheet.Item == next.Sheet.Item })
	_, err := fmt.Fprintf(a.stdout, "%s; next is item %d, %s, in %s\nanswer in %s, or on the screen: ridgerule desk --read %s\n", line, at+1, next.Sheet.Item,
		filepath.Join(f.dir, "worksheet.html"), filepath.Join(f.dir, answersFile), f.dir)
	return err
}
