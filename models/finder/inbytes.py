#!/usr/bin/python3
"""Makes the finder's heavy convolutions count in bytes: inbytes.py FINDER.onnx --views VIEWS.bin --out OUT.onnx

Those are the full 3 x 3 ones from 32 channels on: nine tenths of all that is multiplied. What goes in and comes out of each is above 0 (a ReLU
stands before and behind), so it becomes a byte of 0 to 255 steps; the step is the one of least squared error over what the views of the file
of views (cmd/refit -views) bring there. Weights become whole numbers of -63 to 63, each output channel with a step of its own: with seven
bits, sums of two products fit 16 bits on processors that add so (ONNX Runtime, Quantize ONNX Models, on reduce_range), so every processor
gives the same answer. The rest of the network stays as it is.

Needs Debian's python3-onnx, and python3-opencv or, where it is, ONNX Runtime: OpenCV 5 gives no answers from within a network.
"""

import argparse
import hashlib
import random
import struct

import numpy as np
from google.protobuf.message import DecodeError
from onnx import TensorProto, checker, helper, load, numpy_helper, save

from views import PLANES, read

LEAST = 32  # input channels from which a convolution counts in bytes
LARGEST = 63  # of a weight
KEPT = 4000  # values of one place kept of one side
SIDES = {"rendered": 45, "other": 30, "set-in": 25, "labelled": 20, "tile": 15}  # looked at of each source


def chosen(path):
    """A choice of the sides in a file of views, 1 x PLANES x rows x cols, as the network takes them."""
    data, heads, offsets = read(path)
    places = {}
    for head, first in zip(heads, offsets):
        places.setdefault(head["source"], []).append((first, (1, PLANES, head["rows"], head["cols"])))
    rng = random.Random(1)
    for source, most in SIDES.items():
        found = places.get(source, [])
        for first, shape in rng.sample(found, min(most, len(found))):
            yield data[first : first + int(np.prod(shape))].reshape(shape).astype(np.float32) / 255


def heavy(graph):
    """The convolutions that are to count in bytes, each with the ReLU behind it."""
    weights = {w.name: w for w in graph.initializer}
    takers = {}
    for node in graph.node:
        for name in node.input:
            takers.setdefault(name, []).append(node)
    for node in graph.node:
        if node.op_type == "Conv":
            _, inputs, high, wide = weights[node.input[1]].dims
            behind = takers.get(node.output[0], [])
            if inputs >= LEAST and high == wide == 3 and [n.op_type for n in behind] == ["Relu"]:
                yield node, behind[0]


def asked(path, names):
    """What tells what the network of path brings to each of names, given a side."""
    model = load(path)
    try:
        import onnxruntime
    except ImportError:
        import cv2

        cv2.setNumThreads(1)
        net = cv2.dnn.readNetFromONNX(path)
        makers = {node.output[0]: node.name for node in model.graph.node}
        layers = ["onnx_node!" + makers[n] for n in names]  # as OpenCV calls them

        def answers(side):
            net.setInput(side)
            return net.forward(layers)

        return answers
    model.graph.output.extend(helper.make_tensor_value_info(n, TensorProto.FLOAT, None) for n in names)
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return lambda side: session.run(names, {model.graph.input[0].name: side})


def gathered(path, names, sides):
    """What the network of path brings to each of names over the sides."""
    answers = asked(path, names)
    rng = np.random.default_rng(1)
    out = {n: [] for n in names}
    for side in sides:
        for name, value in zip(names, answers(side)):
            flat = value.ravel()
            out[name].append(np.append(rng.choice(flat, min(KEPT, flat.size), replace=False), flat.max()))
    return {n: np.concatenate(v) for n, v in out.items()}


def step(values):
    """The step of 255 that values above 0 are told by with the least squared error."""
    top = float(values.max())

    def off(step):
        return float(((np.clip(np.round(values / step), 0, 255) * step - values) ** 2).mean())

    return min((top * part / 255 for part in np.linspace(0.2, 1, 81)), key=off)


def in_bytes(graph, steps):
    """Replaces the heavy convolutions of graph, in place, and tells how many there are."""
    weights = {w.name: w for w in graph.initializer}
    made, gone, spare, told = {}, set(), set(), {}
    more = [numpy_helper.from_array(np.array(0, np.uint8), "least")]

    def known(name, value):
        more.append(numpy_helper.from_array(value, name))
        return name

    for conv, relu in heavy(graph):
        source, sink = conv.input[0], relu.output[0]
        weight, bias = (numpy_helper.to_array(weights[n]).astype(np.float64) for n in conv.input[1:3])
        each = np.maximum(np.abs(weight).max(axis=(1, 2, 3)) / LARGEST, 1e-12)
        name = conv.output[0]
        before, after = np.float32(steps[source]), np.float32(steps[sink])
        nodes = []
        if source not in told:
            told[source] = source + ".bytes"
            nodes.append(helper.make_node("QuantizeLinear", [source, known(source + ".step", np.array(before)), "least"], [told[source]], name=told[source]))
        whole = np.round(weight / each[:, None, None, None]).astype(np.int8)
        nodes.append(helper.make_node(
            "QLinearConv",
            [
                told[source], source + ".step", "least", known(name + ".weight", whole), known(name + ".each", each.astype(np.float32)),
                known(name + ".zero", np.zeros(len(each), np.int8)), known(name + ".after", np.array(after)), "least",
                known(name + ".bias", np.round(bias / (float(before) * each)).astype(np.int32)),
            ],
            [name + ".bytes"],
            name=conv.name,
            **{a.name: helper.get_attribute_value(a) for a in conv.attribute},
        ))
        nodes.append(helper.make_node("DequantizeLinear", [name + ".bytes", name + ".after", "least"], [sink], name=relu.name))
        made[conv.name] = nodes
        gone.add(relu.name)
        spare.update(conv.input[1:3])
    nodes = [n for node in graph.node for n in made.get(node.name, [] if node.name in gone else [node])]
    kept = [w for w in graph.initializer if w.name not in spare]
    del graph.node[:], graph.initializer[:]
    graph.node.extend(nodes)
    graph.initializer.extend(kept + more)
    return len(made)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("finder")
    p.add_argument("--views", required=True)
    p.add_argument("--out", required=True)
    args = p.parse_args()
    try:
        model = load(args.finder)
    except (OSError, DecodeError) as e:
        p.error(f"{args.finder}: no network: {e}")
    names = sorted({n for conv, relu in heavy(model.graph) for n in (conv.input[0], relu.output[0])})
    try:
        steps = {n: step(v) for n, v in gathered(args.finder, names, chosen(args.views)).items()}
    except OSError as e:
        p.error(str(e))
    except (ValueError, struct.error) as e:
        p.error(f"{args.views}: no whole file of views: {e}")
    n = in_bytes(model.graph, steps)
    checker.check_model(model)
    save(model, args.out)
    with open(args.out, "rb") as f:
        print(f"{n} convolutions in bytes: {args.out} sha256", hashlib.sha256(f.read()).hexdigest())


if __name__ == "__main__":
    main()
