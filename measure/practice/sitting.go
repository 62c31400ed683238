package practice

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// Subject is one number to be read in a study: a question at a site of a case.
type Subject struct {
	Case, Site, Replicate string
	Jaw                   phantom.Kind
	Tooth                 int // ISO 3950
	Question              Question
	Frame                 reformat.Frame // its section; origin is on the arch
}

// SittingOptions say how subjects are put before a reader.
type SittingOptions struct {
	Reader  string
	Seed    uint64  // of the order; with one seed each reader still has an order of their own
	Salt    []byte  // 16 bytes: of the names and the places of the pictures
	Repeats float64 // share of the items that repeat another one unseen, 0 to 0.5
	List    string  // SHA-256 of the list of the subjects
}

// What a sheet of a study shows, mm: both sides of the ridge, and its whole height, whatever ends it. A mandible is seldom
// higher than 35 mm (from memory), and an arch lies in its upper third: most of the sheet is apical of it. Our choice; a
// taller sheet is drawn smaller than 2 : 1 on paper.
const (
	sittingWide   = 30.0
	sittingTall   = 45.0
	sittingApical = 31.0 // of the height, from the arch
)

// Arrange puts subjects into a random order of the reader's own, with hidden repeats among them, each under a name that
// tells nothing. A repeat has another name and another place of the picture; its replicate is the next number. It returns an
// error wrapping [ErrOptions] for no subjects, a share or a salt that is none, or two subjects that are one.
func Arrange(all []Subject, o SittingOptions) (*Session, error) {
	switch {
	case len(all) == 0:
		return nil, fmt.Errorf("%w: nothing to read", ErrOptions)
	case len(o.Salt) != saltBytes:
		return nil, fmt.Errorf("%w: a salt of %d bytes; it has %d", ErrOptions, len(o.Salt), saltBytes)
	case !(o.Repeats >= 0 && o.Repeats <= 0.5):
		return nil, fmt.Errorf("%w: a share of %g hidden repeats; give 0 to 0.5, as 0.25", ErrOptions, o.Repeats)
	}
	seen := map[string]bool{}
	for _, x := range all {
		if x.Replicate != "" && o.Repeats > 0 {
			return nil, fmt.Errorf("%w: case %s is listed with replicate %s; ask for no hidden repeats where the list has its own", ErrOptions, x.Case, x.Replicate)
		}
		key := strings.Join([]string{x.Case, x.Site, x.Replicate, x.Question.String()}, "\x00")
		if seen[key] {
			return nil, fmt.Errorf("%w: %s of site %q in case %s is listed twice", ErrOptions, x.Question, x.Site, x.Case)
		}
		seen[key] = true
	}
	draw := Options{Seed: o.Seed, Salt: o.Salt}
	r := draw.seeded("sitting of "+o.Reader, 0)
	shuffled := r.Perm(len(all))
	// a share p of all items is p/(1−p) of the single ones
	repeats := int(math.Round(o.Repeats / (1 - o.Repeats) * float64(len(all))))
	s := &Session{Format: keyFormat, Reader: o.Reader, List: o.List, Seed: o.Seed, Salt: o.Salt}
	names := map[string]bool{}
	for i, p := range repeated(len(all), repeats, r) {
		at := shuffled[p.of]
		it := all[at].item(draw, o.Reader, i, names)
		it.Listed = at
		if p.again {
			it.Replicate = "2"
		} else if it.Replicate == "" {
			it.Replicate = "1"
		}
		s.Items = append(s.Items, it)
	}
	return s, nil
}

