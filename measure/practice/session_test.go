package practice

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// cases lists two questions at three sites in each of n cases.
func cases(n int) (all []Subject) {
	for c := range n {
		for _, tooth := range []int{34, 36, 46} {
			for _, q := range []Question{toCanal, width(3)} {
				all = append(all, Subject{Case: fmt.Sprintf("case-%d", c), Site: fmt.Sprint(tooth), Jaw: phantom.Mandible, Tooth: tooth, Question: q})
			}
		}
	}
	return all
}

func arranged(t *testing.T, all []Subject, o SittingOptions) *Session {
	t.Helper()
	if o.Salt == nil {
		o.Salt = []byte("sixteen bytes...")
	}
	s, err := Arrange(all, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func listed(s *Session) (out []int) {
	for _, it := range s.Items {
		out = append(out, it.Listed)
	}
	return out
}

// A sheet shows the ridge whole, wherever its salt puts the picture: of an arch in the upper third of a jaw 40 mm high, 12 mm
// to the crest and 28 to the base, each with 1 mm of what lies beyond; and 14 mm to each side.
func TestASheetShowsTheWholeHeight(t *testing.T) {
	f := reformat.Frame{Origin: r3.Vec{X: 20, Y: -4, Z: 20}, U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: -1}}
	for salt := range byte(20) {
		s := arranged(t, []Subject{{Case: "a", Jaw: phantom.Mandible, Tooth: 36, Question: toCanal, Frame: f}}, SittingOptions{Reader: "r01", Salt: bytes.Repeat([]byte{salt}, 16)})
		sheet := s.Items[0].Sheet
		for _, p := range []UV{{U: -14, V: 13}, {U: 14, V: -29}} {
			at, _ := sheet.Frame.Section(f.Patient(p))
			if at.U < 0 || at.U > sheet.Width || at.V < 0 || at.V > sheet.Height {
				t.Errorf("salt %d: the place %v of the section lies at %v, off the sheet of %g × %g mm", salt, p, at, sheet.Width, sheet.Height)
			}
		}
	}
}

// With one seed each reader has an order of their own, the same again each time; every subject stands in it once, and a
// share of the items (here 12 of 48, closed form n·p/(1−p) of 36) a second time, as replicate 2, some places behind.
func TestEachReaderHasAnOrderOfTheirOwn(t *testing.T) {
	all := cases(6)
	one := arranged(t, all, SittingOptions{Reader: "r01", Seed: 4, Repeats: 0.25})
	again := arranged(t, all, SittingOptions{Reader: "r01", Seed: 4, Repeats: 0.25})
	other := arranged(t, all, SittingOptions{Reader: "r02", Seed: 4, Repeats: 0.25})
	reseeded := arranged(t, all, SittingOptions{Reader: "r01", Seed: 5, Repeats: 0.25})
	if !reflect.DeepEqual(one, again) {
		t.Error("the same sitting twice differs")
	}
	if slices.Equal(listed(one), listed(other)) || slices.Equal(listed(one), listed(reseeded)) || slices.IsSorted(listed(one)) {
		t.Errorf("orders %v, %v, %v", listed(one), listed(other), listed(reseeded))
	}
	if len(one.Items) != 48 {
		t.Fatalf("%d items, want 48", len(one.Items))
	}
	first, repeats := map[int]int{}, 0
	for i, it := range one.Items {
		at, seen := first[it.Listed]
		if want := map[bool]string{false: "1", true: "2"}[seen]; it.Replicate != want {
			t.Errorf("item %d of subject %d is replicate %q, want %q", i, it.Listed, it.Replicate, want)
		}
		if seen {
			repeats++
			if i-at <= repeatGap && i < len(one.Items)-repeatGap {
				t.Errorf("item %d repeats item %d: too near", i, at)
			}
			continue
		}
		first[it.Listed] = i
	}
	if repeats != 12 || len(first) != len(all) {
		t.Errorf("%d repeats and %d subjects, want 12 and %d", repeats, len(first), len(all))
	}
}

// What a reader sees of an item beside its section follows from the salt and the place in the order: another list of
// cases gives the same names and shifts of pictures.
func TestNamesOfASittingDoNotFollowFromTheCase(t *testing.T) {
	all := cases(2)
	turned := slices.Clone(all)
	slices.Reverse(turned)
	a, b := arranged(t, all, SittingOptions{Reader: "r", Seed: 1}), arranged(t, turned, SittingOptions{Reader: "r", Seed: 2})
	other := arranged(t, all, SittingOptions{Reader: "r", Seed: 1, Salt: []byte("another salt, 16")})
	names := map[string]bool{}
	for i := range a.Items {
		x, y := a.Items[i].Sheet, b.Items[i].Sheet
		if x.Item != y.Item || x.Frame.Origin != y.Frame.Origin { // the subjects' frames are all zero here
			t.Errorf("item %d: %s and %s", i, x.Item, y.Item)
		}
		if x.Item == other.Items[i].Sheet.Item {
			t.Errorf("item %d is %s under two salts", i, x.Item)
		}
		names[x.Item] = true
	}
	if len(names) != len(all) {
		t.Errorf("%d names of %d items", len(names), len(all))
	}
}

func value(x float64) *float64 { return &x }

// An answer is of an item that waits for one, says something, and stays.
func TestASessionTakesEachAnswerOnce(t *testing.T) {
	s := arranged(t, cases(1), SittingOptions{Reader: "r01"})
	now := time.Date(2026, 1, 2, 10, 0, 0, 0, time.UTC)
	sheet := s.Next().Sheet
	r := Reading{Item: sheet.Item, Question: sheet.Question, Value: value(8.2), Certainty: 2}
	for name, bad := range map[string]Reading{
		"unknown":        {Item: "nowhere", Question: r.Question, Value: r.Value},
		"other question": {Item: r.Item, Question: Question{Quantity: quantity.RidgeTilt}, Value: r.Value},
		"empty":          {Item: r.Item, Question: r.Question},
	} {
		if err := s.Commit(bad, now); !errors.Is(err, ErrSession) {
			t.Errorf("%s: %v", name, err)
		}
	}
	s.Show(now)
	if err := s.Commit(r, now.Add(42*time.Second)); err != nil {
		t.Fatal(err)
	}
	if got := s.Readings(); len(got) != 1 || got[0].Seconds == nil || *got[0].Seconds != 42 {
		t.Errorf("readings %+v, want one of 42 s", got)
	}
	if err := s.Commit(r, now); !errors.Is(err, ErrSession) {
		t.Errorf("answered twice: %v", err)
	}
	next := s.Next().Sheet
	if next.Item == r.Item {
		t.Error("the next item is the one just answered")
	}
	// not shown since: no time; nor of a break over lunch
	if err := s.Commit(Reading{Item: next.Item, Question: next.Question, Unreadable: true}, now.Add(time.Minute)); err != nil || s.Answers[1].Reading.Seconds != nil {
		t.Errorf("not shown: %v, %v s", err, s.Answers[1].Reading.Seconds)
	}
	next = s.Next().Sheet
	s.Show(now)
	if err := s.Commit(Reading{Item: next.Item, Question: next.Question, Value: value(1)}, now.Add(2*time.Hour)); err != nil || s.Answers[2].Reading.Seconds != nil {
		t.Errorf("after two hours: %v, %v s", err, s.Answers[2].Reading.Seconds)
	}
}

// A sitting goes on where it was after it has been written and read, and its file is taken again and again: what is new is
// taken, what stands is left, what was changed is refused whole, or marked as corrected.
func TestASittingGoesOn(t *testing.T) {
	s := arranged(t, cases(1), SittingOptions{Reader: "r01"})
	now := time.Date(2026, 1, 2, 10, 0, 0, 0, time.UTC)
	var form []Reading
	for _, it := range s.Items {
		form = append(form, Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Row: len(form) + 2})
	}
	take := func(want int, correct bool) {
		t.Helper()
		var b bytes.Buffer
		if err := s.Write(&b); err != nil {
			t.Fatal(err)
		}
		again, err := ReadSession(&b)
		if err != nil {
			t.Fatal(err)
		}
		s = again
		if got, err := s.Take(form, now, correct); err != nil || got != want {
			t.Errorf("Take = %d, %v; want %d", got, err, want)
		}
	}
	take(0, false)
	form[0].Value = value(9.1)
	s.Show(now.Add(-30 * time.Second))
	take(1, false)
	if got := s.Answers[0].Reading.Seconds; got == nil || *got != 30 {
		t.Errorf("a single new answer took %v s, want 30", got)
	}
	form[1].Value, form[2].Unreadable = value(3), true
	s.Show(now.Add(-30 * time.Second))
	take(2, false)
	if s.Answers[1].Reading.Seconds != nil || s.Answers[2].Reading.Seconds != nil {
		t.Error("two answers at once have a time")
	}
	take(0, false)
	form[0].Value, form[3].Value = value(9.3), value(4)
	if n, err := s.Take(form, now, false); !errors.Is(err, ErrSession) || n != 0 || len(s.Answers) != 3 {
		t.Errorf("a changed answer: %d, %v, %d answers", n, err, len(s.Answers))
	}
	take(1, true)
	if a := s.Answers[0]; *a.Reading.Value != 9.3 || !a.Corrected || *a.Reading.Seconds != 30 {
		t.Errorf("corrected: %+v", a)
	}
	form[0].Value = nil
	if _, err := s.Take(form, now, true); !errors.Is(err, ErrSession) {
		t.Errorf("an answer taken away: %v", err)
	}
}

