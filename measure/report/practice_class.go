package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"ridgerule/measure/practice"
)

type classReader struct {
	Code, Within, Bias, SD, Dahlberg, Criterion string
	Blunders, Unsafe                            int
	Kinds                                       []practice.Finding
}

type classTally struct {
	Name, Kind, Level, Ask, Within, Bias, Cause, Why string
	Unsafe                                           int
}

// ClassPage writes what the marks of many readers say together.
func ClassPage(w io.Writer, c *practice.Class) error {
	head, err := newPracticePage("Class")
	if err != nil {
		return err
	}
	page := struct {
		practicePage
		Answer               string
		Readers              []classReader
		Kinds, Levels, Sites []classTally
		Clear                string // kinds of site that nobody missed
		Rules                []string
	}{practicePage: head, Answer: classAnswer(c), Rules: c.Rules.Words(), Levels: talliesOf(c.Levels), Sites: talliesOf(c.Sites)}
	missed, clear := splitKinds(c.Kinds)
	page.Kinds, page.Clear = talliesOf(missed), strings.Join(clear, ", ")
	for _, s := range c.Readers {
		page.Readers = append(page.Readers, readerOf(s))
	}
	return practicePages().ExecuteTemplate(w, "class", page)
}

// splitKinds tells the kinds of site that somebody missed from the names of those that nobody did.
func splitKinds(all []practice.Tally) (missed []practice.Tally, clear []string) {
	for _, t := range all {
		if t.Within.Hits < t.Within.Of {
			missed = append(missed, t)
			continue
		}
		clear = append(clear, t.Name)
	}
	return missed, clear
}

func classAnswer(c *practice.Class) string {
	against, order := "the truth", "in the order of their codes"
	if c.Reference != "" {
		against = "the values of reader " + c.Reference
	}
	if c.Ranked {
		order = "ranked by the share within"
	}
	return fmt.Sprintf("%d readers held against %s, %s.", len(c.Readers), against, order)
}

func readerOf(s *practice.Summary) classReader {
	r := classReader{Code: s.Reader, Within: shareWords(s.Share), Criterion: string(s.Criterion), Blunders: len(s.Blunders), Unsafe: len(s.Unsafe), Kinds: s.Kinds,
		Bias: string(practice.TooFew), SD: string(practice.TooFew), Dahlberg: string(practice.TooFew)}
	if p := s.Lengths.Pair; p != nil {
		r.Bias, r.SD = estimateWords(p.Bias, "mm", true), estimateWords(p.SD, "mm", false)
	}
	if d := s.Lengths.Dahlberg; d != nil {
		r.Dahlberg = estimateWords(d.Dahlberg, "mm", false)
	}
	return r
}

func talliesOf(list []practice.Tally) []classTally {
	var out []classTally
	for _, t := range list {
		one := classTally{Name: t.Name, Kind: t.Kind, Level: string(t.Level), Within: shareWords(t.Within), Unsafe: t.Unsafe, Why: t.Why, Ask: questionName(t.Question)}
		if !math.IsNaN(t.Mean) {
			one.Bias = signedWords(t.Mean, t.Unit)
		}
		if t.Causes > 0 {
			one.Cause = fmt.Sprintf("%s (%d times)", t.Cause, t.Causes)
		}
		out = append(out, one)
	}
	return out
}
