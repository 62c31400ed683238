package dicomio

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every code that this room's files can put into an error or a caution is explained in the manual.
func TestEveryCodeIsInTheManual(t *testing.T) {
	manual, err := os.ReadFile("../docs/reading.md")
	if err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob("*.go")
	code := regexp.MustCompile(`(?:Code: |\.Code = |Code, e\.Problem, e\.Remedy = |\.caution\(|return )"([a-z]+(?:_[a-z]+)+|[a-z]{4,})"[,})\n]`)
	seen := 0
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, match := range code.FindAllStringSubmatch(string(text), -1) {
			seen++
			if !strings.Contains(string(manual), "`"+match[1]+"`") {
				t.Errorf("%s: code %q is not in docs/reading.md", file, match[1])
			}
		}
	}
	if seen < 40 {
		t.Errorf("%d codes found: the pattern no longer fits the source", seen)
	}
}
