package desk

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func planFile(t *testing.T, text string) string {
	path := filepath.Join(t.TempDir(), "plan.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func open(t *testing.T, path string) *journal {
	j, torn, err := openJournal(path)
	require.NoError(t, err)
	require.False(t, torn)
	t.Cleanup(func() { _ = j.Close() })
	return j
}

var noon = time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)

// Undone to the beginning and redone to the end gives the same bytes at every step, over a restart too; the plan's file is
// each time what the journal says.
func TestUndoAndRedoGiveTheSameBytes(t *testing.T) {
	path := planFile(t, "case: a\n")
	j, r := open(t, path), rand.New(rand.NewPCG(1, 2))
	texts := []string{string(j.text)}
	for i := range 20 {
		b := []rune(texts[i])
		at := r.IntN(len(b) + 1)
		next := string(b[:at]) + fmt.Sprintf("%cx%d\n", []rune("éèẽa歯")[r.IntN(5)], i) + string(b[min(len(b), at+r.IntN(4)):])
		require.NoError(t, j.Do("act", []byte(next), noon))
		texts = append(texts, next)
	}
	check := func(want string) {
		file, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, want, string(j.text))
		require.Equal(t, want, string(file))
	}
	for i := 19; i >= 0; i-- {
		require.NoError(t, j.Turn(verbUndo, noon))
		check(texts[i])
		if i == 7 {
			require.NoError(t, j.Close())
			j = open(t, path)
			check(texts[i])
		}
	}
	require.ErrorIs(t, j.Turn(verbUndo, noon), ErrNothing)
	for i := 1; i <= 20; i++ {
		require.NoError(t, j.Turn(verbRedo, noon))
		check(texts[i])
	}
	require.ErrorIs(t, j.Turn(verbRedo, noon), ErrNothing)
	require.NoError(t, j.Turn(verbUndo, noon))
	require.NoError(t, j.Do("another", []byte("case: b\n"), noon))
	require.ErrorIs(t, j.Turn(verbRedo, noon), ErrNothing, "what was done since stands in the way")
	require.ErrorIs(t, j.Do("torn", []byte("case: \xc3\n"), noon), ErrJournal)
	require.NoError(t, j.Do("é", []byte("case: é\n"), noon))
	require.NoError(t, j.Do("è, which shares a byte", []byte("case: è\n"), noon))
	require.NoError(t, j.Turn(verbUndo, noon))
	require.NoError(t, j.Turn(verbUndo, noon))
	require.NoError(t, j.Close())
	j = open(t, path)
	require.ErrorIs(t, j.Do("nothing", []byte("case: b\n"), noon), ErrNothing)
	opening, err := os.ReadFile(openingOf(path))
	require.NoError(t, err)
	assert.Equal(t, texts[0], string(opening))
}

// Killed after any byte that it wrote, a desk finds the plan as after its last act or the one before.
func TestKilledAnywhere(t *testing.T) {
	path := planFile(t, "case: a\n")
	j := open(t, path)
	texts := []string{string(j.text)}
	for i := range 3 {
		text := fmt.Sprintf("case: a\nnote: %d\n", i)
		require.NoError(t, j.Do("note", []byte(text), noon))
		texts = append(texts, text)
	}
	require.NoError(t, j.Close())
	lines, err := os.ReadFile(journalOf(path))
	require.NoError(t, err)
	last := bytes.LastIndexByte(lines[:len(lines)-1], '\n') + 1
	for _, plan := range texts[2:] { // the last act reached it, or did not
		for cut := last; cut <= len(lines); cut++ {
			if plan == texts[3] && cut < len(lines) {
				continue // the journal comes first
			}
			require.NoError(t, os.WriteFile(path, []byte(plan), 0o600))
			require.NoError(t, os.WriteFile(journalOf(path), lines[:cut], 0o600))
			again, torn, err := openJournal(path)
			require.NoError(t, err, "%d of %d bytes", cut, len(lines))
			assert.Equal(t, cut > last && cut < len(lines), torn)
			want := texts[2]
			if cut == len(lines) {
				want = texts[3]
			}
			assert.Equal(t, want, string(again.text))
			require.NoError(t, again.Do("more", []byte("case: c\n"), noon))
			require.NoError(t, again.Close())
			open(t, path)
		}
	}
}

// What the journal cannot have left is refused, and nothing is changed.
func TestJournalThatDoesNotFit(t *testing.T) {
	for name, spoil := range map[string]func(path string){
		"the opening was changed":      func(path string) { _ = os.WriteFile(openingOf(path), []byte("case: z\n"), 0o600) },
		"the opening is gone":          func(path string) { _ = os.Remove(openingOf(path)) },
		"a line of it is not an act":   func(path string) { replaceIn(journalOf(path), `"seq":1`, `"seq":"x"`) },
		"a line of it is missing":      func(path string) { dropLine(journalOf(path)) },
		"what an act replaced is else": func(path string) { replaceIn(journalOf(path), `"at":6`, `"at":7`) },
	} {
		t.Run(name, func(t *testing.T) {
			path := planFile(t, "case: a\n")
			j := open(t, path)
			require.NoError(t, j.Do("b", []byte("case: b\n"), noon))
			require.NoError(t, j.Do("c", []byte("case: c\n"), noon))
			require.NoError(t, j.Close())
			spoil(path)
			before, _ := os.ReadFile(path)
			_, _, err := openJournal(path)
			assert.ErrorIs(t, err, ErrJournal)
			after, _ := os.ReadFile(path)
			assert.Equal(t, before, after)
		})
	}
}

// What another program wrote while no desk was open is an act that can be taken back.
func TestPlanChangedWhileNobodyLooked(t *testing.T) {
	path := planFile(t, "case: a\n")
	j := open(t, path)
	require.NoError(t, j.Do("b", []byte("case: b\n"), noon))
	require.NoError(t, j.Close())
	require.NoError(t, os.WriteFile(path, []byte("case: z\n"), 0o600))
	j = open(t, path)
	assert.Equal(t, "case: z\n", string(j.text))
	assert.Equal(t, wordsOutside, j.done[1].Words)
	require.NoError(t, j.Turn(verbUndo, noon))
	assert.Equal(t, "case: b\n", string(j.text))
}

func replaceIn(path, old, fresh string) {
	data, _ := os.ReadFile(path)
	_ = os.WriteFile(path, []byte(strings.Replace(string(data), old, fresh, 1)), 0o600)
}

func dropLine(path string) {
	data, _ := os.ReadFile(path)
	_, rest, _ := strings.Cut(string(data), "\n")
	_ = os.WriteFile(path, []byte(rest), 0o600)
}

// An act that cannot be written is not done, and the next one is.
func TestActThatCannotBeWritten(t *testing.T) {
	path := planFile(t, "case: a\n")
	j := open(t, path)
	require.NoError(t, j.Do("b", []byte("case: b\n"), noon))
	whole := j.file
	closed, err := os.Open(path)
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	j.file = closed
	require.Error(t, j.Do("c", []byte("case: c\n"), noon))
	assert.Equal(t, "case: b\n", string(j.text))
	j.file = whole
	require.NoError(t, j.Do("d", []byte("case: d\n"), noon))
	require.NoError(t, j.Close())
	assert.Equal(t, "case: d\n", string(open(t, path).text))
	assert.False(t, errors.Is(err, ErrJournal))
}
