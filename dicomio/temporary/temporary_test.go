package temporary

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// names returns what stands in dir, hidden or not.
func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// left makes what a killed process leaves: a folder and a file under our names that nobody holds.
func left(t *testing.T, dir string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(dir, prefix+"1", "deep"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, prefix+"2"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestPlaceIsMovedWholeOrRemoved(t *testing.T) {
	dir := t.TempDir()
	p, err := Folder(filepath.Join(dir, "a", "b"))
	if err != nil {
		t.Fatal(err)
	}
	final := filepath.Join(dir, "a", "b", "made")
	refused := errors.New("no")
	if err := p.Commit(func() error { return refused }); !errors.Is(err, refused) || p.Lock == nil {
		t.Errorf("a move that failed gave %v and gave up the place", err)
	}
	if err := p.Commit(func() error { return os.Rename(p.Path, final) }); err != nil {
		t.Fatal(err)
	}
	p.Remove() // nothing
	if got := names(t, filepath.Join(dir, "a", "b")); len(got) != 1 || got[0] != "made" {
		t.Errorf("left %q", got)
	}
	q, err := Folder(filepath.Join(dir, "c", "d"))
	if err != nil {
		t.Fatal(err)
	}
	q.Remove()
	if got := names(t, dir); len(got) != 1 {
		t.Errorf("the parents of a removed place stay: %q", got)
	}
}

// What a killed process left is removed by the next; what is held, here by this process, stays, and so does what is
// not ours.
func TestNextProcessRemovesWhatAKilledOneLeft(t *testing.T) {
	dir := t.TempDir()
	held, err := Folder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer held.Remove()
	if _, sure := lock(held.Lock); !sure {
		t.Skip("this file system knows no locks")
	}
	left(t, dir)
	other := filepath.Join(dir, ".others.part-1")
	if err := os.Mkdir(other, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := WriteFile(filepath.Join(dir, "table.csv"), []byte("1")); err != nil {
		t.Fatal(err)
	}
	want := []string{".others.part-1", filepath.Base(held.Path), "table.csv"}
	if got := names(t, dir); len(got) != 3 || got[0] != want[0] || got[1] != want[1] || got[2] != want[2] {
		t.Errorf("left %q, want %q", got, want)
	}
	if _, err := Claim(held.Path); !errors.Is(err, ErrBusy) {
		t.Errorf("a held place was claimed: %v", err)
	}
}

func TestNothingIsMadeAfterTheEnd(t *testing.T) {
	t.Cleanup(func() { live.ended = false })
	dir := t.TempDir()
	p, err := Folder(dir)
	if err != nil {
		t.Fatal(err)
	}
	RemoveAll()
	if err := Make(func() error { t.Error("made after the end"); return nil }); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if err := p.Commit(func() error { return os.Mkdir(filepath.Join(dir, "made"), 0o700) }); !errors.Is(err, context.Canceled) {
		t.Errorf("a commit after the end gave %v", err)
	}
	if err := WriteFile(filepath.Join(dir, "file"), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("a file after the end gave %v", err)
	}
	if got := names(t, dir); len(got) != 0 {
		t.Errorf("left %q", got)
	}
}

// A file that this process holds is not to be had a second time, and whoever asks is told who holds it; released, it is.
func TestHeldFileIsNotToBeHadTwice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "answers.csv")
	held, by, err := Hold(path, time.Now())
	if held == nil || by != "" || err != nil {
		t.Fatalf("a free file: %v, %q, %v", held, by, err)
	}
	second, by, err := Hold(path, time.Now())
	if second != nil || err != nil || !strings.HasPrefix(by, fmt.Sprintf("process %d on ", os.Getpid())) {
		t.Errorf("a held file: %v, %q, %v", second, by, err)
	}
	if err := held.Release(); err != nil {
		t.Fatal(err)
	}
	if got := names(t, filepath.Dir(path)); len(got) != 0 {
		t.Errorf("released, it leaves %q", got)
	}
	again, by, err := Hold(path, time.Now())
	if again == nil || by != "" || err != nil {
		t.Errorf("released: %v, %q, %v", again, by, err)
	}
	_ = again.Release()
}
