package practice

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
)

func read(t *testing.T, data []byte) []Reading {
	t.Helper()
	list, err := ReadReadings(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("%v in\n%s", err, data)
	}
	return list
}

// What a reader wrote by hand, the columns of their own, the delimiter and the line ends stay; an answer goes into the empty
// cells of its row, or a row of its own; filled twice is filled once.
func TestFillLeavesWhatIsThere(t *testing.T) {
	value := 7.25
	line := Line{A: r3.Vec{X: 1, Y: 2.5}, B: r3.Vec{X: 8.25, Y: 2.5}, OnSheet: true}
	width := Question{Quantity: quantity.RidgeWidth, At: 3}
	mine := Reading{Item: "bbbbbb", Question: width, Value: &value, Certainty: 2, Line: &line}
	for name, c := range map[string]struct{ form, want string }{
		"an empty row, a column more": {
			"item,quantity,at_mm,value,certainty,ax,ay,az,bx,by,bz,remark\naaaaaa,ridge_height,,12.5,3,,,,,,,\"was, hard\"\nbbbbbb,ridge_width,3,,,,,,,,,\n",
			"item,quantity,at_mm,value,certainty,ax,ay,az,bx,by,bz,remark\naaaaaa,ridge_height,,12.5,3,,,,,,,\"was, hard\"\nbbbbbb,ridge_width,3,7.25,2,1,2.5,,8.25,2.5,,\n"},
		"semicolons, a mark at the beginning, other line ends, no ends of a line": {
			bom + "item;quantity;at_mm;value;certainty\r\nbbbbbb;ridge_width;3;;\r\naaaaaa;ridge_height;;12,5;3\r\n",
			bom + "item;quantity;at_mm;value;certainty\r\nbbbbbb;ridge_width;3;7.25;2\r\naaaaaa;ridge_height;;12,5;3\r\n"},
		"the row was deleted": {
			"item,quantity,at_mm,value\naaaaaa,ridge_height,,12.5\n",
			"item,quantity,at_mm,value\naaaaaa,ridge_height,,12.5\nbbbbbb,ridge_width,3,7.25\n"},
		"answered by hand": {
			"item,quantity,at_mm,value\nbbbbbb,ridge_width,3,9\n",
			"item,quantity,at_mm,value\nbbbbbb,ridge_width,3,9\n"},
		"not to be read": {
			"item,quantity,at_mm,value\nbbbbbb,ridge_width,3,x\n",
			"item,quantity,at_mm,value\nbbbbbb,ridge_width,3,x\n"},
	} {
		got, err := Fill([]byte(c.form), []Reading{mine})
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %v, %q, want %q", name, err, got, c.want)
			continue
		}
		again, err := Fill(got, []Reading{mine})
		if err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: filled again: %v, %q", name, err, again)
		}
	}
	if _, err := Fill([]byte("item,quantity,at_mm,value\nbbbbbb,ridge_width,3,about\n"), []Reading{mine}); err == nil || !strings.Contains(err.Error(), `row 2: value: "about"`) {
		t.Errorf("a form with a fault gave %v", err)
	}
}

// A form filled from a session is read as what the session holds, whatever the answers are: a line, x, or nothing yet.
func TestFilledFormSaysWhatTheSessionHolds(t *testing.T) {
	s := arranged(t, cases(1)[:3], SittingOptions{Reader: "r01"})
	var form bytes.Buffer
	if err := s.WriteForm(&form); err != nil {
		t.Fatal(err)
	}
	value, now := 5.5, time.Now()
	line := Line{A: r3.Vec{X: 3, Y: 4}, B: r3.Vec{X: 8.5, Y: 4}, OnSheet: true}
	for i, r := range []Reading{{Value: &value, Certainty: 3, Line: &line}, {Unreadable: true}} {
		r.Item, r.Question = s.Items[i].Sheet.Item, s.Items[i].Sheet.Question
		if err := s.Commit(r, now); err != nil {
			t.Fatal(err)
		}
	}
	full, err := Fill(form.Bytes(), s.Readings())
	if err != nil {
		t.Fatal(err)
	}
	if fresh, err := s.Take(read(t, full), now, false); fresh != 0 || err != nil {
		t.Errorf("%d answers are new, %v; want none\n%s", fresh, err, full)
	}
	other := arranged(t, cases(1)[:3], SittingOptions{Reader: "r01"})
	if fresh, err := other.Take(read(t, full), now, false); fresh != 2 || err != nil {
		t.Errorf("another session took %d answers, %v; want 2\n%s", fresh, err, full)
	}
	if got := other.Answers[0].Reading; got.Line == nil || *got.Line != line || *got.Value != value {
		t.Errorf("read back as %+v", got)
	}
}

// The time of an item runs from its first look; one that was looked at before the sitting was broken off has none, and the next
// has one again.
func TestItemSeenBeforeABreakHasNoTime(t *testing.T) {
	s, now := arranged(t, cases(1)[:3], SittingOptions{Reader: "r01"}), time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	answer := func(after time.Duration) *float64 {
		value := 9.0
		next := s.Next().Sheet
		if err := s.Commit(Reading{Item: next.Item, Question: next.Question, Value: &value}, now.Add(after)); err != nil {
			t.Fatal(err)
		}
		return s.Answers[len(s.Answers)-1].Reading.Seconds
	}
	if !s.Look(now) || s.Look(now.Add(5*time.Second)) {
		t.Error("the first look is the first, and no other")
	}
	if got := answer(20 * time.Second); got == nil || *got != 20 {
		t.Errorf("took %v, want 20 s", got)
	}
	s.Look(now.Add(30 * time.Second))
	var kept bytes.Buffer
	if err := s.Write(&kept); err != nil {
		t.Fatal(err)
	}
	s, err := ReadSession(&kept)
	if err != nil {
		t.Fatal(err)
	}
	s.Resume()
	if s.Look(now.Add(40 * time.Second)) {
		t.Error("it was seen before the break")
	}
	if got := answer(50 * time.Second); got != nil {
		t.Errorf("took %g s; nobody knows", *got)
	}
	s.Look(now.Add(60 * time.Second))
	if got := answer(61 * time.Second); got == nil || *got != 1 {
		t.Errorf("took %v, want 1 s", got)
	}
	if s.Look(now) {
		t.Error("nothing is left to look at")
	}
}
