#!/usr/bin/env bash
# Which deliberate faults do a room's own tests miss? By hand or at night, from anywhere:
#   bash testdata/mutate.sh measure/uncertainty dicomio/volume
# Without arguments every room that carries a rule of safety or a number. The mutants are made in a copy
# of the module, never in this tree. Exit status 1 where a room has less than 90 % of its mutants killed or less than
# 90 % reached by its tests. What survives is in docs/testing.md, with the reason.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1

tester=github.com/go-gremlins/gremlins/cmd/gremlins@v0.6.0
rooms=("$@")
[ ${#rooms[@]} -gt 0 ] || rooms=(measure/uncertainty measure/reformat dicomio/volume measure/safety measure/ridge)

short=()
for room in "${rooms[@]}"; do
  printf '\n=== %s\n' "$room"
  # One worker: a mutant that runs into another's load would be timed out, which counts for nothing.
  go run "$tester" unleash --workers 1 --timeout-coefficient 10 --threshold-efficacy 90 --threshold-mcover 90 \
    --output-statuses lct "./$room" || short+=("$room")
done
[ ${#short[@]} -eq 0 ] || { printf '\nshort of 90 %%: %s\n' "${short[*]}"; exit 1; }
