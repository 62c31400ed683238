package study

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// claim is an entry's growing folder, locked. The lock is the kernel's and on the folder itself: it
// ends with the processes that hold it, however they end, and leaves nothing to clean up. Where the
// file system knows no locks, two runs of one entry are not kept apart; each still leaves a whole
// folder or none.
type claim struct {
	temp, final, gone string   // gone: where an outdated folder stands while it is replaced
	lock              *os.File // the growing folder
}

// errBusy: another process measures this entry now.
var errBusy = errors.New("study: being measured by another process")

// patience is how long a claim waits for the rest of a run that was killed a moment ago to end.
const patience = 2 * time.Second

// claim takes the entry's growing folder, emptied of what a killed run left, or returns errBusy.
func (d dir) claim(name string) (*claim, error) {
	c := &claim{temp: d.part(name), final: d.whole(name), gone: d.at("cases", "."+name+".gone")}
	for start := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		err := c.take()
		if err == nil {
			return c, c.empty()
		}
		if !errors.Is(err, errBusy) || time.Since(start) > patience {
			return nil, err
		}
	}
}

// take makes or opens the folder and locks it.
func (c *claim) take() error {
	if err := os.Mkdir(c.temp, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	f, err := os.Open(c.temp)
	if errors.Is(err, fs.ErrNotExist) {
		return errBusy // committed by another process between the two lines above
	}
	if err != nil {
		return err
	}
	if held, _ := lock(f); !held {
		f.Close()
		return errBusy
	}
	mine, err1 := f.Stat()
	there, err2 := os.Lstat(c.temp)
	if err1 != nil || err2 != nil || !os.SameFile(mine, there) {
		f.Close()
		return errBusy // moved to its place before it was locked here
	}
	c.lock = f
	return nil
}

// empty removes what a killed run left.
func (c *claim) empty() error {
	names, err := os.ReadDir(c.temp)
	err = errors.Join(err, os.RemoveAll(c.gone))
	for _, n := range names {
		err = errors.Join(err, os.RemoveAll(filepath.Join(c.temp, n.Name())))
	}
	if err != nil {
		c.lock.Close()
	}
	return err
}

// commit moves the folder to its place. What stands there, made from other inputs, leaves it by one
// rename too: a kill between the two loses an entry that was to be replaced, and leaves no part.
func (c *claim) commit() error {
	for _, sub := range c.folders() {
		syncDir(sub)
	}
	if err := os.Rename(c.final, c.gone); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Rename(c.temp, c.final); err != nil {
		return errors.Join(err, os.Rename(c.gone, c.final))
	}
	os.RemoveAll(c.gone)
	syncDir(filepath.Dir(c.final))
	err := c.lock.Close()
	c.lock = nil
	return err
}

func (c *claim) folders() []string {
	var all []string
	_ = filepath.WalkDir(c.temp, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			all = append(all, path)
		}
		return nil
	})
	slices.Reverse(all) // inner ones first
	return all
}

// abandon removes the growing folder. After commit it does nothing.
func (c *claim) abandon() {
	if c.lock != nil {
		os.RemoveAll(c.temp)
		c.lock.Close()
		c.lock = nil
	}
}

// sweep removes growing folders that no run holds and no entry of the manifest will claim.
func (d dir) sweep(entries []Entry) {
	mine := map[string]bool{}
	for _, e := range entries {
		mine["."+e.Name()+".part"] = true
	}
	names, _ := os.ReadDir(d.at("cases"))
	for _, n := range names {
		name, hidden := strings.CutPrefix(n.Name(), ".")
		name, part := strings.CutSuffix(name, ".part")
		if !hidden || !part || mine[n.Name()] {
			continue
		}
		c := &claim{temp: d.part(name)}
		f, err := os.Open(c.temp)
		if err != nil {
			continue
		}
		if held, sure := lock(f); held && sure {
			os.RemoveAll(c.temp)
		}
		f.Close()
	}
}
