package plan

import (
	"fmt"
	"strings"
)

// Position is the place of a value in a file.
type Position struct {
	File         string // base name of the plan, or of the file that the plan names
	Line, Column int    // from 1, columns in characters; 0: the file as a whole
}

// Source says where the values of a plan stand in the files that it was read from. The plan itself does not
// know: the same plan may come from a program. A nil Source knows no place, and messages then name no line.
type Source struct {
	file string
	at   map[string]Position // by path: "sites[2].at"
}

// Position returns where the value at a plan path stands, as "sites[2].implant.axis"; where only what holds it
// has a place of its own, that one's; and the file as a whole where nothing of it is written.
func (s *Source) Position(path string) Position {
	if s == nil {
		return Position{File: "plan"}
	}
	for {
		if at, ok := s.at[path]; ok {
			return at
		}
		end := strings.LastIndexAny(path, ".[")
		if end < 0 {
			return Position{File: s.file}
		}
		path = path[:end]
	}
}

// line is the line of the value at a path as messages add it to a name: " (line 12)"; empty where it is not known.
func (s *Source) line(path string) string {
	at := s.Position(path)
	if at.Line == 0 {
		return ""
	}
	return fmt.Sprintf(" (line %d)", at.Line)
}

func sitePath(i int) string { return fmt.Sprintf("sites[%d]", i) }

func structurePath(i int) string { return fmt.Sprintf("structures[%d]", i) }