// Readers who find the same leave the same table but for their code, in whatever order they read: the table does not tell
// the order.
func TestTheTableDoesNotTellTheOrder(t *testing.T) {
	table := func(seed uint64) string {
		s := arranged(t, cases(3), SittingOptions{Reader: "r", Seed: seed})
		for it := s.Next(); it != nil; it = s.Next() {
			if err := s.Commit(Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: value(float64(it.Listed))}, time.Time{}); err != nil {
				t.Fatal(err)
			}
		}
		var b bytes.Buffer
		if err := s.WriteTable(&b); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	one := table(1)
	if one != table(2) || !strings.HasPrefix(one, "case,site,reader,replicate,quantity,at_mm,value,seconds,") {
		t.Errorf("tables of two orders:\n%s\n%s", one, table(2))
	}
}

// A sitting of practice is a session, too: its readings are marked as those of a file are.
func TestPracticeIsASession(t *testing.T) {
	set := draw(t, Options{Items: 4, Seed: 3})
	s := NewSession("r", set.Sheets)
	for i := 0; s.Next() != nil; i++ {
		sheet := s.Next().Sheet
		if sheet.Item != set.Sheets[i].Item {
			t.Errorf("item %d is %s, want %s", i, sheet.Item, set.Sheets[i].Item)
		}
		if err := s.Commit(Reading{Item: sheet.Item, Question: sheet.Question, Value: value(set.Key.Items[i].Truth)}, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	m, err := MarkReadings([]*Key{set.Key}, [][]Reading{s.Readings()}, s.Reader, Usual())
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range m.List {
		if k.Verdict != Within || k.Error != 0 {
			t.Errorf("%s: the truth is %s", k.Item, k.Verdict)
		}
	}
}

func TestUnusableSittingsAreRefused(t *testing.T) {
	salt := []byte("sixteen bytes...")
	twice := append(cases(1), cases(1)[0])
	own := cases(1)
	own[0].Replicate = "2"
	for name, c := range map[string]struct {
		all []Subject
		o   SittingOptions
	}{
		"nothing": {nil, SittingOptions{Salt: salt}}, "salt": {cases(1), SittingOptions{Salt: salt[:3]}}, "share": {cases(1), SittingOptions{Salt: salt, Repeats: 0.6}},
		"NaN": {cases(1), SittingOptions{Salt: salt, Repeats: math.NaN()}}, "twice": {twice, SittingOptions{Salt: salt}}, "own": {own, SittingOptions{Salt: salt, Repeats: 0.1}},
	} {
		if _, err := Arrange(c.all, c.o); !errors.Is(err, ErrOptions) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, text := range []string{"", "ridge_width", "ridge_height:3", "ridge_width:0", "ridge_width:x", "grey_mean", "ridge_width:99"} {
		if _, err := ParseQuestion(text); !errors.Is(err, ErrOptions) {
			t.Errorf("ParseQuestion(%q) = %v", text, err)
		}
	}
	if q, err := ParseQuestion("buccal_plate:2.5"); err != nil || q.At != 2.5 {
		t.Errorf("buccal_plate:2.5 is %v, %v", q, err)
	}
}

// The times that a reader writes beside an answer.
func TestTimesOfAReading(t *testing.T) {
	read := func(start, stop string) ([]Reading, error) {
		return ReadReadings(strings.NewReader("item,quantity,at_mm,value,start,stop\nabcdef,ridge_tilt,,x," + start + "," + stop + "\n"))
	}
	for _, c := range []struct {
		start, stop string
		want        float64
	}{{"14:05:30", "14:06:12", 42}, {"23:59:50", "00:00:20", 30}, {"2026-01-02 10:00:00", "2026-01-02 10:01:00", 60}, {"2026-01-02T10:00:00Z", "2026-01-02T10:00:05Z", 5}} {
		got, err := read(c.start, c.stop)
		if err != nil || len(got) != 1 || got[0].Seconds == nil || *got[0].Seconds != c.want || !got[0].Unreadable {
			t.Errorf("%s to %s: %+v, %v; want %g s", c.start, c.stop, got, err, c.want)
		}
	}
	for _, c := range [][2]string{{"14:05", "14:06:00"}, {"14:05:30", ""}, {"", "14:05:30"}, {"10:00:00", "09:59:00"}, {"2026-01-02 10:00:00", "2026-01-02 09:00:00"}} {
		var fault *ReadingError
		if _, err := read(c[0], c[1]); !errors.As(err, &fault) {
			t.Errorf("%s to %s: %v", c[0], c[1], err)
		}
	}
	if got, err := read("", ""); err != nil || got[0].Seconds != nil {
		t.Errorf("no times: %v, %v", got, err)
	}
}

// The table of several sittings has the reference of each number, empty where there is none, and no reading twice.
func TestGatherJoinsTheReference(t *testing.T) {
	ref, err := ReadReference(strings.NewReader("case,site,unit,quantity,at_mm,value\ncase-0,36,mm,ridge_height,,15.2\ncase-0,36,mm,ridge_width,3,7.1\ncase-0,36,mm,ridge_width,3.0,7.1\ncase-0,36,mm,clearance,,1\ncase-0,46,mm,ridge_height,,\n"))
	if err != nil {
		t.Fatal(err)
	}
	s := arranged(t, cases(1), SittingOptions{Reader: "r01"})
	for it := s.Next(); it != nil; it = s.Next() {
		if err := s.Commit(Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: value(5)}, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if held, err := Gather(&b, []*Session{s}, ref); err != nil || held != 2 {
		t.Errorf("Gather = %d, %v; want 2 with a reference", held, err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 7 || rows[0][len(rows[0])-1] != "reference" {
		t.Fatalf("%v, %v", rows, err)
	}
	for _, row := range rows[1:] {
		want := map[string]string{"36ridge_height": "15.2", "36ridge_width": "7.1"}[row[1]+row[4]]
		if got := row[len(row)-1]; got != want {
			t.Errorf("%v: reference %q, want %q", row, got, want)
		}
	}
	if _, err := Gather(&b, []*Session{s, s}, nil); !errors.Is(err, ErrSession) {
		t.Errorf("one sitting twice: %v", err)
	}
	for _, text := range []string{"", "case,site,quantity,value\n", "case,site,quantity,at_mm,value\na,b,ridge_width,x,1\n", "case,site,quantity,at_mm,value\na,b,ridge_width,3,x\n",
		"case,site,quantity,at_mm,value\na,b,ridge_tilt,,1\na,b,ridge_tilt,,2\n"} {
		if _, err := ReadReference(strings.NewReader(text)); !errors.Is(err, ErrOptions) {
			t.Errorf("ReadReference(%q) = %v", text, err)
		}
	}
}

// What is read as a session is written and read the same; what is none fails with our error.
func FuzzReadSession(f *testing.F) {
	s, err := Arrange(cases(1), SittingOptions{Reader: "r", Salt: []byte("sixteen bytes..."), Repeats: 0.2})
	if err != nil {
		f.Fatal(err)
	}
	s.Answers = append(s.Answers, Answer{Reading: Reading{Item: s.Items[0].Sheet.Item, Question: s.Items[0].Sheet.Question, Value: value(3)}})
	var b bytes.Buffer
	if err := s.Write(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"format":1,"items":[{"sheet":{"Question":{"quantity":"density"}}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := ReadSession(bytes.NewReader(data))
		if err != nil {
			if !errors.Is(err, ErrSession) {
				t.Fatalf("%v", err)
			}
			return
		}
		var one, two bytes.Buffer
		if err := s.Write(&one); err != nil {
			t.Fatal(err)
		}
		again, err := ReadSession(bytes.NewReader(one.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		if err := again.Write(&two); err != nil || !bytes.Equal(one.Bytes(), two.Bytes()) {
			t.Fatalf("read again it differs: %v", err)
		}
	})
}