// item makes the i-th item of a sitting: its name and the place of its picture follow from the salt alone.
func (x Subject) item(o Options, reader string, i int, taken map[string]bool) Item {
	name := ""
	for n := i; name == "" || taken[name]; n += 1 << 20 {
		name = o.itemName("name for "+reader, n)
	}
	taken[name] = true
	place := o.salted("place for "+reader, i)
	shift := func(k int) float64 { return scatter * (2*float64(place[k])/255 - 1) }
	f := x.Frame
	f.Origin = r3.Add(f.Origin, f.Direction(UV{U: shift(0) - sittingWide/2, V: shift(1) - sittingApical}))
	return Item{Case: x.Case, Site: x.Site, Replicate: x.Replicate, Sheet: Sheet{
		Item: name, Jaw: x.Jaw, Tooth: x.Tooth, Question: x.Question, Frame: f, Width: sittingWide, Height: sittingTall}}
}

// ParseQuestion reads what is asked of every site: a quantity, and a depth where it has one, as ridge_width:3. Its error
// wraps [ErrOptions].
func ParseQuestion(text string) (Question, error) {
	name, depth, has := strings.Cut(text, ":")
	q := Question{Quantity: quantity.Name(name)}
	if _, known := measurands[q.Quantity]; !known || askedAlong(q.Quantity) {
		var list []string
		for _, x := range quantity.All() {
			if _, asked := measurands[x.Name]; asked && !askedAlong(x.Name) {
				list = append(list, string(x.Name))
			}
		}
		return q, fmt.Errorf("%w: %q can not be asked; ask for %s", ErrOptions, name, strings.Join(list, ", "))
	}
	deep := quantity.Of(q.Quantity).PerDepth
	if has != deep {
		return q, fmt.Errorf("%w: %q: a width or a plate has a depth, as ridge_width:3, and nothing else has", ErrOptions, text)
	}
	if deep {
		x, err := strconv.ParseFloat(depth, 64)
		if err != nil || !(x > 0 && x <= 40) {
			return q, fmt.Errorf("%w: %q: a depth is a number of mm below the crest, above 0 and at most 40", ErrOptions, text)
		}
		q.At = x
	}
	return q, nil
}

// WriteForm writes the file that a reader fills beside a worksheet: what is asked, in the order of reading, and empty
// cells, those for the time among them.
func (s *Session) WriteForm(w io.Writer) error {
	rows := [][]string{append(slices.Clone(readingColumns), timeColumns...)}
	for _, it := range s.Items {
		row := Reading{Item: it.Sheet.Item, Question: it.Sheet.Question}.cells()
		rows = append(rows, append(row, make([]string, len(timeColumns))...))
	}
	return cells.Write(w, rows)
}

// tableColumns are the columns of a sitting's readings, in order: those of the contract, then what a study asks besides.
var tableColumns = []string{"case", "site", "reader", "replicate", "quantity", "at_mm", "value", "seconds", "unit", "certainty", "note"}

// WriteTable writes the answers as a tidy table, one a row, in the order of the list that the items were taken from, so that
// it does not tell the order of reading.
func (s *Session) WriteTable(w io.Writer) error {
	return cells.Write(w, append([][]string{tableColumns}, s.rows()...))
}

func (s *Session) rows() [][]string {
	order := slices.Clone(s.Items)
	slices.SortStableFunc(order, func(a, b Item) int {
		if a.Listed != b.Listed {
			return a.Listed - b.Listed
		}
		return strings.Compare(a.Replicate, b.Replicate)
	})
	var rows [][]string
	for _, it := range order {
		a := s.answer(it.Sheet.Item)
		if a == nil {
			continue
		}
		q, r := it.Sheet.Question, a.Reading
		row := []string{cells.Text(it.Case), cells.Text(it.Site), cells.Text(s.Reader), it.Replicate, string(q.Quantity), q.at(), cells.Optional(r.Value), "", q.Unit(), "", ""}
		if r.Seconds != nil {
			row[7] = strconv.FormatFloat(*r.Seconds, 'f', 1, 64)
		}
		if r.Certainty != 0 {
			row[9] = strconv.Itoa(r.Certainty)
		}
		switch {
		case r.Unreadable:
			row[10] = "cannot be read"
		case a.Corrected:
			row[10] = "corrected"
		}
		rows = append(rows, row)
	}
	return rows
}
