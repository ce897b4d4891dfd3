#!/usr/bin/python3
"""Makes the small networks that the tests run, and what they answer (Debian's python3-onnx, python3-numpy and python3-opencv):

small.onnx  a convolution of 1 plane to 2, 3 x 3, padded by 1, then ReLU, then twice as many rows and columns; of any size
half.onnx   the same, with its weights kept in half precision and cast to single precision as it is loaded
fixed.onnx  small.onnx for 4 rows and 6 columns only
values.json weights, an input and the answer to it. The answer is summed up with NumPy in double precision from the definition of a
            convolution, and OpenCV's dnn, running fixed.onnx, must agree with it.
"""

import json
import os

import cv2
import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

HERE = os.path.dirname(os.path.abspath(__file__))
ROWS, COLS = 4, 6
# Sixteenths, which half precision holds exactly.
WEIGHTS = (np.arange(18).reshape(2, 1, 3, 3) * 5 % 17 - 8) / 16
BIAS = np.array([0.25, -0.5])
INPUT = (np.arange(ROWS * COLS).reshape(ROWS, COLS) * 7 % 11 - 5) / 4


def network(half, sizes):
    kept = np.float16 if half else np.float32
    initializers = [numpy_helper.from_array(v.astype(kept), n) for n, v in (("weights", WEIGHTS), ("bias", BIAS))]
    initializers.append(numpy_helper.from_array(np.array([1, 1, 2, 2], np.float32), "scales"))
    initializers.append(numpy_helper.from_array(np.zeros(0, np.float32), "roi"))
    nodes, names = [], ["weights", "bias"]
    if half:
        nodes = [helper.make_node("Cast", [n], [n + "32"], to=TensorProto.FLOAT) for n in names]
        names = [n + "32" for n in names]
    nodes += [
        helper.make_node("Conv", ["in"] + names, ["conv"], kernel_shape=[3, 3], pads=[1, 1, 1, 1]),
        helper.make_node("Relu", ["conv"], ["relu"]),
        helper.make_node(
            "Resize", ["relu", "roi", "scales"], ["out"], mode="nearest", nearest_mode="floor", coordinate_transformation_mode="asymmetric"
        ),
    ]
    ends = [
        helper.make_tensor_value_info(n, TensorProto.FLOAT, [1, planes, *s]) for n, planes, s in (("in", 1, sizes[:2]), ("out", 2, sizes[2:]))
    ]
    graph = helper.make_graph(nodes, "small", ends[:1], ends[1:], initializers)
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 11)], ir_version=6)
    onnx.checker.check_model(model)
    return model


def answer():
    padded = np.pad(INPUT, 1)
    planes = []
    for weights, bias in zip(WEIGHTS[:, 0], BIAS):
        plane = [[(padded[r : r + 3, c : c + 3] * weights).sum() + bias for c in range(COLS)] for r in range(ROWS)]
        planes.append(np.maximum(plane, 0).repeat(2, 0).repeat(2, 1))
    return np.array(planes)


any_size = ["rows", "cols", "rows_out", "cols_out"]
for name, half, sizes in (
    ("small", False, any_size),
    ("half", True, any_size),
    ("fixed", False, [ROWS, COLS, 2 * ROWS, 2 * COLS]),
):
    onnx.save(network(half, sizes), os.path.join(HERE, name + ".onnx"))
want = answer()
net = cv2.dnn.readNetFromONNX(os.path.join(HERE, "fixed.onnx"))
net.setInput(INPUT.astype(np.float32)[None, None])
assert np.abs(net.forward()[0] - want).max() < 1e-5
with open(os.path.join(HERE, "values.json"), "w") as f:
    json.dump({"rows": ROWS, "cols": COLS, "in": INPUT.ravel().tolist(), "out": want.ravel().tolist()}, f)
    f.write("\n")
