#!/usr/bin/python3
"""Makes one network that answers with the mean of several with the same ends: mean.py NETWORK.onnx... --out OUT.onnx [--shares A B...] [--last A B...]

Needs Debian's python3-onnx.
"""

import argparse

import numpy as np
from onnx import checker, helper, load, numpy_helper, save


def mean(models, shares, last):
    """The network of the mean of models' only outputs, n x channels x rows x cols, given the same input; weighed by shares, the last channel by last."""
    first = models[0].graph
    channels = first.output[0].type.tensor_type.shape.dim[1].dim_value
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
        share = np.full((1, channels, 1, 1), shares[k] / sum(shares), np.float32)
        share[:, -1] = last[k] / sum(last)
        weights.append(numpy_helper.from_array(share, f"{k}.share"))
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
    p.add_argument("--last", type=float, nargs="+", default=None, help="the same for the last channel: the reader's odds of side-scan at all")
    p.add_argument("--out", required=True)
    p.add_argument("networks", nargs="+")
    args = p.parse_args()
    for given in (args.shares, args.last):
        if given and len(given) != len(args.networks):
            p.error(f"{len(given)} shares for {len(args.networks)} networks")
    shares = args.shares or [1] * len(args.networks)
    save(mean([load(path) for path in args.networks], shares, args.last or shares), args.out)


if __name__ == "__main__":
    main()
