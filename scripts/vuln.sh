#!/usr/bin/env bash
# Looks for known vulnerabilities in Go and in the modules, as far as shadowgap's code reaches them.
#
# govulncheck waits for its database without end. So it is first asked about the modules alone, which takes seconds, under a limit: what
# comes back tells whether the database answers. Where it does not, the check fails, or with "skip" says so in a line and passes.
#
# Usage: vuln.sh TOOL@VERSION DATABASE [skip]
set -euo pipefail
if [ $# -lt 2 ]; then
	echo "usage: vuln.sh TOOL@VERSION DATABASE [skip]" >&2
	exit 2
fi
tool=$1 database=$2 unreached=${3:-}
seconds=${VULN_PATIENCE:-60}

dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
GOBIN=$dir go install "$tool"

code=0
said=$(timeout "$seconds" "$dir/govulncheck" -C internal/units -db "$database" -scan module 2>&1) || code=$?
why=
case $code in
0 | 3) ;; # 3: the modules have some; whether the code reaches them is asked below
124) why="no answer within $seconds s" ;;
*)
	why=$(sed -n 's/^govulncheck: fetching vulnerabilities: //p' <<<"$said")
	if [ -z "$why" ]; then
		printf '%s\n' "$said" >&2
		exit "$code"
	fi
	;;
esac
if [ -n "$why" ] && [ "$unreached" = skip ]; then
	echo "vuln: SKIPPED, nothing was checked: the database $database can't be reached ($why)"
	exit 0
elif [ -n "$why" ]; then
	echo "vuln: the database $database can't be reached ($why)" >&2
	exit 1
fi
# A database that answered may still fall silent.
timeout 900 go run "$tool" -db "$database" ./...
