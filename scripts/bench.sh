#!/usr/bin/env bash
# Times the tool on rendered captures and sums the figures up with benchstat.
#
#   decode  Go's own PNG decoder, which all else is set against      detect  detection, picture decoded before
#   whole   from the file's bytes to its marks                       drawn   whole, and its pictures in the run folder
#
# over captures of 1920 x 1080. These run on one core and in turns, round after round, so that whatever else the machine does falls
# on all alike. Beside them stand general-purpose detectors of python3-opencv and python3-skimage over the same files, decoding
# included, which know nothing of sonar (scripts/peers.py; "make score" has what they find).
#
# Then what whole runs of the program with one worker cost in processor time, start-up and exports included, over 24 captures as they
# are rendered: run with close-ups and all, bare with --pictures none, and decode, Go's decoders over the same files. Then whole runs
# with one worker and with two: captures a second, peak of what all processes keep resident (pages they share counted once), and by
# how much that grew from the first half of the run to the second. These take all cores.
#
# Last, what the review page of 500 captures asks of a browser's main thread, where Chromium is installed.
#
# Usage: bench.sh ROUNDS CAPTURES BENCHSTAT_MODULE
#   ROUNDS    times everything is measured; benchstat gives intervals from 6 on
#   CAPTURES  length of a run with one worker and with two; 500 for the speed-up, 2000 shows that memory stays flat (takes many
#             minutes a round)
# Environment: PYTHON, a Python that has both libraries (default: the first of python3, /usr/bin/python3 that has).
set -euo pipefail
rounds=$1
captures=$2
benchstat=$3
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
raw=$work/raw.txt
export SHADOWGAP_BENCH_DIR=$work/captures SHADOWGAP_BENCH_CAPTURES=$captures

python=$(scripts/python-with-vision.sh) || python=
if [ -z "$python" ]; then
	echo "bench: no Python with OpenCV and scikit-image here, peers are left out (scripts/setup.sh clients installs them)" >&2
fi

peers=(threshold log doh)
busy() { awk '{ print $1 }' /proc/loadavg; } # what else the machine does, roughly: its figures are worth less then
before=$(busy)

go test -c -o "$work/bench" ./cmd/shadowgap
measure() { # PATTERN ROUNDS-OF-EACH
	# Run where the package lies, as go test does. On failure what it said is shown: it may not look like a benchmark.
	(cd cmd/shadowgap && "$work/bench" -test.run '^$' -test.bench "$1" -test.benchtime "$2" -test.timeout 0) >"$work/said" 2>&1 ||
		{ cat "$work/said" >&2; exit 1; }
	cat "$work/said" >>"$raw"
}

for ((i = 1; i <= rounds; i++)); do
	echo "bench: round $i of $rounds" >&2
	GOMAXPROCS=1 measure '^BenchmarkCapture$' 3x
	if [ -n "$python" ]; then
		# It prints METHOD, pictures, seconds to decode, seconds to search.
		"$python" scripts/peers.py "$SHADOWGAP_BENCH_DIR" "$work/peers" --methods "$(IFS=,; echo "${peers[*]}")" |
			awk -F '\t' '{ printf "BenchmarkCapture/step=%s 1 %.0f ns/op\n", $1, 1e9 * ($3 + $4) }' >>"$raw"
	fi
	measure '^BenchmarkRun$' 1x
	measure '^BenchmarkTriage$' 1x
done

# Names end in the number of cores where that is not one.
sed -E 's/^(Benchmark[^ \t]*)-[0-9]+([ \t])/\1\2/' "$raw" >"$work/plain.txt"
stat() { go run "$benchstat" "$@"; }
echo
stat -filter '.fullname:/Capture/' -col '/step@(decode detect whole drawn threshold log doh)' "$work/plain.txt"
echo
stat -filter '.fullname:/Run/' -col '/step@(decode bare run)' "$work/plain.txt"
echo
stat -filter '.fullname:/Triage/' -col '/workers@(1 2)' "$work/plain.txt"

# Medians and what they are of each other.
value() { # NAME UNIT
	awk -v name="$1" -v unit="$2" '$1 == name { for (i = 3; i < NF; i += 2) if ($(i + 1) == unit) print $i }' "$work/plain.txt" |
		sort -g | awk '{ v[NR] = $1 } END { if (NR) print (v[int((NR + 1) / 2)] + v[int(NR / 2) + 1]) / 2; else print 0 }'
}
ratio() { awk -v a="$1" -v b="$2" 'BEGIN { if (b > 0) printf "%.2f", a / b; else printf "-" }'; }
decode=$(value BenchmarkCapture/step=decode ns/op)
table() { # BENCHMARK UNIT DECODE STEP…
	local name=$1 unit=$2 decode=$3 step ns
	printf '\n%-10s %12s %10s\n' '' 'ms/capture' '/ decode'
	for step in "${@:4}"; do
		ns=$(value "$name/step=$step" "$unit")
		[ "$ns" != 0 ] || continue # left out
		printf '%-10s %12.1f %10s\n' "$step" "$(awk -v n="$ns" 'BEGIN { print n / 1e6 }')" "$(ratio "$ns" "$decode")"
	done
}
table BenchmarkCapture ns/op "$decode" decode detect whole drawn "${peers[@]}"
decode=$(value BenchmarkRun/step=decode cpu-ns/capture)
printf '\nProcessor time of whole runs with one worker, 24 captures:\n'
table BenchmarkRun cpu-ns/capture "$decode" decode bare run
one=$(value BenchmarkTriage/workers=1 captures/s)
two=$(value BenchmarkTriage/workers=2 captures/s)
printf '\nTwo workers against one, %s captures: %s times as fast (%s and %s captures/s on %s cores)\n' \
	"$captures" "$(ratio "$two" "$one")" "$two" "$one" "$(nproc)"
printf 'Resident with two workers: peak %s MiB, growth from first half to second %s MiB\n' \
	"$(value BenchmarkTriage/workers=2 MiB-peak)" "$(value BenchmarkTriage/workers=2 MiB-growth)"
page=$(cd internal/review && go test -run '^$' -bench '^BenchmarkBrowser$' -benchtime 1x .)
printf '\nReview page of 500 captures, ms of the main thread (bounds: first paint 1000, a step of the queue 100, of others 200):\n'
grep -oP '^BenchmarkBrowser/view=\K.*' <<<"$page" || echo "not measured: Chromium is not installed"
printf 'Load of the machine before and after: %s and %s on %s cores\n' "$before" "$(busy)" "$(nproc)"
