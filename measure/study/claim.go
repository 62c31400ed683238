package study

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ridgerule/dicomio/temporary"
)

// claim is an entry's growing folder, locked, so that two runs of one entry are kept apart. Where the file system knows no
// locks they are not; each still leaves a whole folder or none.
type claim struct {
	*temporary.Place
	final, gone string // gone: where an outdated folder stands while it is replaced
}

// patience is how long a claim waits for the rest of a run that was killed a moment ago to end.
const patience = 2 * time.Second

// claim takes the entry's growing folder, emptied of what a killed run left, or returns [temporary.ErrBusy].
func (d dir) claim(name string) (*claim, error) {
	for start := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		p, err := temporary.Claim(d.part(name))
		if err == nil {
			c := &claim{p, d.whole(name), d.at("cases", "."+name+".gone")}
			return c, c.empty()
		}
		if !errors.Is(err, temporary.ErrBusy) || time.Since(start) > patience {
			return nil, err
		}
	}
}

// empty removes what a killed run left.
func (c *claim) empty() error {
	names, err := os.ReadDir(c.Path)
	err = errors.Join(err, os.RemoveAll(c.gone))
	for _, n := range names {
		err = errors.Join(err, os.RemoveAll(filepath.Join(c.Path, n.Name())))
	}
	if err != nil {
		c.Remove()
	}
	return err
}

// commit moves the folder to its place. What stands there, made from other inputs, leaves it by one
// rename too: a kill between the two loses an entry that was to be replaced, and leaves no part.
func (c *claim) commit() error {
	for _, sub := range c.folders() {
		_ = temporary.SyncFolder(sub)
	}
	err := c.Commit(func() error {
		if err := os.Rename(c.final, c.gone); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if err := os.Rename(c.Path, c.final); err != nil {
			return errors.Join(err, os.Rename(c.gone, c.final))
		}
		return nil
	})
	_ = os.RemoveAll(c.gone) // the next run takes it away
	_ = temporary.SyncFolder(filepath.Dir(c.final))
	return err
}

func (c *claim) folders() []string {
	var all []string
	_ = filepath.WalkDir(c.Path, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			all = append(all, path)
		}
		return nil
	})
	slices.Reverse(all) // inner ones first
	return all
}

// sweep removes growing folders that no run holds and no entry of the manifest will claim.
func (d dir) sweep(entries []Entry) {
	mine := map[string]bool{}
	for _, e := range entries {
		mine["."+e.Name()+".part"] = true
	}
	temporary.Sweep(d.at("cases"), func(name string) bool {
		return strings.HasPrefix(name, ".") && strings.HasSuffix(name, ".part") && !mine[name]
	})
}
