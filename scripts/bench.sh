#!/usr/bin/env bash
# Times the tool on rendered 1920 x 1080 captures and sums the figures up with benchstat.
#
#   decode  Go's own PNG decoder, which all else is set against      detect  detection, picture decoded before
#   whole   from the file's bytes to its marks                       drawn   whole, and its pictures in the run folder
#   peer    decode, local threshold and connected components by python3-opencv over the same files; knows nothing of sonar
#
# These run on one core and in turns, round after round, so that whatever else the machine does falls on all alike. Then whole
# runs of the program with one worker and with two: captures a second, peak of what all its processes keep resident (pages they
# share counted once), and by how much that grew from the first half of the run to the second. They take all cores, and a
# worker alone may use more than one.
#
# Usage: bench.sh ROUNDS CAPTURES BENCHSTAT_MODULE
#   ROUNDS    times everything is measured; benchstat gives intervals from 6 on
#   CAPTURES  length of a whole run; 2000 shows that memory stays flat (takes many minutes a round)
# Environment: PYTHON, a Python that has OpenCV (default: the first of python3, /usr/bin/python3 that has).
set -euo pipefail
rounds=$1
captures=$2
benchstat=$3
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
raw=$work/raw.txt
export SHADOWGAP_BENCH_DIR=$work/captures SHADOWGAP_BENCH_CAPTURES=$captures

python=
for p in ${PYTHON:+"$PYTHON"} python3 /usr/bin/python3; do
	if "$p" -c 'import cv2' 2>/dev/null; then
		python=$p
		break
	fi
done
if [ -z "$python" ]; then
	echo "bench: no Python with OpenCV here, the peer column is left out (Debian: apt-get install python3-opencv)" >&2
fi

scripts/go-slim.sh test -c -o "$work/bench" ./cmd/shadowgap
measure() { # PATTERN ROUNDS-OF-EACH
	# Run where the package lies, as go test does. On failure what it said is shown: it may not look like a benchmark.
	(cd cmd/shadowgap && "$work/bench" -test.run '^$' -test.bench "$1" -test.benchtime "$2" -test.timeout 0) >"$work/said" 2>&1 ||
		{ cat "$work/said" >&2; exit 1; }
	cat "$work/said" >>"$raw"
}

for ((i = 1; i <= rounds; i++)); do
	echo "bench: round $i of $rounds" >&2
	GOMAXPROCS=1 OPENCV_FOR_THREADS_NUM=1 measure '^BenchmarkCapture$' 3x
	if [ -n "$python" ]; then
		"$python" scripts/bench-peer.py "$SHADOWGAP_BENCH_DIR"/*.png >>"$raw"
	fi
	measure '^BenchmarkTriage$' 1x
done

# Names end in the number of cores where that is not one.
sed -E 's/^(Benchmark[^ \t]*)-[0-9]+([ \t])/\1\2/' "$raw" >"$work/plain.txt"
stat() { go run "$benchstat" "$@"; }
echo
stat -filter '.fullname:/Capture/' -col '/step@(decode detect whole drawn peer)' "$work/plain.txt"
echo
stat -filter '.fullname:/Triage/' -col '/workers@(1 2)' "$work/plain.txt"

# Medians and what they are of each other.
value() { # NAME UNIT
	awk -v name="$1" -v unit="$2" '$1 == name { for (i = 3; i < NF; i += 2) if ($(i + 1) == unit) print $i }' "$work/plain.txt" |
		sort -g | awk '{ v[NR] = $1 } END { if (NR) print (v[int((NR + 1) / 2)] + v[int(NR / 2) + 1]) / 2; else print 0 }'
}
ratio() { awk -v a="$1" -v b="$2" 'BEGIN { if (b > 0) printf "%.2f", a / b; else printf "-" }'; }
decode=$(value BenchmarkCapture/step=decode ns/op)
peer=$(value BenchmarkCapture/step=peer ns/op)
printf '\n%-8s %12s %10s %10s\n' '' 'ms/capture' '/ decode' '/ peer'
for step in decode detect whole drawn peer; do
	ns=$(value "BenchmarkCapture/step=$step" ns/op)
	[ "$step" != peer ] || [ -n "$python" ] || continue
	printf '%-8s %12.1f %10s %10s\n' "$step" "$(awk -v n="$ns" 'BEGIN { print n / 1e6 }')" "$(ratio "$ns" "$decode")" "$(ratio "$ns" "$peer")"
done
one=$(value BenchmarkTriage/workers=1 captures/s)
two=$(value BenchmarkTriage/workers=2 captures/s)
printf '\nTwo workers against one, %s captures: %s times as fast (%s and %s captures/s on %s cores)\n' \
	"$captures" "$(ratio "$two" "$one")" "$two" "$one" "$(nproc)"
printf 'Resident with two workers: peak %s MiB, growth from first half to second %s MiB\n' \
	"$(value BenchmarkTriage/workers=2 MiB-peak)" "$(value BenchmarkTriage/workers=2 MiB-growth)"
