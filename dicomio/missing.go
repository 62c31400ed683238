package dicomio

import (
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"
)

// Rules of this file. A slice missing inside a stack leaves a gap, and is refused by its position. One missing at an end
// leaves none: what tells of it are files beside the slices that look like them and are no images, instance numbers that
// do not begin at 1 or are not all there, and a stated number of images. Each makes a caution.

// stray is a file that was passed over.
type stray struct {
	name string
	size int64 // bytes; −1: not known
	told bool  // it is DICOM, and of another kind than an image: no slice
}

var (
	// numbers are what differs between the names of the slices of one export: counters and hexadecimal digests.
	numbers = regexp.MustCompile(`[0-9A-Fa-f]{8,}|[0-9]+`)
	// slicesEnd are the endings that only DICOM files have.
	slicesEnd = map[string]bool{".dcm": true, ".dicom": true, ".dic": true, ".ima": true}
)

// pattern returns a name with its numbers left out, in lower case: the same for all slices of most exports.
func pattern(name string) string { return strings.ToLower(numbers.ReplaceAllString(name, "#")) }

// likeness is what files of one series have in common.
type likeness struct {
	paths   map[string]bool // patterns of whole paths
	beside  map[string]bool // folder and pattern of the name without folder
	shapes  map[string]bool // folder, ending and length of the name, first letter
	sizes   map[string]bool // folder and size
	folders map[string]bool
}

func (s *Series) likeness() likeness {
	l := likeness{map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}}
	for _, src := range s.sources(true) {
		dir, base := path.Split(src.name)
		l.paths[pattern(src.name)] = true
		l.beside[dir+"\x00"+pattern(base)] = true
		l.shapes[shape(dir, base)] = true
		l.sizes[fmt.Sprint(dir, "\x00", src.size)] = true
		l.folders[dir] = true
	}
	return l
}

// shape is what the names of slices counted by letters have in common.
func shape(dir, base string) string {
	return fmt.Sprint(dir, "\x00", strings.ToLower(base[:min(1, len(base))]+path.Ext(base)), "\x00", len(base))
}

// has reports whether f looks like one of the files: by name, or by size in the same folder.
func (l likeness) has(f stray) bool {
	dir, base := path.Split(f.name)
	return l.paths[pattern(f.name)] || l.beside[dir+"\x00"+pattern(base)] || l.shapes[shape(dir, base)] ||
		l.sizes[fmt.Sprint(dir, "\x00", f.size)] || l.folders[dir] && slicesEnd[strings.ToLower(path.Ext(base))]
}

// judgeStrays cautions files that look like slices of s and are none that can be read: empty, zeroed, cut, a link.
func (s *Series) judgeStrays(strays []stray) {
	if !s.candidate() {
		return
	}
	like := s.likeness()
	n, first := 0, ""
	for _, f := range strays {
		if f.told || !like.has(f) {
			continue
		}
		if n++; first == "" || f.name < first {
			first = f.name
		}
	}
	if n > 0 {
		s.caution("files_like_slices", fmt.Sprintf("%d file(s) look like slices of this series by name, ending or size but hold no readable image, the first is %s; slices may be missing at the ends of the stack: copy or export them again, or take these files out",
			n, called(first)))
	}
}

// numbers returns the instance numbers of everything found under one series UID, whatever became of it.
func (g *grouper) numbers(uid string) []int {
	var out []int
	seen := map[*source]bool{}
	note := func(src *source) {
		if src.series == uid && !seen[src] {
			seen[src] = true
			out = append(out, src.instance)
		}
	}
	for _, p := range g.planes {
		note(p.src)
	}
	for _, r := range g.damaged {
		note(r.source)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// judgeNumbers cautions instance numbers that are not all there, and fewer images than the header states. found are the
// numbers of all images under the UID of s, ascending, each once.
func (s *Series) judgeNumbers(found []int) {
	files := s.sources(false)
	if !s.candidate() || len(files) < fewest || len(found) < len(files) {
		return // frames of one file, or numbers that count something else
	}
	stated, own := 0, make([]int, 0, len(files))
	for _, src := range files {
		stated, own = max(stated, src.stated), append(own, src.instance)
	}
	slices.Sort(own)
	if own = slices.Compact(own); len(own) < len(files) {
		return
	}
	low, high := own[0], own[len(own)-1]
	start := min(1, low) // counted from 1; some count from 0
	absent := high - start + 1
	for _, n := range found {
		if n >= start && n <= high {
			absent--
		}
	}
	if step := own[1] - own[0]; step > 1 && high-low == step*(len(own)-1) && low <= step {
		absent = 0 // numbered by another step than 1
	}
	const after = "; slices may be missing at an end of the stack: export the whole series again if it has more"
	switch {
	case absent > 0:
		s.caution("instance_numbers", fmt.Sprintf("InstanceNumber runs from %d to %d in %d slices: %d number(s) up to the last are not there", low, high, len(own), absent)+after)
	case stated > len(found):
		s.caution("instance_numbers", fmt.Sprintf("the header states %d images, %d are there", stated, len(found))+after)
	}
}

// countEach joins reasons, each once with how often it occurs when that is more than once.
func countEach(reasons []string) string {
	var out []string
	for _, r := range slices.Compact(slices.Sorted(slices.Values(reasons))) {
		n := 0
		for _, other := range reasons {
			if other == r {
				n++
			}
		}
		if n > 1 {
			r = fmt.Sprintf("%d × %s", n, r)
		}
		out = append(out, r)
	}
	return shorten(out)
}
