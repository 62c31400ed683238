package desk

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
)

// drawnSet is a set of two sections with its key, and how its pictures are made.
func drawnSet(t testing.TB) (*practice.Set, func(context.Context, practice.Sheet) (report.Picture, error)) {
	t.Helper()
	set, err := practice.Draw(practice.Options{Items: 2, Seed: 16, Salt: []byte("0123456789abcdef")})
	require.NoError(t, err)
	return set, func(ctx context.Context, sheet practice.Sheet) (report.Picture, error) {
		for i := range set.Key.Items {
			if set.Key.Items[i].Sheet.Item == sheet.Item {
				v, err := set.Key.Items[i].Scan(ctx, func(float64) {})
				require.NoError(t, err)
				return report.PictureOf(reformat.Resample(v, sheet.Frame, reformat.UV{U: 0.05, V: 0.05}, reformat.UV{U: sheet.Width - 0.05, V: sheet.Height - 0.05}, 0.1)), nil
			}
		}
		return report.Picture{}, errors.New("no such item")
	}
}

// sittingOf serves a practice of the set until the test ends.
func sittingOf(t testing.TB, p Practice) *Desk {
	t.Helper()
	d, err := OpenPractice(p, Options{})
	require.NoError(t, err)
	serve(t, d)
	return d
}

// serve serves a desk until the test ends.
func serve(t testing.TB, d *Desk) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Serve(ctx) }()
	t.Cleanup(func() { cancel(); require.NoError(t, <-ended) })
}

// broken are the rules of WCAG that a program finds broken on a page that has axe; "" where none is.
const broken = `axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.html.slice(0, 160)).join(" | ")).join("\n"))`

