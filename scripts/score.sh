#!/usr/bin/env bash
# Scores the detector: on the demo survey against its truth and against labels drawn by eye, on scenes rendered from seeds that
# no fit has seen, and on the open tiles when they are at hand (SHADOWGAP_OPEN_DATA, or ../shared/open-data). Compares the
# labels drawn by eye with the truth as well. Tables and a summary go to standard output, results.json and report.html of each
# part below OUT.
# Usage: score.sh SHADOWGAP OUT
set -euo pipefail
tool=$1
out=$2
demo=testdata/demo
tiles=${SHADOWGAP_OPEN_DATA:-../shared/open-data}/river-effigy
scenes=${SCORE_SCENES:-72} # every kind of scene equally often
seed=100000                # fits use seeds below
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
mkdir -p "$out"
summary=$scratch/summary.md

# A run is always made anew: the detector may have changed since the last score.
triage() { # CAPTURES RUN [OPTION…]
	local captures=$1 folder=$2 code=0
	shift 2
	"$tool" triage "$captures" --out "$folder" --top 1 --pictures none "$@" >"$scratch/said" 2>&1 || code=$?
	[ "$code" -eq 0 ] || [ "$code" -eq 3 ] || { cat "$scratch/said" >&2; exit "$code"; }
}

score() { # NAME FOLDER [ARGUMENT…]
	printf '\n== %s\n' "$1"
	"$tool" score --name "$1" --out "$out/$2" --summary "$summary" "${@:3}"
}

triage "$demo/captures" "$scratch/demo" --manifest "$demo/manifest.csv" --track "$demo/track.gpx"
score 'demo survey, against truth' demo-truth "$scratch/demo" --labels "$demo/truth/labels.json"
if [ -f "$demo/hand/labels.json" ]; then
	score 'demo survey, against labels drawn by eye' demo-hand "$scratch/demo" --labels "$demo/hand/labels.json"
	score 'labels drawn by eye, against truth' hand-truth --drawn "$demo/hand/labels.json" --labels "$demo/truth/labels.json"
fi

"$tool" scene --seed "$seed" --count "$scenes" --out "$scratch/captures" >/dev/null
triage "$scratch/captures" "$scratch/scenes"
score "$scenes rendered scenes, seeds from $seed" scenes "$scratch/scenes" --labels "$scratch/captures/labels.json"

if [ -d "$tiles/images" ] && [ -d "$tiles/masks" ]; then
	triage "$tiles/images" "$scratch/tiles"
	score 'open tiles' tiles "$scratch/tiles" --tiles "$tiles/masks"
else
	echo "score: no open tiles at $tiles (set SHADOWGAP_OPEN_DATA); left out" >&2
fi

printf '\n== Summary (95 %% intervals)\n\n'
tee "$out/summary.md" <"$summary"
