#!/usr/bin/env bash
# Prints the first Python that has OpenCV and scikit-image, which scripts/peers.py needs: PYTHON, python3 or Debian's own; exit status 1
# where none has.
set -euo pipefail
for p in ${PYTHON:+"$PYTHON"} python3 /usr/bin/python3; do
	if "$p" -c 'import cv2, skimage' 2>/dev/null; then
		echo "$p"
		exit 0
	fi
done
exit 1
