#!/usr/bin/env bash
# Runs go with only those OpenCV libraries linked whose functions shadowgap calls: core and imgproc.
#
# The Go bindings wrap all of OpenCV, and with it come windows, cameras and video: 265 shared libraries that every
# process maps and links before its first line, instead of 23. So every function of the bindings is compiled into a section of
# its own, and the linker drops the sections that no Go code reaches before it asks where their calls lead. What is left must be
# found in the two libraries: a call into a module that is not linked fails the build with the name of the function that is missing.
# Such a module's library is added to libs below.
#
# Usage: go-slim.sh build|test|vet|run|… [ARGUMENT…]
set -euo pipefail
if [ $# -eq 0 ]; then
	echo "usage: go-slim.sh build|test|vet|run|… [ARGUMENT…]" >&2
	exit 2
fi
libs=(opencv_imgproc opencv_core)
command=$1
shift
sections="-O2 -g -ffunction-sections -fdata-sections"
CGO_CFLAGS=$sections
CGO_CXXFLAGS="$sections -std=c++11 $(pkg-config --cflags opencv4)"
CGO_LDFLAGS="-O2 -g ${libs[*]/#/-l} -Wl,--gc-sections"
export CGO_CFLAGS CGO_CXXFLAGS CGO_LDFLAGS
exec go "$command" -tags customenv "$@"
