package desk

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"ridgerule/dicomio/temporary"
)

// What was done to a plan, one line an act, each on the disk before its answer goes to the page. Undoing is an act of its
// own: nothing that stands in the journal is ever changed. A process that is killed loses the act in hand at most, and
// what it was about to write of it is dropped with a notice.

// act is a line of the journal.
type act struct {
	Seq   int       `json:"seq"`  // from 1
	Time  time.Time `json:"time"` // of the act
	Verb  string    `json:"verb"` // "edit", "undo" or "redo"
	Words string    `json:"words,omitempty"`
	On    string    `json:"on"` // SHA-256 of the plan that it was done to

	// What an edit replaced: Old at byte At by New.
	At  int    `json:"at,omitempty"`
	Old string `json:"old,omitempty"`
	New string `json:"new,omitempty"`
}

const (
	verbEdit = "edit"
	verbUndo = "undo"
	verbRedo = "redo"
)

// ErrJournal is wrapped by every error about a journal that cannot be gone on with.
var ErrJournal = errors.New("desk: journal")

// ErrNothing says that there is nothing to undo, or to redo.
var ErrNothing = errors.New("desk: nothing to take back")

// history is a plan's text with what was done to it.
type history struct {
	text []byte
	acts []act
	done []act // edits in force, the last one last
	back []act // edits taken back, the last one last
}

func hashOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// begins reports whether a character begins at byte i, or the text ends there.
func begins(text []byte, i int) bool { return i >= len(text) || utf8.RuneStart(text[i]) }

// edit returns the act that makes text of the plan; an edit that changes nothing is an error wrapping [ErrNothing]. What it
// replaces is cut between characters: a line of the journal holds no others.
func (h *history) edit(words string, text []byte, now time.Time) (act, error) {
	if !utf8.Valid(text) {
		return act{}, fmt.Errorf("%w: the plan would not be UTF-8", ErrJournal)
	}
	if bytes.Equal(h.text, text) {
		return act{}, fmt.Errorf("%w: the plan is as it was", ErrNothing)
	}
	at, old := 0, len(h.text)
	for at < min(len(h.text), len(text)) && h.text[at] == text[at] {
		at++
	}
	fresh := len(text)
	for at > 0 && !(begins(h.text, at) && begins(text, at)) {
		at--
	}
	for old > at && fresh > at && h.text[old-1] == text[fresh-1] {
		old, fresh = old-1, fresh-1
	}
	for !(begins(h.text, old) && begins(text, fresh)) {
		old, fresh = old+1, fresh+1
	}
	return act{Seq: len(h.acts) + 1, Time: now, Verb: verbEdit, Words: words, On: hashOf(h.text), At: at, Old: string(h.text[at:old]), New: string(text[at:fresh])}, nil
}

// turn returns the act that takes the last edit back, or the last one taken back again.
func (h *history) turn(verb string, now time.Time) (act, error) {
	if verb == verbUndo && len(h.done) == 0 || verb == verbRedo && len(h.back) == 0 {
		return act{}, fmt.Errorf("%w: no act to %s", ErrNothing, verb)
	}
	return act{Seq: len(h.acts) + 1, Time: now, Verb: verb, On: hashOf(h.text)}, nil
}

// apply does an act. One that does not fit leaves everything as it is and comes back as [ErrJournal].
func (h *history) apply(a act) error {
	if a.Seq != len(h.acts)+1 || a.On != hashOf(h.text) {
		return fmt.Errorf("%w: act %d is not about the plan as it stands", ErrJournal, a.Seq)
	}
	var text []byte
	err := error(nil)
	done, back := h.done, h.back
	switch {
	case a.Verb == verbEdit:
		text, err = splice(h.text, a.At, a.Old, a.New)
		done, back = append(done[:len(done):len(done)], a), nil
	case a.Verb == verbUndo && len(done) > 0:
		e := done[len(done)-1]
		text, err = splice(h.text, e.At, e.New, e.Old)
		done, back = done[:len(done)-1], append(back[:len(back):len(back)], e)
	case a.Verb == verbRedo && len(back) > 0:
		e := back[len(back)-1]
		text, err = splice(h.text, e.At, e.Old, e.New)
		done, back = append(done[:len(done):len(done)], e), back[:len(back)-1]
	default:
		err = fmt.Errorf("%w: act %d, %q, has nothing to act on", ErrJournal, a.Seq, a.Verb)
	}
	if err != nil {
		return err
	}
	h.text, h.acts, h.done, h.back = text, append(h.acts, a), done, back
	return nil
}

// splice replaces old at byte at by fresh.
func splice(text []byte, at int, old, fresh string) ([]byte, error) {
	if at < 0 || at > len(text) || !strings.HasPrefix(string(text[at:]), old) {
		return nil, fmt.Errorf("%w: what an act replaces is not there", ErrJournal)
	}
	return []byte(string(text[:at]) + fresh + string(text[at+len(old):])), nil
}

// journal is a history on the disk. It is used by one goroutine at a time.
type journal struct {
	history
	file *os.File
	size int64  // of its whole lines, bytes
	path string // of the plan
}

