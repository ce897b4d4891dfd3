#!/usr/bin/python3
"""Makes a finder that sees each side mirrored along track, and answers for the side as it is: mirror.py FINDER.onnx --out OUT.onnx

A side turned end for end is as good a side, and a network's mistakes on both have less in common than two networks' on one: so the mean
(models/mean.py) of two finders of which one is mirrored is better than that of both as they are, at no more cost.

Needs Debian's python3-onnx.
"""

import argparse

import numpy as np
from onnx import checker, helper, load, numpy_helper, save

# Channels of the answer (finder_net.py): distances to a first and a last row change places and signs.
FROM = [0, 1, 2, 4, 3, 5, 6, 7, 9, 8, 10, 11]
SIGN = [1, 1, 1, -1, -1, 1, 1, 1, -1, -1, 1, 1]
ROWS = 2  # the axis


def mirrored(model):
    """Turns what goes into model and what comes out of it; in place."""
    graph = model.graph
    side, things = graph.input[0].name, graph.output[0].name
    known = {"last": [-1], "before-first": [np.iinfo(np.int64).min], "rows": [ROWS], "back": [-1], "from": FROM}
    graph.initializer.extend(numpy_helper.from_array(np.array(v, np.int64), "mirror." + n) for n, v in known.items())
    graph.initializer.append(numpy_helper.from_array(np.array(SIGN, np.float32).reshape(1, -1, 1, 1), "mirror.sign"))
    turn = ["mirror.last", "mirror.before-first", "mirror.rows", "mirror.back"]
    for node in graph.node:
        node.input[:] = ["mirror.side" if n == side else n for n in node.input]
        node.output[:] = ["mirror.things" if n == things else n for n in node.output]
    graph.node.insert(0, helper.make_node("Slice", [side, *turn], ["mirror.side"], name="mirror.in"))
    graph.node.extend([
        helper.make_node("Slice", ["mirror.things", *turn], ["mirror.turned"], name="mirror.out"),
        helper.make_node("Gather", ["mirror.turned", "mirror.from"], ["mirror.swapped"], name="mirror.swap", axis=1),
        helper.make_node("Mul", ["mirror.swapped", "mirror.sign"], [things], name="mirror.negate"),
    ])


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("finder")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    model = load(args.finder)
    mirrored(model)
    checker.check_model(model)
    save(model, args.out)


if __name__ == "__main__":
    main()
