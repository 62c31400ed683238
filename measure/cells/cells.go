// Package cells writes the cells of CSV tables, so that all tables of ridgerule read alike: text that no spreadsheet runs
// as a formula, numbers with four decimals, and nothing where a number is not known.
//
//	cells.Text("=1+1")   '=1+1
//	cells.Number(2.5)    2.5000
//	cells.Depth(&three)  3
package cells

import (
	"encoding/csv"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Text returns text as a cell that no spreadsheet runs: control characters become spaces, and a text that would begin a
// formula is preceded by an apostrophe. Full-width signs count, since some spreadsheets fold them into plain ones.
//
// Source: OWASP, CSV Injection.
func Text(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
	if strings.IndexAny(strings.TrimLeft(text, " \u00a0\ufeff"), "=+-@\uff1d\uff0b\uff0d\uff20") == 0 {
		return "'" + text
	}
	return text
}

// Note joins the remarks that stand in one cell, leaving out empty ones: "too thin; beside a root".
func Note(remarks ...string) string {
	said := slices.DeleteFunc(slices.Clone(remarks), func(r string) bool { return r == "" })
	return strings.Join(said, "; ")
}

// Number returns x with four decimals, in its own unit: 0.1 µm, far below any scan, so that a recomputation can be compared.
// NaN and infinities are empty; there is no minus zero.
func Number(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	if text := strconv.FormatFloat(x, 'f', 4, 64); text != "-0.0000" {
		return text
	}
	return "0.0000"
}

// Optional returns the number behind x as [Number] does; nil is empty.
func Optional(x *float64) string {
	if x == nil {
		return ""
	}
	return Number(*x)
}

// Depth returns a depth (mm) in as few digits as say it to four decimals: "3", "2.5", "10.2607"; nil, NaN and infinities
// are empty.
func Depth(x *float64) string {
	if x == nil || Number(*x) == "" {
		return ""
	}
	return strconv.FormatFloat(math.Round(*x*1e4)/1e4, 'f', -1, 64)
}

// Write writes rows as CSV (RFC 4180, UTF-8, LF).
func Write(w io.Writer, rows [][]string) error { return csv.NewWriter(w).WriteAll(rows) }