// journalOf and openingOf name what lies beside a plan: the journal, and the plan as it was when the journal began.
func journalOf(plan string) string {
	return filepath.Join(filepath.Dir(plan), "."+filepath.Base(plan)+".journal")
}
func openingOf(plan string) string { return plan + "~" }

// openJournal takes up the journal of a plan, or begins one. torn says that its last line was not whole and was dropped.
// An act that reached the journal and not the plan any more is done now: the page was never told of it, and its hand is
// asked for none twice. Where something else changed the plan meanwhile, that becomes an act of its own.
func openJournal(plan string) (j *journal, torn bool, err error) {
	text, err := os.ReadFile(plan)
	if err != nil {
		return nil, false, err
	}
	lines, err := os.ReadFile(journalOf(plan))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		j, err = beginJournal(plan, text)
		return j, false, err
	case err != nil:
		return nil, false, err
	}
	opening, err := os.ReadFile(openingOf(plan))
	if err != nil {
		return nil, false, fmt.Errorf("%w: the plan as it was at its beginning, %s, cannot be read: %w", ErrJournal, filepath.Base(openingOf(plan)), err)
	}
	j = &journal{history: history{text: opening}, path: plan}
	whole, before, err := j.replay(lines)
	if err != nil {
		return nil, false, err
	}
	switch {
	case bytes.Equal(j.text, text):
	case before != nil && bytes.Equal(before, text):
		if err := temporary.WriteFile(plan, j.text); err != nil {
			return nil, false, err
		}
		text = j.text
	}
	j.size = int64(whole)
	if j.file, err = os.OpenFile(journalOf(plan), os.O_RDWR, 0o600); err != nil {
		return nil, false, err
	}
	if torn = whole < len(lines); torn {
		err = j.file.Truncate(int64(whole))
	}
	if err == nil {
		_, err = j.file.Seek(0, io.SeekEnd)
	}
	if err == nil {
		err = j.TakeOutside(text, time.Now())
	}
	if err != nil {
		return nil, false, errors.Join(err, j.file.Close())
	}
	return j, torn, nil
}

// wordsOutside are the words of the act that another program did.
const wordsOutside = "changed outside the page"

// TakeOutside makes what another program wrote into the plan's file an act; nothing where that is what stands here.
func (j *journal) TakeOutside(text []byte, now time.Time) error {
	if bytes.Equal(j.text, text) {
		return nil
	}
	return j.Do(wordsOutside, text, now)
}

func beginJournal(plan string, text []byte) (*journal, error) {
	if err := temporary.WriteFile(openingOf(plan), text); err != nil {
		return nil, err
	}
	file, err := os.OpenFile(journalOf(plan), os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	return &journal{history: history{text: text}, file: file, path: plan}, temporary.SyncFolder(filepath.Dir(plan))
}

// replay does the acts of a journal's lines and returns how many bytes of them are whole, and the text before the last act.
func (j *journal) replay(lines []byte) (whole int, before []byte, err error) {
	for n := 1; whole < len(lines); n++ {
		end := bytes.IndexByte(lines[whole:], '\n')
		if end < 0 {
			return whole, before, nil // torn by the end of the process that wrote it
		}
		var a act
		if err := json.Unmarshal(lines[whole:whole+end], &a); err != nil {
			return 0, nil, fmt.Errorf("%w: line %d of %s is no act: %w", ErrJournal, n, filepath.Base(journalOf(j.path)), err)
		}
		before = j.text
		if err := j.apply(a); err != nil {
			return 0, nil, fmt.Errorf("line %d of %s: %w", n, filepath.Base(journalOf(j.path)), err)
		}
		whole += end + 1
	}
	return whole, before, nil
}

// Do changes the plan's text: the act is in the journal on the disk, and the plan is, when it returns without an error.
func (j *journal) Do(words string, text []byte, now time.Time) error {
	a, err := j.edit(words, text, now)
	if err != nil {
		return err
	}
	return j.keep(a)
}

// Turn takes the last act back (verbUndo) or does it again (verbRedo).
func (j *journal) Turn(verb string, now time.Time) error {
	a, err := j.turn(verb, now)
	if err != nil {
		return err
	}
	return j.keep(a)
}

func (j *journal) keep(a act) error {
	line, err := json.Marshal(a)
	if err != nil {
		return err
	}
	before := j.history
	if err := j.apply(a); err != nil {
		return err
	}
	line = append(line, '\n')
	_, err = j.file.Write(line)
	if err = errors.Join(err, j.file.Sync()); err == nil {
		err = temporary.WriteFile(j.path, j.text)
	}
	if err != nil { // nothing was done: the journal does not say that it was
		j.history = before
		_, seek := j.file.Seek(j.size, io.SeekStart)
		return errors.Join(err, j.file.Truncate(j.size), seek)
	}
	j.size += int64(len(line))
	return nil
}

// Close closes the journal's file.
func (j *journal) Close() error { return j.file.Close() }
