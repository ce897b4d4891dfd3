#!/usr/bin/env bash
# Runs go with only those OpenCV libraries linked whose functions shadowgap calls: core, imgproc and dnn.
#
# The Go bindings wrap all of OpenCV, and with it come windows, cameras and video: 265 shared libraries that every
# process maps and links before its first line, instead of 25. The bindings' wrappers of the rest stay unresolved; nothing here
# calls them.
#
# Usage: go-slim.sh build|test [ARGUMENT…]
set -euo pipefail
if [ $# -eq 0 ]; then
	echo "usage: go-slim.sh build|test [ARGUMENT…]" >&2
	exit 2
fi
command=$1
shift
CGO_CXXFLAGS="-O2 -g -std=c++11 $(pkg-config --cflags opencv4)"
CGO_LDFLAGS="-O2 -g -lopencv_dnn -lopencv_imgproc -lopencv_core -Wl,--unresolved-symbols=ignore-all"
export CGO_CXXFLAGS CGO_LDFLAGS
exec go "$command" -tags customenv "$@"
