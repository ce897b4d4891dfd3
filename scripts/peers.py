#!/usr/bin/python3
"""Finds bright blobs in pictures with detectors that know nothing of sonar, to set shadowgap against.

    peers.py FOLDER OUT [--methods log,dog,doh,threshold]

    log, dog, doh   scikit-image's blob_log, blob_dog and blob_doh at the scales below, at their own overlap
    threshold       OpenCV: a threshold over the local mean, then connected components

For each method it writes OUT/METHOD/captures.jsonl and marks.jsonl, which "shadowgap score OUT/METHOD --records" reads. All are run
at a level so low that they find far too much; each mark carries its strength as a chance between 0 and 1, and "--level" of score
sets the level from which marks count. What a picture took to decode and to search, in milliseconds of one thread, stands in
captures.jsonl; their means in seconds are printed, a line a method: METHOD, pictures, seconds to decode, seconds to search.

Needs Debian's python3-skimage and python3-opencv.
"""
import argparse
import hashlib
import json
import math
import os
import sys
import time

os.environ.setdefault('OMP_NUM_THREADS', '1')  # one thread, as everything it is set against; read when the libraries load
os.environ.setdefault('OPENBLAS_NUM_THREADS', '1')

import cv2  # noqa: E402
import numpy as np  # noqa: E402
from scipy import ndimage  # noqa: E402
from skimage import exposure, feature, filters  # noqa: E402

PICTURES = ('.png', '.jpg', '.jpeg', '.tif', '.tiff', '.bmp', '.webp')
MIN_SIGMA, MAX_SIGMA, SIGMAS = 1.5, 20, 6  # things of 4 to 57 px across
DARKEST, BRIGHTEST = 1, 99.5  # percentiles of a picture that are stretched to 0 and 1: captures differ in gain
RATIO = 1.6  # of the scales of blob_dog: its own default
MOST = 400  # marks kept of a picture, the strongest


def by_scale(blobs, response):
    """Blobs as (strength, y, x, sigma); response(sigma) is the whole picture filtered at one scale."""
    out = []
    for sigma in np.unique(blobs[:, 2]) if len(blobs) else []:
        strength = response(sigma)
        out += [(float(strength[int(y), int(x)]), y, x, sigma) for y, x, s in blobs if s == sigma]
    return out


def boxes(blobs, radius, shape):
    found = []
    for strength, y, x, sigma in blobs:
        r = radius * sigma
        x0, y0 = max(0, math.floor(x - r)), max(0, math.floor(y - r))
        x1, y1 = min(shape[1], math.ceil(x + r) + 1), min(shape[0], math.ceil(y + r) + 1)
        found.append((strength, x0, y0, x1 - x0, y1 - y0))
    return found


def log(grey):
    blobs = feature.blob_log(grey, min_sigma=MIN_SIGMA, max_sigma=MAX_SIGMA, num_sigma=SIGMAS, log_scale=True, threshold=0.25)
    return lambda: boxes(by_scale(blobs, lambda s: -ndimage.gaussian_laplace(grey, s) * s * s), math.sqrt(2), grey.shape)


def dog(grey):
    blobs = feature.blob_dog(grey, min_sigma=MIN_SIGMA, max_sigma=MAX_SIGMA, sigma_ratio=RATIO, threshold=0.15)

    def response(s):
        return (filters.gaussian(grey, s) - filters.gaussian(grey, s * RATIO)) / (RATIO - 1)
    return lambda: boxes(by_scale(blobs, response), math.sqrt(2), grey.shape)


def doh(grey):
    blobs = feature.blob_doh(grey, min_sigma=MIN_SIGMA, max_sigma=MAX_SIGMA, num_sigma=SIGMAS, log_scale=True, threshold=0.012)

    def response(s):
        return 10 * feature.hessian_matrix_det(grey, s)  # a scale like that of the others
    return lambda: boxes(by_scale(blobs, response), 1, grey.shape)


def threshold(grey):
    least, most = 12, 40_000  # area of what may be a thing, pixels
    smooth = cv2.GaussianBlur((grey * 255).astype(np.uint8), (5, 5), 0)
    around = cv2.blur(smooth, (51, 51))
    over = cv2.subtract(smooth, around)
    _, labels, stats, _ = cv2.connectedComponentsWithStats((over >= 20).astype(np.uint8), connectivity=8)
    kept = [i for i in range(1, len(stats)) if least <= stats[i][cv2.CC_STAT_AREA] <= most]

    def strengths():
        mean = ndimage.mean(over, labels, kept) if kept else []
        return [(m / 255, *(int(v) for v in stats[i][:4])) for m, i in zip(mean, kept)]
    return strengths


METHODS = {'log': log, 'dog': dog, 'doh': doh, 'threshold': threshold}


def pictures(folder):
    for root, dirs, files in os.walk(folder, followlinks=True):
        dirs.sort()
        for name in sorted(files):
            if name.lower().endswith(PICTURES):
                yield os.path.join(root, name)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split('\n\n')[0])
    parser.add_argument('folder')
    parser.add_argument('out')
    parser.add_argument('--methods', default=','.join(METHODS))
    args = parser.parse_args()
    wanted = args.methods.split(',')
    for name in wanted:
        if name not in METHODS:
            sys.exit(f'peers: no method {name}; there are {", ".join(METHODS)}')
    paths = list(pictures(args.folder))
    if not paths:
        sys.exit(f'peers: no pictures in {args.folder}')
    cv2.setNumThreads(1)
    for name in wanted:
        os.makedirs(os.path.join(args.out, name), exist_ok=True)
        took = np.zeros((len(paths), 2))
        with open(os.path.join(args.out, name, 'captures.jsonl'), 'w') as captures, \
                open(os.path.join(args.out, name, 'marks.jsonl'), 'w') as marks:
            for i, path in enumerate(paths):
                with open(path, 'rb') as f:
                    data = f.read()
                start = time.perf_counter()
                grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
                decoded = time.perf_counter()
                if grey is None:
                    sys.exit(f'peers: {path} is no picture that OpenCV reads')
                limits = tuple(np.percentile(grey, (DARKEST, BRIGHTEST)))
                strengths = METHODS[name](exposure.rescale_intensity(grey.astype(np.float64), limits, (0, 1)))
                took[i] = decoded - start, time.perf_counter() - decoded
                capture = os.path.relpath(path, args.folder).replace(os.sep, '/')
                sha = hashlib.sha256(data).hexdigest()
                captures.write(json.dumps({
                    'schema': 1, 'capture': capture, 'sha256': sha, 'status': 'read', 'width': grey.shape[1], 'height': grey.shape[0],
                    'panels': [], 'holds': [], 'counts': {}, 'ms': {'decode': 1e3 * took[i, 0], 'detect': 1e3 * took[i, 1]}}) + '\n')
                for j, (strength, x, y, w, h) in enumerate(sorted(strengths(), reverse=True)[:MOST]):
                    chance = max(0, strength) / (max(0, strength) + 0.2)
                    box = {'x': x, 'y': y, 'w': w, 'h': h}
                    marks.write(json.dumps({
                        'schema': 1, 'capture': capture, 'sha256': sha, 'mark': f'm{j}', 'class': 'bottom-object',
                        'odds': {'bottom-object': chance, 'clutter': 1 - chance}, 'box': box, 'highlight': box, 'rows': [y, y + h],
                        'reasons': []}) + '\n')
        mean = took.mean(axis=0)
        print(f'{name}\t{len(paths)}\t{mean[0]:.4f}\t{mean[1]:.4f}', flush=True)


main()
