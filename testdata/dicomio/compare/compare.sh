#!/bin/sh
# Reads one native series with this project's reader, a bare read, GDCM and DCMTK, in turn, in one run, and prints each
# round, the best of each and the peak memory. Needs g++, libgdcm-dev and libdcmtk-dev for the two others.
#
# Usage, from the root of the repository: testdata/dicomio/compare/compare.sh [COLUMNS ROWS SLICES [ROUNDS]]
set -eu
here=testdata/dicomio/compare
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go build -o "$work/ours" "./$here"
programs="ours-series ours-bare"
if g++ -std=c++17 -O2 -w $(ls -d /usr/include/gdcm-* | sed 's/^/-I/') "$here/others/gdcm.cpp" -o "$work/gdcm" -lgdcmMSFF -lgdcmDSED -lgdcmDICT -lgdcmCommon 2>"$work/log"; then
  programs="$programs gdcm"
else
  echo "GDCM left out: $(head -1 "$work/log")"
fi
if g++ -std=c++17 -O2 -w "$here/others/dcmtk.cpp" -o "$work/dcmtk" -ldcmdata -loflog -lofstd 2>"$work/log"; then
  programs="$programs dcmtk"
else
  echo "DCMTK left out: $(head -1 "$work/log")"
fi
"$work/ours" write "$work/series" "${1:-512}" "${2:-512}" "${3:-512}"
for round in $(seq "${4:-5}"); do
  for p in $programs; do
    case $p in
      ours-*) set -- "$work/ours" "${p#ours-}" ;;
      *) set -- "$work/$p" ;;
    esac
    /usr/bin/time -o "$work/time" -f "%U+%S s  %M KiB" "$@" "$work/series" >"$work/out"
    echo "$p $(cat "$work/out")  $(cat "$work/time")" | tee -a "$work/all"
  done
done
echo "best:"
for p in $programs; do
  grep "^$p " "$work/all" | sort -k2 -n | head -1
done
