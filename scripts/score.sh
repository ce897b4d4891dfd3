#!/usr/bin/env bash
# Scores the detector: on the demo survey against its truth and against labels drawn by eye, on scenes rendered from seeds that
# no fit has seen, of the kinds the demo shows and of the wide world, and, when they are at hand (SHADOWGAP_OPEN_DATA, or
# ../shared/open-data), on the open pictures labelled by eye, half A (fitted on) and half B (only reported) apart, and on the open
# tiles. SCORE_SEALED=1 adds the sealed scenes: to be looked at once, when nothing will be changed any more. Compares the labels drawn
# by eye with the truth as well. Tables and a summary go to standard output, results.json and report.html of each
# part below OUT.
# Usage: score.sh SHADOWGAP OUT
set -euo pipefail
tool=$1
out=$2
demo=testdata/demo
open=${SHADOWGAP_OPEN_DATA:-../shared/open-data}
tiles=$open/river-effigy
nosonar=${SCORE_NOSONAR:-}
scenes=${SCORE_SCENES:-72} # every kind of scene equally often
wide=${SCORE_WIDE:-120}
seed=100000 # fits use seeds below
sealed_seed=900000
sealed_scenes=300
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
triage "$scratch/captures" "$scratch/scenes" --manifest "$scratch/captures/manifest.csv"
score "$scenes rendered scenes, seeds from $seed" scenes "$scratch/scenes" --labels "$scratch/captures/labels.json"

rendered() { # NAME FOLDER SEED COUNT
	"$tool" scene --kind wide --seed "$3" --count "$4" --out "$scratch/$2-captures" >/dev/null
	triage "$scratch/$2-captures" "$scratch/$2" --manifest "$scratch/$2-captures/manifest.csv"
	score "$1" "$2" "$scratch/$2" --labels "$scratch/$2-captures/labels.json"
}
rendered "$wide scenes of the wide world, seeds from $seed" wide "$seed" "$wide"
if [ "${SCORE_SEALED:-0}" = 1 ]; then
	rendered "$sealed_scenes sealed scenes of the wide world" sealed "$sealed_seed" "$sealed_scenes"
fi

if [ -d "$open/survey-lines" ] && [ -d "$open/harbour-swaths" ] && [ -d "$open/river-bottom" ]; then
	mkdir "$scratch/open"
	for part in survey-lines harbour-swaths river-bottom; do
		ln -s "$(cd "$open/$part" && pwd)" "$scratch/open/$part"
	done
	triage "$scratch/open" "$scratch/open-run" --follow-links
	score 'open pictures, half A (fitted on)' open-a "$scratch/open-run" --labels testdata/open/labels.json --half a
	score 'open pictures, half B' open-b "$scratch/open-run" --labels testdata/open/labels.json --half b
	if [ "${SCORE_SHOWN:-1}" = 1 ]; then
		for half in a b; do
			printf '\n== whole swaths of half %s shown differently\n' "${half^}"
			"$tool" score --shown "$open" --labels testdata/open/labels.json --half "$half" --out "$out/shown-$half"
		done
	fi
else
	echo "score: no open pictures at $open (set SHADOWGAP_OPEN_DATA); left out" >&2
fi

if [ -d "$tiles/images" ] && [ -d "$tiles/masks" ]; then
	triage "$tiles/images" "$scratch/tiles"
	score 'open tiles' tiles "$scratch/tiles" --tiles "$tiles/masks"
else
	echo "score: no open tiles at $tiles (set SHADOWGAP_OPEN_DATA); left out" >&2
fi

if [ -d "$nosonar" ]; then
	printf '\n== pictures that are no sonar, from packages that no fit saw\n'
	triage "$nosonar" "$scratch/nosonar"
	"$tool" score "$scratch/nosonar" --no-sonar --out "$out/nosonar"
else
	echo "score: no pictures that are no sonar at \"$nosonar\" (models/reader/nosonar.py FIT SCORE makes them; set SCORE_NOSONAR to SCORE); left out" >&2
fi

printf '\n== Summary (95 %% intervals)\n\n'
tee "$out/summary.md" <"$summary"
