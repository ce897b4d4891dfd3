#!/usr/bin/env bash
# Installs what shadowgap is built with, and nothing that is already there: a C compiler from Debian's packages, and ONNX Runtime, one file
# below /usr/local/lib/shadowgap, from the npm registry. Go itself is only checked. "setup.sh runtime" installs what a built shadowgap needs
# to run, which is that file. "setup.sh clients" installs the programs that some tests open exports and pages with. "setup.sh arm64"
# installs what scripts/arm64.sh cross-compiles and emulates with, "setup.sh otherworld" what scripts/otherworld.sh renders with.
set -euo pipefail

want_go_minor=26
mode=${1:-build}

say() { printf 'setup: %s\n' "$*" >&2; }
die() { say "$*"; exit 1; }

as_root() {
	if [ "$(id -u)" -eq 0 ]; then
		"$@"
	elif command -v sudo >/dev/null 2>&1; then
		sudo "$@"
	else
		die "this step needs root and sudo is not installed. Run as root: $*"
	fi
}

# apt_install asks the mirror for its lists first, up to three times, because a mirror is sometimes busy.
apt_install() {
	command -v apt-get >/dev/null 2>&1 ||
		die "this is not a Debian-like system. Install these yourself, then run the command again: $*"
	local try
	for try in 1 2 3; do
		if as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq >&2; then
			break
		fi
		[ "$try" -lt 3 ] || die "apt-get update failed three times. Check the network and /etc/apt/sources.list."
		say "apt-get update failed, trying again in $((try * 5)) s"
		sleep $((try * 5))
	done
	as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >&2 ||
		die "installing $* failed; the lines above say why"
}

check_go() {
	command -v go >/dev/null 2>&1 ||
		die "Go is missing. shadowgap needs Go 1.$want_go_minor or newer: see https://go.dev/doc/install"
	local version minor
	version=$(GOTOOLCHAIN=local go env GOVERSION)
	minor=${version#go1.}
	minor=${minor%%[!0-9]*}
	if [ "${version#go1.}" = "$version" ] || [ "${minor:-0}" -lt "$want_go_minor" ]; then
		die "found $version; shadowgap needs Go 1.$want_go_minor or newer: see https://go.dev/doc/install"
	fi
}

# ONNX Runtime runs the networks. Debian has none; this package holds the library for every machine, and of it nothing else is used:
# neither its scripts nor Node. models/network looks for the same version, under the same name.
onnxruntime=1.27.0
library_folder=/usr/local/lib/shadowgap

# install_library puts ONNX Runtime for a machine, x64 or arm64, into a folder, unless it is there or is what SHADOWGAP_ONNXRUNTIME names.
install_library() { # MACHINE FOLDER
	local machine=$1 folder=$2 sum found package=onnxruntime-node@$onnxruntime
	local file=$folder/libonnxruntime.so.$onnxruntime member=package/bin/napi-v6/linux/$machine/libonnxruntime.so.1
	case $machine in
	x64) sum=d8aff4aa8abee8fb2abb2f2f2459ffc94461e781e41b9f7c072829dd0d470221 ;;
	arm64) sum=c36bc200e7e6c093b8abb0b34590fbdd8c52fd3fb5e33795b9523ffdde2fce0f ;;
	esac
	is_library() { sha256sum --check --status - 2>/dev/null <<<"$sum  $1"; }
	for found in "$file" "${SHADOWGAP_ONNXRUNTIME:-}"; do
		[ -z "$found" ] || ! is_library "$found" || return 0
	done
	as_root mkdir -p "$folder" # before 100 MB are fetched for nothing
	command -v npm >/dev/null 2>&1 || {
		say "installing npm, which ONNX Runtime is fetched with"
		apt_install ca-certificates npm
	}
	fetched=$(mktemp -d)
	trap 'rm -rf "$fetched"' EXIT
	local try
	for try in 1 2 3; do
		say "fetching ONNX Runtime $onnxruntime for $machine (100 MB)"
		if (cd "$fetched" && npm pack --ignore-scripts --loglevel error --fetch-retries 0 --cache "$fetched/cache" "$package" >/dev/null) &&
			tar -xzf "$fetched"/onnxruntime-node-*.tgz -C "$fetched" "$member"; then
			break
		fi
		[ "$try" -lt 3 ] || die "fetching $package from the npm registry failed three times; the lines above say why"
		say "fetching $package failed, trying again in $((try * 5)) s"
		rm -rf "${fetched:?}"/*
		sleep $((try * 5))
	done
	is_library "$fetched/$member" || die "$package holds another $member than it should: its SHA-256 is not $sum. Nothing was installed."
	# Under another name first: a program that starts meanwhile finds the whole file or none.
	as_root install -m 0644 "$fetched/$member" "$file.new"
	as_root mv "$file.new" "$file"
	rm -rf "$fetched"
	trap - EXIT
}

# machine is this machine by the names of ONNX Runtime's package.
machine() {
	case $(uname -s)-$(uname -m) in
	Linux-x86_64) echo x64 ;;
	Linux-aarch64) echo arm64 ;;
	*) die "ONNX Runtime is fetched for Linux on x86-64 and on 64-bit ARM; this is $(uname -s) on $(uname -m)" ;;
	esac
}

case $mode in
build)
	check_go
	missing=()
	command -v gcc >/dev/null 2>&1 || missing+=(gcc libc6-dev)
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	here=$(machine)
	install_library "$here" "$library_folder"
	;;
runtime)
	here=$(machine)
	install_library "$here" "$library_folder"
	;;
clients)
	# the programs that tests open exports and pages with, each of which skips where its program is missing, and what peers.py needs
	missing=()
	while read -r program package; do
		command -v "$program" >/dev/null 2>&1 || missing+=("$package")
	done <<-EOF
		ogrinfo gdal-bin
		gpsbabel gpsbabel
		xmllint libxml2-utils
		tesseract tesseract-ocr
		chromium chromium
	EOF
	/usr/bin/python3 -c 'import cv2, skimage' 2>/dev/null || missing+=(python3-opencv python3-skimage)
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	;;
arm64)
	missing=()
	command -v aarch64-linux-gnu-gcc >/dev/null 2>&1 || missing+=(gcc-aarch64-linux-gnu libc6-dev-arm64-cross)
	[ -e /usr/aarch64-linux-gnu/lib/libstdc++.so.6 ] || missing+=(libstdc++6-arm64-cross)
	command -v qemu-aarch64 >/dev/null 2>&1 || missing+=(qemu-user)
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	install_library arm64 "$library_folder/arm64"
	;;
otherworld)
	missing=()
	while read -r module package; do
		/usr/bin/python3 -c "import $module" 2>/dev/null || missing+=("$package")
	done <<-EOF
		numba python3-numba
		scipy.ndimage python3-scipy
		cv2 python3-opencv
		PIL python3-pil
	EOF
	[ -e /usr/share/fonts/truetype/dejavu/DejaVuSans.ttf ] || missing+=(fonts-dejavu-core)
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	;;
*)
	die "unknown mode \"$mode\": use build, runtime, clients, arm64 or otherworld"
	;;
esac
