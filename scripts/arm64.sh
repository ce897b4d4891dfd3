#!/usr/bin/env bash
# Tells whether a 64-bit ARM machine finds the marks that an x86 one finds: builds shadowgap for arm64, runs it emulated over the demo
# survey, runs the machine's own shadowgap over the same captures, and compares (cmd/alike). Exit status: 0 they agree; 1 they don't, and
# every disagreement is listed, or something failed.
#
# It needs an amd64 machine with Debian and scripts/setup.sh arm64, which installs a cross compiler, an emulator, ONNX Runtime for arm64 and
# Debian's arm64 runtimes of C and C++ that it is linked with.
#
# Usage: arm64.sh SHADOWGAP OUT [CAPTURES [TRIAGE-OPTION…]]
#   SHADOWGAP  built for this machine
#   OUT        where the program and both runs are kept
#   CAPTURES   default testdata/demo/captures with its manifest and track
# Environment:
#   QEMU_CPU   the processor that is emulated; default cortex-a72, a common one of ARMv8.0
set -euo pipefail
if [ $# -lt 2 ]; then
	echo "usage: arm64.sh SHADOWGAP OUT [CAPTURES [TRIAGE-OPTION…]]" >&2
	exit 2
fi
tool=$1
mkdir -p "$2"
out=$(cd "$2" && pwd)
shift 2
demo=testdata/demo
[ $# -gt 0 ] || set -- "$demo/captures" --manifest "$demo/manifest.csv" --track "$demo/track.gpx"
export QEMU_CPU=${QEMU_CPU:-cortex-a72}
triplet=aarch64-linux-gnu
root=/usr/$triplet # where Debian's cross packages lay the libraries
say() { printf 'arm64: %s\n' "$*" >&2; }
die() { say "$*"; exit 1; }

[ "$(dpkg --print-architecture 2>/dev/null)" = amd64 ] ||
	die "this needs a Debian system on amd64. On a real arm64 machine, triage the same captures with the same options and compare the" \
		"two run folders: go run ./cmd/alike RUN OTHER-RUN"
for program in "$triplet-gcc" qemu-aarch64; do
	command -v "$program" >/dev/null || die "$program is missing: scripts/setup.sh arm64 installs it"
done
library=$(echo /usr/local/lib/shadowgap/arm64/libonnxruntime.so.*)
[ -f "$library" ] || die "ONNX Runtime for arm64 is missing: scripts/setup.sh arm64 installs it"

bin=$out/bin
rm -rf "$bin"
mkdir "$bin"
say "building for arm64"
CGO_ENABLED=1 GOARCH=arm64 CC="$triplet-gcc" go build -o "$bin/program" ./cmd/shadowgap

# Triage starts its workers by the path of its own executable file, and the kernel can't run that unless it is told about the emulator,
# which changes the whole machine. So a script of that path runs it emulated, and the program itself is run from a file that once had the
# path and is open still. The emulator resolves the name that the kernel has for such a file, which ends in " (deleted)", and fails
# unless something has that name; Go's os.Executable leaves the ending off.
cat >"$bin/shadowgap (deleted)" <<-SCRIPT
	#!/bin/sh
	exec qemu-aarch64 -L '$root' '$bin/program' "\$@"
SCRIPT
chmod +x "$bin/shadowgap (deleted)"
cp "$bin/program" "$bin/shadowgap"
exec 9<"$bin/shadowgap"
rm "$bin/shadowgap"
cp "$bin/shadowgap (deleted)" "$bin/shadowgap"

# Emulation takes time and memory that the limits for captures are not made for.
triage() { # NAME PROGRAM… -- CAPTURES [OPTION…]
	local name=$1 program=() code=0 from=$SECONDS
	shift
	while [ "$1" != -- ]; do
		program+=("$1")
		shift
	done
	shift
	rm -rf "$out/$name"
	"${program[@]}" triage "$@" --out "$out/$name" --pictures none --limit 0 --memory 0 --top 1 >"$out/$name.txt" 2>&1 || code=$?
	[ "$code" -eq 0 ] || [ "$code" -eq 3 ] || { cat "$out/$name.txt" >&2; die "triage of $name failed"; }
	say "$name took $((SECONDS - from)) s"
}
say "$QEMU_CPU emulated by $(qemu-aarch64 --version | head -1)"
triage amd64 "$tool" -- "$@"
triage arm64 env SHADOWGAP_ONNXRUNTIME="$library" qemu-aarch64 -L "$root" /proc/self/fd/9 -- "$@"
go run ./cmd/alike "$out/amd64" "$out/arm64"
