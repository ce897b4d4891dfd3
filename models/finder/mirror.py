#!/usr/bin/python3
"""Writes the finder that sees each side mirrored along the track and answers as if it had not: mirror.py FINDER.onnx OUT.onnx

Range goes on running outward, so what it answers is as good, and errs elsewhere: the mean of a finder and its mirror (models/mean.py) stands for
the mean of two finders where only one was fitted. Needs Debian's python3-onnx.
"""

import argparse

import numpy as np
from google.protobuf.message import DecodeError
from onnx import checker, helper, load, numpy_helper, save

from views import PLANES

ROWS = 2  # axis of the rows in what goes in and comes out
ORDER = (0, 1, 2, 4, 3, 5, 6, 7, 9, 8, 10, 11)  # of the answer's channels: the first row becomes the last, of highlight and of shadow
TURNED = (3, 4, 8, 9)  # distances along the track, which change their sign


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("finder")
    p.add_argument("out")
    args = p.parse_args()
    try:
        model = load(args.finder)
    except (OSError, DecodeError) as e:
        p.error(f"{args.finder}: {e}")
    graph = model.graph
    given, answer = graph.input[0].name, graph.output[0].name
    if graph.input[0].type.tensor_type.shape.dim[1].dim_value != PLANES:
        p.error(f"{args.finder}: no finder")
    for node in graph.node:
        node.input[:] = ["seen" if name == given else name for name in node.input]
        node.output[:] = ["said" if name == answer else name for name in node.output]
    sign = np.ones((1, len(ORDER), 1, 1), np.float32)
    sign[0, list(TURNED)] = -1
    backwards = {"from": [-1], "to": [np.iinfo(np.int64).min], "axis": [ROWS], "step": [-1]}
    for name, value in {**{k: np.array(v, np.int64) for k, v in backwards.items()}, "order": np.array(ORDER, np.int64), "sign": sign}.items():
        graph.initializer.append(numpy_helper.from_array(value, "mirror." + name))
    ends = ["mirror." + name for name in backwards]
    inner = list(graph.node)
    del graph.node[:]
    graph.node.extend(
        [
            helper.make_node("Slice", [given, *ends], ["seen"], name="mirror"),
            *inner,
            helper.make_node("Slice", ["said", *ends], ["back"], name="back"),
            helper.make_node("Gather", ["back", "mirror.order"], ["turned"], axis=1, name="turn"),
            helper.make_node("Mul", ["turned", "mirror.sign"], [answer], name="sign"),
        ]
    )
    checker.check_model(model)
    save(model, args.out)


if __name__ == "__main__":
    main()
