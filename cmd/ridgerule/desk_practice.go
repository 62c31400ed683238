package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"ridgerule/dicomio/temporary"
	"ridgerule/measure/desk"
	"ridgerule/measure/practice"
	"ridgerule/measure/report"
)

// openPractice opens a set of sections on the page. With its key the truth of each is shown once it is answered, or at the end;
// without, nothing is. Answers go into the set's readings.csv, and a sitting that was broken off goes on from there.
func (a *app) openPractice(ctx context.Context, k deskFlags) error {
	p := desk.Practice{Test: k.test, Rules: practice.Usual()}
	sheets, err := a.practiceSheets(k.practice, &p)
	if err != nil {
		return err
	}
	file := filepath.Join(k.practice, "readings.csv")
	if _, err := readFile(file); err != nil {
		return err
	}
	release, err := a.hold(file)
	if err != nil {
		return err
	}
	defer release()
	p.Session = practice.NewSession("reader", sheets)
	if _, err := a.takeForm(file, p.Session, time.Time{}, false); err != nil {
		return err
	}
	p.Keep = func(s *practice.Session) error { return fillForm(file, s.Readings()) }
	p.Picture = func(_ context.Context, sheet practice.Sheet) (report.Picture, error) {
		return keptPicture(k.practice, sheet.Item)
	}
	return a.servePractice(ctx, p, k)
}

// openReading opens a sitting of a study, which read made, on the page.
func (a *app) openReading(ctx context.Context, k deskFlags) error {
	answers := filepath.Join(k.read, answersFile)
	s, release, err := a.holdSitting(k.read)
	if err != nil {
		return err
	}
	defer release()
	s.Resume() // what is new in the answers was read nobody knows when
	if _, err := a.takeForm(answers, s, a.now(), false); err != nil {
		return err
	}
	p := desk.Practice{Session: s, Study: true, Picture: func(_ context.Context, sheet practice.Sheet) (report.Picture, error) {
		return keptPicture(filepath.Join(k.read, "key"), sheet.Item)
	}}
	p.Keep = func(s *practice.Session) error {
		if err := fillForm(answers, s.Readings()); err != nil { // first: what is in it and not in the session is taken the next time
			return err
		}
		return keepSitting(k.read, s)
	}
	if err := p.Keep(s); err != nil {
		return err
	}
	return a.servePractice(ctx, p, k)
}

// servePractice opens the page, once every picture is there: a sitting does not break off in its middle.
func (a *app) servePractice(ctx context.Context, p desk.Practice, k deskFlags) error {
	for _, it := range p.Session.Items {
		if _, err := p.Picture(ctx, it.Sheet); err != nil {
			return err
		}
	}
	d, err := desk.OpenPractice(p, desk.Options{Port: k.port, Now: a.now})
	if err != nil {
		return err
	}
	return a.serveDesk(ctx, d, k)
}

// hold takes a file that a sitting writes for this process, until it is released.
func (a *app) hold(file string) (release func(), err error) {
	held, by, err := temporary.Hold(file, a.now())
	switch {
	case err != nil:
		return nil, usagef("%s cannot be held for writing: %w", file, reason(err))
	case by != "":
		return nil, usagef("%s is held by %s: the sitting is open already; go on there, or end that first", file, by)
	}
	return func() { _ = held.Release() }, nil
}

// takeForm gives what is new in a reader's file to a session, and returns how many answers that is.
func (a *app) takeForm(file string, s *practice.Session, now time.Time, correct bool) (fresh int, err error) {
	data, err := readFile(file)
	if err != nil {
		return 0, err
	}
	list, err := practice.ReadReadings(bytes.NewReader(data))
	if err == nil {
		fresh, err = s.Take(list, now, correct)
	}
	if err != nil {
		return 0, a.sayLines(file, err)
	}
	return fresh, nil
}

// fillForm writes answers into a reader's file where it lacks them.
func fillForm(file string, answers []practice.Reading) error {
	data, err := readFile(file)
	if err != nil {
		return err
	}
	full, err := practice.Fill(data, answers)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if bytes.Equal(full, data) {
		return nil
	}
	return writeFile(file, full)
}

// keptPicture reads the picture of an item from a set, a sitting's key or a set's.
func keptPicture(dir, item string) (report.Picture, error) {
	path := filepath.Join(dir, "pictures", item+".png")
	file, err := os.Open(path)
	if err != nil {
		return report.Picture{}, usagef("picture of %s: %s: %w; take the whole folder as it was made", item, path, reason(err))
	}
	defer file.Close()
	p, err := report.ReadPicture(file)
	if err != nil {
		return p, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

// practiceSheets reads what a set asks, and its key where it is there.
func (a *app) practiceSheets(dir string, p *desk.Practice) ([]practice.Sheet, error) {
	key := filepath.Join(dir, "key")
	if _, err := os.Stat(key); !errors.Is(err, fs.ErrNotExist) {
		keys, err := openKeys([]string{key})
		if err != nil {
			return nil, err
		}
		p.Key = keys[0]
	}
	data, err := readFile(filepath.Join(dir, "items.csv"))
	if err != nil {
		return nil, usagef("%s is no set of practice make: %w", dir, err)
	}
	sheets, err := practice.ReadItems(bytes.NewReader(data))
	if err != nil {
		return nil, usageError{err}
	}
	return sheets, nil
}
