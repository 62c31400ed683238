#!/usr/bin/env bash
# Which deliberate faults do a room's own tests miss? By hand or at night, from anywhere:
#   bash testdata/mutate.sh measure/uncertainty dicomio/volume
# Without arguments every room that carries a rule of safety or a number (measure/ridge takes a night). The mutants
# are made in a copy of the module, never in this tree. Exit status 1 where less than 90 % of a room's mutants are
# killed, or less than 90 % reached by its tests. What survives is in docs/testing.md, with the reason.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.." || exit 1

tester=github.com/go-gremlins/gremlins/cmd/gremlins@v0.6.0
rooms=("$@")
[ ${#rooms[@]} -gt 0 ] || rooms=(measure/uncertainty measure/reformat dicomio/volume measure/solid measure/safety measure/plan measure/ridge)

# The conditions of a switch's cases count as never reached, for Go's coverage has no place for them: left out.
unreached() { # unreached ROOM < the tester's words: how many others no test reaches
  local room=$1 file line n=0
  while IFS=: read -r file line _; do
    sed -n "${line}p" "$room/$file" | grep -qE '^\s*case ' || n=$((n + 1))
  done < <(sed -n 's/.*NOT COVERED .* at //p')
  echo $n
}

short=()
for room in "${rooms[@]}"; do
  printf '\n=== %s\n' "$room"
  # One worker: a mutant that runs into another's load would be timed out, which counts for nothing.
  said=$(go run "$tester" unleash --workers 1 --timeout-coefficient 10 --output-statuses lct "./$room" | tee /dev/stderr)
  read -r killed lived < <(sed -n 's/^Killed: \([0-9]*\), Lived: \([0-9]*\),.*/\1 \2/p' <<<"$said")
  missed=$(unreached "$room" <<<"$said")
  all=$((${killed:-0} + ${lived:-0}))
  printf '%s: %d killed, %d survived, %d not reached\n' "$room" "${killed:-0}" "${lived:-0}" "$missed"
  [ $all -gt 0 ] && [ $((10 * killed)) -ge $((9 * all)) ] && [ $((10 * all)) -ge $((9 * (all + missed))) ] || short+=("$room")
done
[ ${#short[@]} -eq 0 ] || { printf '\nshort of 90 %%: %s\n' "${short[*]}"; exit 1; }
