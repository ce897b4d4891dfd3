#!/usr/bin/env bash
# Scores the detector and tells which bounds are met: a table at the end, real and rendered captures side by side, what was fitted on
# and what no fit has seen. A bound that is missed shows as MISSED and is no error of this script; bounds are in
# eval/figures/bounds.json.
#
#   demo       what make demo renders, and the demo survey in testdata against its truth and against labels drawn by eye
#   rendered   scenes from seeds that no fit has seen, of the kinds the demo shows and of the wide world, with their ranges
#   real       open pictures labelled by eye, half A (fitted on) and half B (only reported), and the open tiles, by halves
#   shown      the whole swaths among them blurred, scaled, recoloured and stored again
#   no sonar   pictures that must be refused
#   peers      what detectors that know nothing of sonar find in the same pictures (scripts/peers.py)
#
# Parts whose pictures are not at hand are left out, and it is said. Tables go to standard output; results.json and report.html of
# each part below OUT. What is kept of it all is written to SUMMARY, which the README quotes (cmd/figures).
#
# Usage: score.sh SHADOWGAP OUT [SUMMARY]
#   SUMMARY  default OUT/summary.json
# Environment:
#   SHADOWGAP_OPEN_DATA  folder of the open pictures; default ../shared/open-data
#   SCORE_NOSONAR        folder of pictures that are no sonar: the SCORE of models/reader/nosonar.py FIT SCORE
#   SCORE_SHOWN=0        leave out the swaths shown differently, minutes of two cores
#   SCORE_PEERS=0        leave out the peers, minutes too; PYTHON is a Python that has scikit-image and OpenCV
#   SCORE_SEALED=1       score the sealed scenes too: to be looked at once, when nothing will be changed any more
#   SCORE_SCENES, SCORE_WIDE, SCORE_PEER_SCENES   how many scenes to render of each sort
set -euo pipefail
tool=$1
out=$2
kept=${3:-$out/summary.json}
demo=testdata/demo
open=${SHADOWGAP_OPEN_DATA:-../shared/open-data}
tiles=$open/river-effigy
nosonar=${SCORE_NOSONAR:-}
scenes=${SCORE_SCENES:-72} # every kind of scene equally often
wide=${SCORE_WIDE:-120}
peer_scenes=${SCORE_PEER_SCENES:-16}
seed=100000 # fits use seeds below
demo_seed=7001 # make demo's own
sealed_seed=900000
sealed_scenes=300
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
mkdir -p "$out"
find "$out" -mindepth 2 -maxdepth 2 -name results.json -delete # a part left out must not speak from an earlier score
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

"$tool" scene --seed "$demo_seed" --out "$scratch/demo-captures" >/dev/null
triage "$scratch/demo-captures" "$scratch/demo-scenes"
score 'what make demo renders' demo "$scratch/demo-scenes" --labels "$scratch/demo-captures/labels.json"

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
	echo "score: no pictures that are no sonar at \"$nosonar\", left out (models/reader/nosonar.py FIT SCORE makes them:" \
		"set SCORE_NOSONAR to SCORE)" >&2
fi

# Each method's level is that of its best F1 on half A, for what is real, and on the very scenes it is scored on, for what is rendered:
# the latter is in its favour.
peers() {
	local python method name
	if ! python=$(scripts/python-with-vision.sh); then
		echo "score: no Python with scikit-image and OpenCV (Debian: apt-get install python3-skimage python3-opencv); peers left out" >&2
		return
	fi
	rendered "$peer_scenes scenes of the wide world that peers are shown" peerscenes "$seed" "$peer_scenes"
	printf '\n== peers: method, pictures, seconds to decode one, seconds to search it\n'
	"$python" scripts/peers.py "$scratch/peerscenes-captures" "$scratch/peers/peerscenes"
	if [ -d "$scratch/open" ]; then
		"$python" scripts/peers.py "$scratch/open" "$scratch/peers/open"
	fi
	if [ -d "$scratch/tiles" ]; then
		"$python" scripts/peers.py "$tiles/images" "$scratch/peers/tiles"
	fi
	for method in log dog doh threshold; do
		name=$out/peer-$method
		peer "$method" peerscenes --labels "$scratch/peerscenes-captures/labels.json" --level best
		if [ -d "$scratch/open" ]; then
			peer "$method" open-a --labels testdata/open/labels.json --half a --level best
			peer "$method" open-b --labels testdata/open/labels.json --half b --level "$name-open-a/results.json"
		fi
		if [ -d "$scratch/tiles" ] && [ -d "$scratch/open" ]; then
			peer "$method" tiles --tiles "$tiles/masks" --level "$name-open-a/results.json"
		fi
	done
}

peer() { # METHOD SET [ARGUMENT…]
	local said=$out/peer-$1-$2/said.txt
	mkdir -p "$out/peer-$1-$2"
	"$tool" score "$scratch/peers/${2%-[ab]}/$1" --records --out "$out/peer-$1-$2" "${@:3}" >"$said"
}
if [ "${SCORE_PEERS:-1}" = 1 ]; then
	peers
fi

printf '\n== Summary (95 %% intervals)\n\n'
tee "$out/summary.md" <"$summary"

printf '\n== Figures and bounds (95 %% intervals)\n\n'
go run ./cmd/figures -parts "$out" -summary "$kept" | tee "$out/figures.md"
