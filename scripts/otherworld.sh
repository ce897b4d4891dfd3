#!/usr/bin/env bash
# Renders captures by another hand than eval/scene (scripts/otherworld/render.py), runs the detector over them with their ranges, and
# scores the run by their truth. Nothing may be fitted on these scenes, nor any limit chosen by them: they are the check of it.
# A minute or two. Captures and the run stay below OUT.
#
# Usage: otherworld.sh SHADOWGAP OUT SEED
set -euo pipefail
tool=$1
out=$2
seed=$3
python=/usr/bin/python3 # Debian's, whose packages render.py needs
captures=$out/captures
run=$out/run
rm -rf "$captures" "$run" # the scenes or the detector may have changed
mkdir -p "$out"
"$python" scripts/otherworld/render.py "$captures" --count 60 --empty 15 --seed "$seed"
code=0
"$tool" triage "$captures" --out "$run" --manifest "$captures/manifest.csv" --top 1 --pictures none >"$out/triage.txt" || code=$?
[ "$code" -eq 0 ] || [ "$code" -eq 3 ] || exit "$code"
"$tool" score "$run" --labels "$captures/labels.json"