// seek asks a desk by GET and returns status and body.
func seek(t *testing.T, d *Desk, secret, path string) (int, string) {
	t.Helper()
	r := httptest.NewRequest("GET", "http://127.0.0.1:"+d.port()+path, nil)
	r.Header.Set("Authorization", "Bearer "+secret)
	w := httptest.NewRecorder()
	d.handler.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// trueEnds are the ends of an item's true line on its sheet.
func trueEnds(t *testing.T, key *practice.Key, item string) [2]point {
	_, line, ok := key.Find(item)
	require.True(t, ok)
	return [2]point{onSheet(line[0]), onSheet(line[1])}
}

// In a test nothing of the truth leaves the server before the last answer, whatever is asked; in practice nothing of an item's
// before its own. Answers stay, are kept first, and are not taken where they cannot be.
func TestNothingIsToldBeforeItsAnswer(t *testing.T) {
	set, load := drawnSet(t)
	for _, test := range []bool{true, false} {
		kept, fail := 0, errors.New("full")
		full := fail
		s := practice.NewSession("r07", set.Sheets)
		d := sittingOf(t, Practice{Session: s, Picture: load, Key: set.Key, Test: test, Rules: practice.Usual(), Keep: func(*practice.Session) error { kept++; return fail }})
		secret := d.secrets.enter("Bearer " + d.secrets.invite())
		told := func(answer string) bool {
			var v practiceView
			require.NoError(t, json.Unmarshal([]byte(answer), &v))
			return v.Last != nil || len(v.Marks) > 0
		}
		first, second := set.Sheets[0].Item, set.Sheets[1].Item
		give := func(item string, sure int) (int, string) {
			return post(t, d, secret, "answer", "", lineAsked{Item: item, Line: trueEnds(t, set.Key, item), Certainty: sure})
		}
		_, text := seek(t, d, secret, "/api/practice")
		assert.False(t, told(text))
		status, _ := seek(t, d, secret, "/api/sheet?item="+second)
		assert.Equal(t, http.StatusUnprocessableEntity, status, "a section that is not in hand")
		status, _ = seek(t, d, secret, "/api/sheet?item="+first)
		assert.Equal(t, 422, status, "that it was seen could not be kept")
		fail = nil
		status, _ = seek(t, d, secret, "/api/sheet?item="+first)
		assert.Equal(t, 200, status)
		fail = full
		status, _ = post(t, d, secret, "answer", "", lineAsked{Item: first, Line: [2]point{{1, 1}, {1, 99}}, Certainty: 2})
		assert.Equal(t, 422, status, "an end lies off the sheet")
		status, _ = post(t, d, secret, "answer", "", lineAsked{Item: first, Unreadable: true})
		assert.Equal(t, 422, status, "every section of practice can be read")
		status, _ = give(second, 2)
		assert.Equal(t, 422, status, "another is in hand")
		status, _ = give(first, 0)
		assert.Equal(t, 422, status, "how sure?")
		status, _ = give(first, 2)
		assert.Equal(t, 422, status, "it could not be kept")
		assert.Empty(t, s.Answers)
		fail = nil
		status, text = give(first, 2)
		require.Equal(t, 200, status, text)
		assert.Equal(t, !test, told(text))
		assert.Equal(t, 4, kept, "of the section and of its answer, each when it could be")
		status, _ = give(first, 3)
		assert.Equal(t, 422, status, "an answer stays as it was given")
		status, _ = seek(t, d, secret, "/api/sheet?item="+first)
		assert.Equal(t, map[bool]int{true: 422, false: 200}[test], status)
		_, text = seek(t, d, secret, "/api/practice")
		assert.False(t, told(text))
		status, text = give(second, 1)
		require.Equal(t, 200, status, text)
		var v practiceView
		require.NoError(t, json.Unmarshal([]byte(text), &v))
		require.Len(t, v.Marks, 2)
		for _, m := range v.Marks {
			assert.Equal(t, string(practice.Within), m.Verdict, "the true line: %+v", m)
		}
		require.NotNil(t, s.Answers[0].Reading.Seconds, "how long it was looked at")
	}
}

// A section is measured, marked and left by keys alone; a program finds no rule of WCAG broken on the way.
func TestPracticeByKeys(t *testing.T) {
	set, load := drawnSet(t)
	s := practice.NewSession("r07", set.Sheets)
	d := sittingOf(t, Practice{Session: s, Picture: load, Key: set.Key, Rules: practice.Usual(), Keep: func(*practice.Session) error { return nil }})
	b := newTab(t, d.Address())
	says[bool](b, axe(t)+"; true")
	clean := func(where string) {
		assert.Empty(t, says[string](b, broken), where)
	}
	for i, sheet := range set.Sheets {
		b.until(`document.querySelector("[data-item=` + sheet.Item + `]")`)
		b.ready("sheet")
		b.tabTo("New end of the line")
		b.press(kb.Enter + strings.Repeat(kb.ArrowLeft, 8) + kb.Enter)
		b.until(find("First end of the line"))
		b.tabTo("New end of the line")
		b.press(kb.Enter + strings.Repeat(kb.ArrowRight, 16) + kb.Enter)
		b.until(`document.querySelector("[data-value]").textContent`)
		b.enter("Keep as a guide")
		b.until(`document.querySelectorAll("[data-pane=sheet] .line.dotted").length === 1`)
		b.enter("Take the guide away")
		b.until(`!document.querySelector("[data-pane=sheet] .line.dotted")`)
		for _, way := range []string{kb.ArrowLeft + kb.ArrowUp, strings.Repeat(kb.ArrowRight, 16)} {
			b.tabTo("New end of the line")
			b.press(kb.Enter + way + kb.Enter)
		}
		b.until(`document.querySelector("[data-value]").textContent`)
		clean("a question")
		b.lookAt("practice-ask.png")
		b.tabTo("unsure")
		b.press(" ")
		b.enter("Answer")
		if i+1 < len(set.Sheets) {
			b.until(`document.querySelector("[data-told=` + sheet.Item + `] [data-truth]")`)
			b.ready("sheet")
			clean("a mark")
			b.lookAt("practice-told.png")
			b.size(320, 800)
			assert.LessOrEqual(t, says[float64](b, "document.documentElement.scrollWidth - document.documentElement.clientWidth"), 0.0)
			b.size(1280, 900)
			b.enter("Next section")
		}
	}
	b.until(`document.querySelector("[data-ended] tbody tr:nth-child(2)")`)
	clean("the end")
	b.lookAt("practice-end.png")
	require.Len(t, s.Answers, 2)
	assert.InDelta(t, 1.6, *s.Answers[0].Reading.Value, 0.011, "16 pixels of 0.1 mm")
	assert.Equal(t, 1, s.Answers[0].Reading.Certainty)
	require.Empty(t, b.complaints())
}

// A sitting of a study by keys alone: begin, lay a line, say how sure, answer; the next is said to be unreadable. Nothing tells a
// truth or speaks of one. On a page of 320 px the question comes before the shades, and nothing is wider than the page.
func TestSittingByKeys(t *testing.T) {
	set, load := drawnSet(t)
	s := practice.NewSession("r07", set.Sheets)
	now := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	d, err := OpenPractice(Practice{Session: s, Picture: load, Study: true, Keep: func(*practice.Session) error { return nil }},
		Options{Now: func() time.Time { now = now.Add(time.Second); return now }})
	require.NoError(t, err)
	serve(t, d)
	b := newTab(t, d.Address())
	says[bool](b, axe(t)+"; true")
	clean := func(where string) {
		assert.Empty(t, says[string](b, broken), where)
		for _, word := range []string{"truth", "true", "Synthetic", "error"} {
			assert.NotContains(t, says[string](b, "document.body.innerText"), word, where)
		}
		b.size(320, 800)
		assert.LessOrEqual(t, says[float64](b, "document.documentElement.scrollWidth - document.documentElement.clientWidth"), 0.0, where)
		assert.Positive(t, says[float64](b, `document.querySelector("[data-shade]").getBoundingClientRect().top - document.querySelector(".lead").getBoundingClientRect().bottom`), "%s: the shades come after", where)
		b.lookAt("sitting-narrow-" + where + ".png")
		b.size(1280, 900)
		b.lookAt("sitting-" + where + ".png")
	}
	clean("begin")
	require.Empty(t, s.Seen, "nothing was seen before it was asked for")
	b.enter("Begin")
	b.until(`document.querySelector("[data-item=` + set.Sheets[0].Item + `]")`)
	b.ready("sheet")
	b.tabTo("New end of the line")
	b.press(kb.Enter + strings.Repeat(kb.ArrowLeft, 8) + kb.Enter)
	b.tabTo("New end of the line")
	b.press(kb.Enter + strings.Repeat(kb.ArrowRight, 16) + kb.Enter)
	b.until(`document.querySelector("[data-value]").textContent`)
	b.tabTo("unsure")
	b.press(kb.ArrowRight)
	clean("ask")
	b.enter("Answer")
	b.until(`document.querySelector("[data-between='1']")`)
	clean("between")
	b.enter("Next section")
	b.until(`document.querySelector("[data-item=` + set.Sheets[1].Item + `]")`)
	b.ready("sheet")
	b.enter("Cannot be read")
	b.until(`document.querySelector("[data-ended]")`)
	clean("end")
	require.Len(t, s.Answers, 2)
	first, second := s.Answers[0].Reading, s.Answers[1].Reading
	assert.InDelta(t, 1.6, *first.Value, 0.011, "16 pixels of 0.1 mm")
	assert.Equal(t, 2, first.Certainty)
	assert.True(t, first.Line.OnSheet)
	assert.True(t, second.Unreadable)
	assert.Equal(t, []float64{1, 1}, []float64{*first.Seconds, *second.Seconds}, "from the section to its answer, by a clock that goes on a second whenever it is asked")
	require.Empty(t, b.complaints())
}
