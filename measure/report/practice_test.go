package report

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
)

// practiceSet draws a set, with pictures of plain noise: what a page says does not follow from them.
func practiceSet(t *testing.T) (*practice.Set, []PracticeItem) {
	t.Helper()
	set, err := practice.Draw(practice.Options{Items: 24, Seed: 12, Salt: []byte("sixteen bytes..."), Repeats: 0.25})
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 1))
	var items []PracticeItem
	for _, s := range set.Sheets {
		p := Picture{First: reformat.UV{U: 0.5, V: s.Height - 0.5}, Step: 1, Width: int(s.Width), Height: int(s.Height)}
		for range p.Width * p.Height {
			p.Grey = append(p.Grey, float32(1000*r.Float64()))
		}
		items = append(items, PracticeItem{Sheet: s, Picture: p})
	}
	return set, items
}

// A worksheet asks every question once, says how to measure, and holds no answer; of a study it says whose it is, and calls
// nothing synthetic.
func TestWorksheetsAskAndTellNothing(t *testing.T) {
	set, items := practiceSet(t)
	var practised, studied, pdf bytes.Buffer
	require.NoError(t, Worksheet(&practised, items))
	require.NoError(t, SittingSheet(&studied, "r07", items))
	require.NoError(t, SittingPDF(&pdf, "r07", items, A4, time.Unix(0, 0)))
	require.Contains(t, practised.String(), "teach measuring, not diagnosis")
	require.Contains(t, studied.String(), "Reading sheet of r07")
	require.NotContains(t, strings.ToLower(studied.String()), "synthetic")
	require.True(t, bytes.HasPrefix(pdf.Bytes(), []byte("%PDF-")))
	for _, it := range set.Key.Items {
		ask, _ := it.Sheet.Question.Words(it.Sheet.Jaw)
		require.Equal(t, 1, strings.Count(practised.String(), `id="`+it.Sheet.Item+`"`))
		require.Contains(t, practised.String(), strings.ReplaceAll(ask, "'", "&#39;"))
		if !strings.Contains(ask, it.Kind) && it.Kind != "anterior loop" {
			require.NotContains(t, practised.String(), it.Kind)
		}
		require.NotContains(t, practised.String(), it.Why)
	}
}

// The page of marks and the page of a class name what was missed: a reader who reads 1 mm too much everywhere has every item
// outside, the unsafe ones first, with a cause that is "perhaps" without a line and "probably" with one.
func TestPagesOfMarksNameWhatWasMissed(t *testing.T) {
	set, items := practiceSet(t)
	var list []practice.Reading
	found := map[string]MarkedItem{}
	for i, it := range set.Key.Items {
		v := it.Truth + 1
		if it.Sheet.Question.Unit() == "deg" {
			v = it.Truth + 6
		}
		r := practice.Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: &v, Certainty: 3}
		_, line, ok := set.Key.Find(it.Sheet.Item)
		require.True(t, ok)
		if i%2 == 0 {
			r.Line = &practice.Line{OnSheet: true}
			r.Line.A.X, r.Line.A.Y, r.Line.B.X, r.Line.B.Y = line[0].U, line[0].V, line[1].U, line[1].V
		}
		list = append(list, r)
		found[it.Sheet.Item] = MarkedItem{PracticeItem: items[i], True: line}
	}
	m, err := practice.MarkReadings([]*practice.Key{set.Key}, [][]practice.Reading{list}, "r07", practice.Usual())
	require.NoError(t, err)
	s, err := practice.Summarise(m)
	require.NoError(t, err)
	var page bytes.Buffer
	require.NoError(t, MarksPage(&page, s, found))
	for _, want := range []string{"0 within, 0 cannot tell, 24 outside, 0 blunders.", "<strong>Perhaps:</strong>", "<strong>Probably:</strong>", "unsafe side: ",
		"How you err throughout", "reads &#43;1.0 mm throughout", "The same where you were sure", "At such a site: "} {
		require.Contains(t, page.String(), want)
	}
	require.NotContains(t, page.String(), "1 blunders")
	c, err := practice.Classify([]*practice.Marks{m}, practice.Usual(), practice.ClassOptions{})
	require.NoError(t, err)
	page.Reset()
	require.NoError(t, ClassPage(&page, c))
	require.Contains(t, page.String(), "0 of 24")
	require.NotContains(t, page.String(), "Missed by nobody")
	// and one who misses nothing
	for i := range list {
		list[i].Value = &set.Key.Items[i].Truth
	}
	m, err = practice.MarkReadings([]*practice.Key{set.Key}, [][]practice.Reading{list}, "r08", practice.Usual())
	require.NoError(t, err)
	c, err = practice.Classify([]*practice.Marks{m}, practice.Usual(), practice.ClassOptions{})
	require.NoError(t, err)
	page.Reset()
	require.NoError(t, ClassPage(&page, c))
	require.Contains(t, page.String(), "Missed by nobody: ")
}
