#!/usr/bin/python3
"""Makes one network that answers with the mean of several with the same ends: mean.py NETWORK.onnx... --out OUT.onnx [--shares A B...]

Needs Debian's python3-onnx.
"""

import argparse

import numpy as np
from onnx import checker, helper, load, numpy_helper, save


def mean(models, shares):
    """The network of the mean of models' only outputs, weighed by shares, given the same input."""
    first = models[0].graph
    out = [v.name for v in first.output]
    nodes, weights, answers = [], [], []
    for k, model in enumerate(models):
        graph = model.graph
        names = {n: f"{k}.{n}" for n in [w.name for w in graph.initializer] + [o for node in graph.node for o in node.output]}
        for weight in graph.initializer:
            weight.name = names[weight.name]
            weights.append(weight)
        for node in graph.node:
            node.name = f"{k}.{node.name}"
            for ends in (node.input, node.output):
                ends[:] = [names.get(n, n) for n in ends]
            nodes.append(node)
        weights.append(numpy_helper.from_array(np.array(shares[k] / sum(shares), np.float32), f"{k}.share"))
        nodes.append(helper.make_node("Mul", [names[out[0]], f"{k}.share"], [f"{k}.part"]))
        answers.append(f"{k}.part")
    nodes.append(helper.make_node("Sum", answers, out))
    graph = helper.make_graph(nodes, "mean", first.input, first.output, weights)
    made = helper.make_model(graph, opset_imports=models[0].opset_import)
    made.ir_version = models[0].ir_version
    checker.check_model(made)
    return made


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--shares", type=float, nargs="+", default=None, help="of the networks; even if not given")
    p.add_argument("--out", required=True)
    p.add_argument("networks", nargs="+")
    args = p.parse_args()
    save(mean([load(path) for path in args.networks], args.shares or [1] * len(args.networks)), args.out)


if __name__ == "__main__":
    main()
