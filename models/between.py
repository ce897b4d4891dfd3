#!/usr/bin/python3
"""Makes the network that lies between two fits, one of which went on from the other: between.py EARLIER.onnx LATER.onnx --out OUT.onnx

Each weight is the mean of both. A fit that goes on elsewhere forgets some of where it came from, and what lies halfway keeps most of both
(Wortsman and others 2022, Robust fine-tuning of zero-shot models). Fits that began apart have no such middle.

Needs Debian's python3-onnx.
"""

import argparse

import numpy as np
from onnx import checker, load, numpy_helper, save


def between(earlier, later):
    """Takes each single-precision weight of later halfway to that of earlier, a network of the same make; in place."""
    if [n.op_type for n in earlier.graph.node] != [n.op_type for n in later.graph.node]:
        raise ValueError("two networks of other makes have nothing between them")
    for ours, theirs in zip(later.graph.initializer, earlier.graph.initializer, strict=True):
        value, other = numpy_helper.to_array(ours), numpy_helper.to_array(theirs)
        if value.shape != other.shape:
            raise ValueError(f"{ours.name} is {value.shape} in one network and {other.shape} in the other")
        if value.dtype == np.float32:
            ours.CopyFrom(numpy_helper.from_array((value + other) / 2, ours.name))


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("earlier")
    p.add_argument("later")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    model = load(args.later)
    between(load(args.earlier), model)
    checker.check_model(model)
    save(model, args.out)


if __name__ == "__main__":
    main()
