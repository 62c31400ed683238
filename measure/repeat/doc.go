// Package repeat says how well repeated measurements agree: a tidy table in, figures with their
// intervals out.
//
//	CSV ──Read──► []Reading ──Analyse──► *Result ──► CSV · JSON · methods text · plots
//	     └───────────── Agree ──────────────┘
//
// It knows nothing of scans. The unit is the user's: a figure carries the unit of the value column
// as text, its square where it is a variance, and "1" where it has none.
//
// Three words decide what is compared:
//
//	subject    the thing measured more than once: a site, a case, or both joined
//	rater      who or what measured: a reader, a device, a session
//	replicate  a repeat of one subject by one rater; where only one rater is in the table,
//	           the replicates take the raters' place and the study is of that rater alone
//
// The model follows from the table, is never guessed silently, and stands in Design.Model:
//
//	every subject by every rater, once      two-way; all six ICCs; exact intervals
//	the same with m replicates each         two-way with interaction; pairs compare means of m
//	anything else                           two-way with unequal numbers, by restricted maximum
//	                                        likelihood; one-way where raters cannot be told apart
//
// Formulas and sources: docs/agreement.md.
package repeat
