#!/usr/bin/env bash
# Which deliberate faults do a room's own tests miss? By hand or at night, from anywhere:
#   bash testdata/mutate.sh measure/uncertainty dicomio/volume
# Without arguments every room that carries a rule of safety or a number. The tree is left as it is. Of measure/ridge, whose
# tests fit things, a sample is drawn. Exit status 1 where less than 90 % of the mutants tried are killed, or less than 90 %
# of mutants or statements reached by the room's tests. What survives is in docs/testing.md, with the reason.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1

rooms=("$@")
[ ${#rooms[@]} -gt 0 ] || rooms=(measure/uncertainty measure/reformat dicomio/volume measure/solid measure/safety measure/plan measure/ridge)

short=()
for room in "${rooms[@]}"; do
  printf '\n=== %s\n' "$room"
  draw=()
  [ "$room" != measure/ridge ] || draw=(-sample 265 -seed 2027) # all of them: most of a day
  go run ./testdata/mutate "${draw[@]}" "$room" || short+=("$room")
done
[ ${#short[@]} -eq 0 ] || { printf '\nshort of 90 %%: %s\n' "${short[*]}"; exit 1; }
