#!/usr/bin/env python3
"""Stores the weights of a network in half precision or, with --bytes, in bytes: shrink.py [--bytes] NETWORK.onnx...

A Cast beside each weight makes it single precision again when the network is loaded, so it runs as before. In bytes every output channel of a
convolution has a step of its own, a 127th of its largest weight; what has one dimension stays in half precision. Needs Debian's python3-onnx.
"""

import argparse
import hashlib

import numpy as np
from onnx import TensorProto, helper, load, numpy_helper, save


def halved(weight, value):
    """The weight in half precision, and what makes it single precision again."""
    kept = value.astype(np.float16)
    if not np.isfinite(kept).all():
        raise ValueError(f"{weight.name} is too large for half precision")
    name = weight.name + ".half"
    return [numpy_helper.from_array(kept, name)], [helper.make_node("Cast", [name], [weight.name], to=TensorProto.FLOAT)]


def in_bytes(weight, value):
    """The weight in bytes with a step for each output channel, and what makes it single precision again."""
    step = np.abs(value).max(axis=tuple(range(1, value.ndim)), keepdims=True) / 127
    step = np.maximum(step, np.finfo(np.float32).tiny).astype(np.float32)
    names = [weight.name + end for end in (".bytes", ".step", ".whole")]
    kept = [numpy_helper.from_array(np.round(value / step).astype(np.int8), names[0]), numpy_helper.from_array(step, names[1])]
    nodes = [
        helper.make_node("Cast", [names[0]], [names[2]], to=TensorProto.FLOAT),
        helper.make_node("Mul", [names[2], names[1]], [weight.name]),
    ]
    return kept, nodes


def shrink(model, smallest):
    """Replaces every single-precision weight of model, in place."""
    graph = model.graph
    weights, nodes = [], []
    for weight in graph.initializer:
        if weight.data_type != TensorProto.FLOAT:
            weights.append(weight)
            continue
        value = numpy_helper.to_array(weight)
        kept, made = (in_bytes if smallest and value.ndim > 1 else halved)(weight, value)
        weights += kept
        nodes += made
    nodes += graph.node
    del graph.initializer[:], graph.node[:]
    graph.initializer.extend(weights)
    graph.node.extend(nodes)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--bytes", action="store_true")
    p.add_argument("networks", nargs="+")
    args = p.parse_args()
    for path in args.networks:
        model = load(path)
        shrink(model, args.bytes)
        save(model, path)
        with open(path, "rb") as f:
            print(path, "sha256", hashlib.sha256(f.read()).hexdigest())


if __name__ == "__main__":
    main()
