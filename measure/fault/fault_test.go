package fault

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// A panic's stack lies in the file that the sentence names, with the function that failed; the same fault has the same
// sentence, another has another.
func TestStackIsKept(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	fails := func(i int) (said string) {
		defer func() { said = Sentence(recover()) }()
		var none []int
		if i == 0 {
			return string(rune(none[1]))
		}
		return string(rune(none[1] + i))
	}
	said := fails(0)
	name := regexp.MustCompile(`ridgerule-fault-[0-9a-f]{12}\.txt`).FindString(said)
	data, err := os.ReadFile(filepath.Join(os.TempDir(), name))
	if err != nil || !strings.Contains(said, "index out of range") {
		t.Fatalf("%q: %v", said, err)
	}
	if stack := string(data); !strings.Contains(stack, "TestStackIsKept") || !strings.HasPrefix(stack, "ridgerule "+Version) {
		t.Error(stack)
	}
	again := make([]string, 2)
	for i := range again {
		again[i] = fails(0)
	}
	if again[0] != again[1] {
		t.Errorf("one fault, two sentences: %q, %q", again[0], again[1])
	}
	if other := fails(1); other == again[0] {
		t.Errorf("two faults, one sentence: %q", other)
	}
}

// In a folder that others can write to, a link under the file's name is not followed.
func TestStackIsNotWrittenThroughALink(t *testing.T) {
	fails := func() (said string) {
		defer func() { said = Sentence(recover()) }()
		panic("again")
	}
	t.Setenv("TMPDIR", t.TempDir())
	victim := filepath.Join(t.TempDir(), "victim")
	if err := os.WriteFile(victim, []byte("kept"), 0o600); err != nil {
		t.Fatal(err)
	}
	file := regexp.MustCompile(`ridgerule-fault-[0-9a-f]{12}\.txt`)
	for i := range 2 { // one call: the same stack, and so the same name
		said := fails()
		if i > 0 {
			if file.MatchString(said) {
				t.Errorf("names a file that was not written: %q", said)
			}
			break
		}
		name := filepath.Join(os.TempDir(), file.FindString(said))
		if err := errors.Join(os.Remove(name), os.Symlink(victim, name)); err != nil {
			t.Fatal(err)
		}
	}
	if data, err := os.ReadFile(victim); err != nil || string(data) != "kept" {
		t.Errorf("written through a link: %q, %v", data, err)
	}
}
