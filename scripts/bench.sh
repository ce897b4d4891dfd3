#!/usr/bin/env bash
# Runs the benchmarks several times and sums them up with benchstat. Detection is to be read against decoding of the same
# picture by Go's own decoder, which runs beside it.
# Usage: bench.sh COUNT BENCHSTAT_MODULE
set -euo pipefail
count=$1
benchstat=$2
raw=$(mktemp)
trap 'rm -f "$raw"' EXIT
go test -run '^$' -bench . -benchmem -count "$count" ./... | tee "$raw" | grep -E '^(Benchmark|ok|FAIL)' || true
go run "$benchstat" "$raw"
