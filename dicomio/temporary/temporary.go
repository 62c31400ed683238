// Package temporary keeps what is being made apart from what is made. Files and folders grow hidden, each under a lock, and
// move to their place whole; nothing but paths flows in and out.
//
// The lock is the kernel's and on the folder or file itself: it ends with the processes that hold it, however they end. So
// what a killed process left is told from what another makes at this moment, and the next process in the same folder
// removes it. Where the file system knows no locks it stays. [Hold] keeps a file that stands for one process by the same means.
package temporary

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
)

// prefix begins the names of what grows; the next process knows by it what may be removed.
const prefix = ".ridgerule-part-"

// ErrBusy says that another process holds the place.
var ErrBusy = errors.New("temporary: held by another process")

// Lock takes an open file for this process until it closes it, however it ends. sure is false where the file system knows
// no locks, and held then means nothing.
func Lock(f *os.File) (held, sure bool) { return lock(f) }

// Place is a folder or file that grows, of this process alone until [Place.Commit] or [Place.Remove].
type Place struct {
	Path string
	Lock *os.File // the folder or file, open; processes that inherit it hold the place too. nil once given up

	parents []string // made for it, innermost first
}

// live are the places of this process. ended: they were removed, and none is to be had any more.
var live struct {
	sync.Mutex
	places map[*Place]bool
	ended  bool
}

// Folder makes a hidden folder in parent, readable to its owner only, after removing what killed processes left there.
// Folders that are missing on the way to parent are made, and go again with the place.
func Folder(parent string) (*Place, error) {
	parents, err := makeParents(parent)
	if err != nil {
		removeEmpty(parents)
		return nil, err
	}
	p, err := grow(parent, func() (string, error) { return os.MkdirTemp(parent, prefix) })
	if err != nil {
		removeEmpty(parents)
		return nil, err
	}
	p.parents = parents
	return p, nil
}

// makeParents makes dir and the folders on the way to it, and returns those that were missing, innermost first.
func makeParents(dir string) (made []string, err error) {
	for at := dir; ; at = filepath.Dir(at) {
		if _, err := os.Stat(at); err == nil || at == filepath.Dir(at) {
			break
		}
		made = append(made, at)
	}
	return made, os.MkdirAll(dir, 0o700)
}

func removeEmpty(dirs []string) {
	for _, dir := range dirs {
		_ = os.Remove(dir) // fails when something stands in it
	}
}

// File makes a hidden file in parent, readable to its owner only, after removing what killed processes left there.
func File(parent string) (*Place, error) {
	return grow(parent, func() (string, error) {
		f, err := os.CreateTemp(parent, prefix)
		if err != nil {
			return "", err
		}
		return f.Name(), f.Close()
	})
}

// grow makes a place in parent under a name of its own. Another process may sweep it away before it is locked; then it is made again.
func grow(parent string, make func() (string, error)) (*Place, error) {
	Sweep(parent, func(name string) bool { return strings.HasPrefix(name, prefix) })
	for range 10 {
		path, err := make()
		if err != nil {
			return nil, err
		}
		if p, err := hold(path); !errors.Is(err, ErrBusy) {
			return p, err
		}
	}
	return nil, ErrBusy
}

// Claim makes the folder path or takes it over from a process that is gone, with what that left in it.
//
// It returns [ErrBusy] when another process holds it or has just moved it to its place.
func Claim(path string) (*Place, error) {
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	return hold(path)
}

// hold opens and locks what stands at path.
func hold(path string) (*Place, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		f, err = os.Open(path) // a folder is open for reading only
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrBusy
	}
	if err != nil {
		return nil, err
	}
	held, _ := lock(f)
	mine, err1 := f.Stat()
	there, err2 := os.Lstat(path)
	if !held || err1 != nil || err2 != nil || !os.SameFile(mine, there) { // moved to its place, or swept, before it was locked
		f.Close()
		return nil, ErrBusy
	}
	p := &Place{Path: path, Lock: f}
	live.Lock()
	defer live.Unlock()
	if live.ended {
		p.discard()
		return nil, context.Canceled
	}
	if live.places == nil {
		live.places = map[*Place]bool{}
	}
	live.places[p] = true
	return p, nil
}

// Commit gives the place up after move has moved it to where it belongs; move is not interrupted by [RemoveAll], and not
// begun after it: then the error is [context.Canceled]. When move fails the place is kept.
func (p *Place) Commit(move func() error) error {
	live.Lock()
	defer live.Unlock()
	if live.ended {
		return context.Canceled
	}
	if err := move(); err != nil {
		return err
	}
	delete(live.places, p)
	return p.release()
}

// Make runs a step that makes a file or folder, not at the same time as [RemoveAll] and not after it: then the error is
// [context.Canceled], and nothing removed comes again.
func Make(step func() error) error {
	live.Lock()
	defer live.Unlock()
	if live.ended {
		return context.Canceled
	}
	return step()
}

// Remove removes the place with what is in it. After Commit it does nothing.
func (p *Place) Remove() {
	live.Lock()
	defer live.Unlock()
	if live.places[p] {
		delete(live.places, p)
		p.discard()
	}
}

func (p *Place) discard() {
	for range 3 { // somebody may still write into it
		if os.RemoveAll(p.Path) == nil {
			break
		}
	}
	_ = p.release()
	removeEmpty(p.parents)
}

func (p *Place) release() error {
	err := p.Lock.Close()
	p.Lock = nil
	return err
}

// RemoveAll removes every place of this process, for a process that is about to end.
func RemoveAll() {
	live.Lock()
	defer live.Unlock()
	live.ended = true
	for p := range live.places {
		p.discard()
	}
	live.places = nil
}

// Sweep removes the folders and files in dir that ours names and that no process holds.
func Sweep(dir string, ours func(name string) bool) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if !ours(e.Name()) || !e.IsDir() && !e.Type().IsRegular() {
			continue
		}
		path := filepath.Join(dir, e.Name())
		f, err := os.Open(path)
		if err != nil {
			continue
		}
		if held, sure := lock(f); held && sure {
			_ = os.RemoveAll(path) // the next run tries again
		}
		f.Close()
	}
}

// WriteFile writes a file for its owner's eyes, whole and on the disk or not at all; one that stands there is replaced.
func WriteFile(path string, data []byte) error {
	p, err := File(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer p.Remove()
	_, err = p.Lock.Write(data)
	if err := errors.Join(err, p.Lock.Sync()); err != nil {
		return err
	}
	if err := p.Commit(func() error { return os.Rename(p.Path, path) }); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}

// SyncFolder brings a folder's entries to the disk, where the file system can: what was moved into it is then there after a
// power cut. What the files hold is synced by whoever wrote them.
func SyncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	_ = d.Sync() // some file systems cannot; the files themselves are on the disk
	return nil
}
