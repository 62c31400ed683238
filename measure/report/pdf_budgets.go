package report

import (
	"fmt"
	"strings"
)

// worthPrinting is the part of the greatest share from which on a term stands in the PDF: less than a tenth of it moves
// U by less than 1 %. The page and result.json have all.
const worthPrinting = 0.1

// budgets writes the appendix: each number's budget, site after site, the terms by letters that the first lines explain.
func (d *pdfDoc) budgets(v pageView) {
	d.title("Appendix: where the uncertainty comes from", 30)
	d.bookmark("Appendix: where the uncertainty comes from", 0)
	d.say("Each number's U, and its terms' shares of the standard uncertainty u, largest first, in its own unit; \"+ 3\": three terms more, each below a tenth of the largest. Shares add in squares, but for terms that are correlated. The web page and result.json have all terms.", pdfNotes, regular, soft)
	letters, key := termLetters(v.Sites)
	d.y += 1
	d.say(key, pdfNotes, regular, black)
	for _, s := range v.Sites {
		t := pdfTable{[]float64{0.41, 0.125, 0.465}, []string{"Number", "U", "Shares of u"}, nil, pdfLeast}
		for _, b := range s.Budgets {
			t.rows = append(t.rows, namedRow(b.Name, b.U, letterShares(b, letters)))
		}
		if len(t.rows) > 0 {
			d.bookmark("Site "+s.ID, 1)
			d.titled("Site "+s.ID, t)
		}
	}
}

// termLetters gives every term that is printed a letter, in the order in which they come, and says which is which.
func termLetters(sites []siteView) (letters map[string]string, key string) {
	letters = map[string]string{}
	var parts []string
	for _, s := range sites {
		for _, b := range s.Budgets {
			for _, t := range b.terms[:printed(b)] {
				if letters[t.Name] == "" {
					letters[t.Name] = letterOf(len(letters))
					parts = append(parts, letters[t.Name]+" "+t.Name)
				}
			}
		}
	}
	return letters, strings.Join(parts, "; ")
}

// letterOf returns a, b, … z, aa, ab, …
func letterOf(n int) string {
	letter := string(rune('a' + n%26))
	if n >= 26 {
		return letterOf(n/26-1) + letter
	}
	return letter
}

// printed returns how many of a budget's terms stand in the PDF.
func printed(b budgetRow) int {
	n := 0
	for n < len(b.terms) && share(b.terms[n]) >= worthPrinting*share(b.terms[0]) && share(b.terms[n]) > 0 {
		n++
	}
	return n
}

func letterShares(b budgetRow, letters map[string]string) string {
	n := printed(b)
	var parts []string
	for _, t := range b.terms[:n] {
		parts = append(parts, letters[t.Name]+" "+rounded(share(t), 3))
	}
	if less := len(b.terms) - n; less > 0 {
		parts = append(parts, fmt.Sprintf("+ %d", less))
	}
	return strings.Join(parts, "  ")
}
