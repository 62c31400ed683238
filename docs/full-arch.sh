#!/bin/sh
# A full arch from the first scan to follow-up, on a synthetic jaw: six implants, four last teeth to align by.
#
#   sh docs/full-arch.sh DIR
#
# ridgerule must be on the PATH; DIR must not exist. With a patient: the first command goes, and in place of its files stand the
# scan, the plan, the tooth set-up, pairs of points marked on set-up and scan, and the recording. Each align leaves a page
# (setup.html, align.html): a person looks at it before the acceptance. docs/alignment.md walks through it with pictures.
set -eu
mkdir "$1"
cd "$1"

# The jaw: first scan and plan, set-up and marked pairs, a second scan a year after surgery, what a scanner recorded of the implants.
ridgerule phantom -o jaw --voxel 0.6 --blur 0.3 --noise 60 --sites 46,44,42,32,34,36 --teeth 33,43,37,47 \
  --surfaces --second --second-placed --second-lost 1 --quiet >phantom.txt

# 1. The planned teeth into the first scan's frame; looked at; accepted.
ridgerule align jaw/surfaces/setup.stl jaw/scan --start jaw/surfaces/pairs.csv -o setup.json --quiet
ridgerule align --accept setup.json --by "reviewer 1" --quiet

# 2. The plan with its planned teeth and mucosa and a window for the screws; measured.
cp jaw/surfaces/setup.stl jaw/surfaces/mucosa.stl .
{
  cat jaw/plan.yaml
  echo 'restoration: {surface: setup.stl, mucosa: mucosa.stl, align: setup.json, exit_window_mm: {buccal: 1, lingual: 2, mesial: 1, distal: 1}, exit_window_source: "laboratory 1"}'
} >plan.yaml
ridgerule measure jaw/scan --plan plan.yaml -o result --quiet

# 3. The second scan: aligned over basal bone; looked at; accepted. Then placed against planned, and the bone since.
ridgerule align jaw/scan jaw/scan2 --mask plan.yaml -o align.json --quiet
ridgerule align --accept align.json --by "reviewer 1" --quiet
ridgerule compare jaw/scan jaw/scan2 --plan plan.yaml --align align.json --placed -o change --quiet

# 4. What was recorded of the implants, against the plan; both in the recording's frame for those who build.
ridgerule positions result/result.json jaw/positions/recorded.csv --source "intra-oral scan" -o positions --quiet

cat <<END

Made in $PWD; begin with the pages:
  setup.html, align.html            how well each alignment holds: look, then accept
  result/report.html                the sites before surgery; measurements.csv: exit_buccal, exit_mesial against the window
  change/report.html                bone then and now, placed against planned; changes.csv, placed.csv
  positions/report.html             the recorded positions against the plan; positions.csv
  positions/export/                 planned and recorded, CSV and STL, in the recording's frame; frames.json names it
END
