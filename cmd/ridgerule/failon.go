package main

import (
	"fmt"
	"slices"
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/safety"
)

// verdictWords are what --fail-on accepts: each finds its verdict and every graver one.
var verdictWords = map[string]safety.Verdict{
	"uncertain": safety.Uncertain, "not-assessed": safety.NotAssessed, "not-held": safety.NotHeld,
}

const failOnHelp = "exit with 4 when a verdict is this or graver: `uncertain`, not-assessed, not-held (gravest)"

// checkFailOn refuses a word that --fail-on does not know.
func checkFailOn(words []string) error {
	for _, w := range words {
		if _, known := verdictWords[w]; !known {
			return usagef("--fail-on %q is none of uncertain, not-assessed, not-held", w)
		}
	}
	return nil
}

// failOn returns an error for exit status 4 when the result holds a verdict that words name, or a
// graver one. The message gives the gravest that was found.
func failOn(r *measure.Result, words []string) error {
	for _, v := range safety.Verdicts() {
		for _, w := range words {
			if verdictWords[w].WorseThan(v) {
				continue
			}
			if where := placesOf(r, v); len(where) > 0 {
				return errFound{fmt.Errorf("--fail-on %s: %s at %s", w, v, strings.Join(where, ", "))}
			}
		}
	}
	return nil
}

// placesOf returns the sites (and pairs of sites) with a verdict of this kind.
func placesOf(r *measure.Result, v safety.Verdict) []string {
	var at []string
	for _, s := range r.Sites {
		has := s.Verdict == v || slices.ContainsFunc(s.Rows, func(row measure.Row) bool { return row.Verdict == v })
		if has || s.Err != "" && v == safety.NotAssessed {
			at = append(at, s.ID)
		}
	}
	for _, row := range r.Arch.Rows {
		if row.Verdict == v && !slices.Contains(at, row.Sites) {
			at = append(at, row.Sites)
		}
	}
	return at
}
