// Package study measures many cases: a manifest in, one whole folder a case, tables of all of them
// out, whatever was interrupted on the way and on however many machines.
//
//	manifest ──OpenManifest──► Manifest ──Run──► DIR/cases/NAME/ ──Merge──► measurements.csv · sites.csv · failures.csv
//	one case ──Simulate──► what a reader's hand does to each number
//
// The rules that make a study resumable, and its bytes the same in any order:
//
//   - The unit of work is an entry: one reading of one case. It grows in cases/.NAME.part, which is
//     locked while it grows, and appears as cases/NAME by one rename: whole or absent.
//   - cases/NAME/inputs.json is its done-marker: a hash of what the outputs follow from. An entry is
//     measured again when that differs from what stands on the disk now, and only then.
//   - What failed leaves failed/NAME.json, and goes when the entry succeeds. Nothing is appended to
//     and nothing shared is written by two: a kill at any moment loses the entries in flight.
//   - Merge reads what stands there in the manifest's order. Nothing in the tables says when, where,
//     by how many, or in which order the entries were measured.
//
// How an entry is measured comes in as a value, [Options.Do]; the command starts a process for each,
// so that one that ends badly ends alone and its memory goes back with it. No path and no identity is
// in any output: labels are the manifest's.
package study
