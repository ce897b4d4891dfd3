#!/usr/bin/env python3
"""Times the plain general-purpose route over captures: decode, local threshold, connected components, boxes.

It knows nothing of sonar: no panel, no nadir, no altitude, no pairing, no classes. What it costs shows what a few lines with
OpenCV would; what it finds shows why that is not enough. Prints one line as Go's benchmarks do, the mean over the captures.
Usage: bench-peer.py FILE...
"""
import sys
import time

import cv2

MIN_PX, MAX_PX = 25, 40_000  # area of what may be a thing


def boxes(path):
    grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE)
    if grey is None:
        sys.exit(f"can't read {path}")
    smooth = cv2.GaussianBlur(grey, (5, 5), 0)
    found = []
    for how, offset in ((cv2.THRESH_BINARY, -20), (cv2.THRESH_BINARY_INV, 20)):  # bright things, dark things
        mask = cv2.adaptiveThreshold(smooth, 255, cv2.ADAPTIVE_THRESH_MEAN_C, how, 51, offset)
        _, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        area = stats[1:, cv2.CC_STAT_AREA]
        found += stats[1:][(area >= MIN_PX) & (area <= MAX_PX)].tolist()
    return found


def main(paths):
    if not paths:
        sys.exit(__doc__)
    cv2.setNumThreads(1)  # as everything it is set against
    boxes(paths[0])  # the first call loads and links
    start = time.perf_counter_ns()
    found = sum(len(boxes(p)) for p in paths)
    each = (time.perf_counter_ns() - start) / len(paths)
    print(f"BenchmarkCapture/step=peer 1 {each:.0f} ns/op {found / len(paths):.1f} boxes/op")


main(sys.argv[1:])
