#!/usr/bin/env bash
# Scores the detector on the labelled captures of testdata/demo, against the boxes drawn by hand and against the truth they
# were rendered from, and on the open tiles when they are at hand (SHADOWGAP_OPEN_DATA, or ../shared/open-data).
# Usage: score.sh SHADOWGAP OUT
set -euo pipefail
tool=$1
out=$2
demo=testdata/demo
tiles=${SHADOWGAP_OPEN_DATA:-../shared/open-data}/river-effigy

run() { # CAPTURES RUN [OPTION…]
	local captures=$1 folder=$2 code=0
	shift 2
	"$tool" triage "$captures" --out "$folder" --top 1 --pictures none "$@" >/dev/null || code=$?
	[ "$code" -eq 0 ] || [ "$code" -eq 3 ] || exit "$code"
}

scored=no
if [ -d "$demo/captures" ]; then
	run "$demo/captures" "$out/demo" --manifest "$demo/manifest.csv" --track "$demo/track.gpx"
	for labels in "$demo"/truth/labels.json "$demo"/hand/*.json; do
		[ -f "$labels" ] || continue
		name=$(basename "$labels" .json)
		[ "$name" != labels ] || name=$(basename "$(dirname "$labels")")
		printf '\n== %s against %s\n' "$demo/captures" "$labels"
		"$tool" score "$out/demo" --labels "$labels" --out "$out/demo-$name"
		scored=yes
	done
fi
if [ -d "$tiles" ]; then
	captures=$tiles/images
	masks=$tiles/masks
	if [ -d "$captures" ] && [ -d "$masks" ]; then
		run "$captures" "$out/tiles"
		printf '\n== %s\n' "$tiles"
		"$tool" score "$out/tiles" --tiles "$masks" --out "$out/tiles"
		scored=yes
	fi
else
	echo "score: no open tiles at $tiles (set SHADOWGAP_OPEN_DATA); left out" >&2
fi
[ "$scored" = yes ] || { echo "score: nothing to score: neither $demo nor $tiles has labels" >&2; exit 1; }
