#!/usr/bin/python3
"""Makes the weights of a network coarser: shrink.py --round | --bytes NETWORK.onnx...

--round rounds each weight to half precision and stores it as it was, in single precision: the file is as large, but packs to half, and
takes no more memory when it is loaded. --bytes stores a convolution's weights as bytes, each output channel with a step of its own, a
127th of its largest weight, and what has one dimension in half precision; a Cast beside each makes it single precision again when the
network is loaded.
Needs Debian's python3-onnx.
"""

import argparse
import hashlib

import numpy as np
from onnx import TensorProto, helper, load, numpy_helper, save


def rounded(weight, value):
    """The weight's values in half precision."""
    kept = value.astype(np.float16)
    if not np.isfinite(kept).all():
        raise ValueError(f"{weight.name} is too large for half precision")
    return kept


def halved(weight, value):
    """The weight in half precision, and what makes it single precision again."""
    name = weight.name + ".half"
    cast = helper.make_node("Cast", [name], [weight.name], to=TensorProto.FLOAT)
    return [numpy_helper.from_array(rounded(weight, value), name)], [cast]


def in_place(weight, value):
    """The weight rounded, under its own name."""
    return [numpy_helper.from_array(rounded(weight, value).astype(np.float32), weight.name)], []


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


def shrink(model, to_bytes):
    """Replaces every single-precision weight of model, in place: by bytes, or else rounded."""
    graph = model.graph
    weights, nodes = [], []
    for weight in graph.initializer:
        if weight.data_type != TensorProto.FLOAT:
            weights.append(weight)
            continue
        value = numpy_helper.to_array(weight)
        way = in_place if not to_bytes else in_bytes if value.ndim > 1 else halved
        kept, made = way(weight, value)
        weights += kept
        nodes += made
    nodes += graph.node
    del graph.initializer[:], graph.node[:]
    graph.initializer.extend(weights)
    graph.node.extend(nodes)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    how = p.add_mutually_exclusive_group(required=True)
    how.add_argument("--round", action="store_true")
    how.add_argument("--bytes", action="store_true")
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
