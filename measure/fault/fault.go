// Package fault keeps what a panic leaves: a panic's value comes in, a sentence for the user goes out, and the stack stays in
// a file for whoever mends the program.
package fault

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
)

// Version is the program's, written into each file.
var Version = "unknown"

// Sentence says of a recovered panic's value that it is a fault of this program, and names the file, in the folder for
// temporary files, that holds its stack. The file holds places in the program's code and no value of a patient's file; the
// same fault has the same file. Call it in the deferred function that recovered.
func Sentence(value any) string {
	text := fmt.Sprintf("unexpected failure, which is a fault of this program: %v", value)
	if name := keep(string(debug.Stack())); name != "" {
		text += "; please send us " + name + " from the folder for temporary files"
	}
	return text
}

// keep writes a stack and returns the file's name, which is of the places in the stack alone; empty where it cannot be
// written.
func keep(stack string) string {
	places := sha256.New()
	for line := range strings.Lines(stack) {
		if strings.HasPrefix(line, "\t") { // a place; the lines above name goroutines and addresses
			fmt.Fprint(places, line)
		}
	}
	name := fmt.Sprintf("ridgerule-fault-%x.txt", places.Sum(nil)[:6])
	path := filepath.Join(os.TempDir(), name)
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600) // never through a link that stands there
	if errors.Is(err, fs.ErrExist) {
		if there, err := os.Lstat(path); err != nil || !there.Mode().IsRegular() {
			return ""
		}
		return name // kept before: a stack has one name
	}
	if err != nil {
		return ""
	}
	_, err = fmt.Fprintf(f, "ridgerule %s\n\n%s", Version, stack)
	if errors.Join(err, f.Close()) != nil {
		return ""
	}
	return name
}
