#!/usr/bin/env bash
# Installs what shadowgap is built with, and nothing that is already there: OpenCV 4 with its headers, a C++ compiler and
# pkg-config from Debian's packages. Go itself is only checked. "setup.sh runtime" installs the libraries that a built
# shadowgap needs to run, without headers or compiler. "setup.sh clients" installs the programs that some tests open exports and pages
# with. "setup.sh arm64" installs what scripts/arm64.sh cross-compiles and emulates with.
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
		die "this is not a Debian-like system. Install these yourself, then run the command again: $*" \
			"(OpenCV 4.6 is what shadowgap is tested with)"
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

# What a program built with scripts/go-slim.sh is linked with; dnn brings imgproc and core.
runtime_packages() {
	apt-cache depends --no-recommends --no-suggests libopencv-dnn-dev |
		sed -n 's/^ *Depends: \(libopencv-dnn[0-9][0-9]*\)$/\1/p'
}

case $mode in
build)
	check_go
	missing=()
	command -v pkg-config >/dev/null 2>&1 || missing+=(pkg-config)
	command -v g++ >/dev/null 2>&1 || missing+=(g++ libc6-dev)
	if ! command -v pkg-config >/dev/null 2>&1 || ! pkg-config --exists opencv4; then
		missing+=(libopencv-dev)
	fi
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	pkg-config --exists opencv4 || die "OpenCV was installed but pkg-config does not find opencv4"
	found=$(pkg-config --modversion opencv4)
	case $found in
	4.*) ;;
	*) die "found OpenCV $found; shadowgap needs OpenCV 4 (tested with 4.6)" ;;
	esac
	;;
runtime)
	command -v apt-get >/dev/null 2>&1 || die "runtime mode knows Debian-like systems only"
	apt_install ca-certificates
	mapfile -t libs < <(runtime_packages)
	[ ${#libs[@]} -gt 0 ] || die "found no OpenCV library packages to install"
	apt_install "${libs[@]}"
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
	command -v aarch64-linux-gnu-g++ >/dev/null 2>&1 || missing+=(g++-aarch64-linux-gnu)
	command -v qemu-aarch64 >/dev/null 2>&1 || missing+=(qemu-user)
	if [ ${#missing[@]} -gt 0 ]; then
		say "installing ${missing[*]}"
		apt_install "${missing[@]}"
	fi
	;;
*)
	die "unknown mode \"$mode\": use build, runtime, clients or arm64"
	;;
esac
