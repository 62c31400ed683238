package main

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/desk"
	"ridgerule/measure/practice"
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
	data, err := readFile(file)
	if err != nil {
		return err
	}
	list, err := practice.ReadReadings(bytes.NewReader(data))
	if err != nil {
		return usageError{err}
	}
	p.Session = practice.NewSession("reader", sheets)
	if _, err := p.Session.Take(list, time.Time{}, false); err != nil {
		return usageError{err}
	}
	p.Keep = func(s *practice.Session) error {
		var b bytes.Buffer
		if err := practice.WriteReadings(&b, filled(s)); err != nil {
			return err
		}
		return writeFile(file, b.Bytes())
	}
	p.Load = func(ctx context.Context, item string) (*volume.Volume, error) {
		s, err := a.open(ctx, filepath.Join(k.practice, "scans", item), "")
		if err != nil {
			return nil, err
		}
		defer s.door.Close()
		return s.Read(ctx, nil)
	}
	d, err := desk.OpenPractice(p, desk.Options{Port: k.port, Now: a.now})
	if err != nil {
		return err
	}
	return a.serveDesk(ctx, d, k)
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
		return nil, err
	}
	sheets, err := practice.ReadItems(bytes.NewReader(data))
	if err != nil {
		return nil, usageError{err}
	}
	return sheets, nil
}

// filled are the answers of a session, and empty rows for what is still to be read, in the set's order.
func filled(s *practice.Session) []practice.Reading {
	given := map[string]practice.Reading{}
	for _, r := range s.Readings() {
		given[r.Item] = r
	}
	var out []practice.Reading
	for _, it := range s.Items {
		r, ok := given[it.Sheet.Item]
		if !ok {
			r = practice.Reading{Item: it.Sheet.Item, Question: it.Sheet.Question}
		}
		out = append(out, r)
	}
	return out
}
