#!/usr/bin/python3
"""Writes the network in the middle of several, each of which went on from the one before: middle.py ONE.onnx TWO.onnx ... --views VIEWS.bin --out OUT.onnx

Each weight is the mean of theirs: what fits along one path learn that carries over agrees, and what each has come to know by heart doesn't
(Wortsman and others 2022, Model soups, from memory). Such a mean answers more faintly layer by layer, so each convolution's answer gets the mean and
the deviation over a batch of sides back that it has in the networks on average (Jordan and others 2022, REPAIR, from memory). models/between.py does
without that, and without PyTorch.

Needs Debian's python3-torch and python3-onnx; a processor is enough.
"""

import argparse
import struct

import torch
from torch import nn

import fit
from finder_net import export, restored

SIDES = 64  # crops of sides that answers are measured on
SHARES = (0.16, 0.26, 0.12, 0.08, 0.38)  # of them, by source


def of(kind, net):
    """A network's parts of one kind, in order."""
    return [m for m in net.modules() if isinstance(m, kind)]


def middle(nets, out, x):
    """Gives out the mean of the networks' weights, and on a batch their answers' mean statistics, layer by layer. All of them have batch norms that
    change nothing on that batch: scale and shift are the deviation and the mean that a convolution's answer has there."""
    with torch.no_grad():
        for kind in (nn.Conv2d, nn.BatchNorm2d):
            for ours, *theirs in zip(of(kind, out), *(of(kind, n) for n in nets), strict=True):
                ours.weight.copy_(sum(m.weight for m in theirs) / len(nets))
                if ours.bias is not None:
                    ours.bias.copy_(sum(m.bias for m in theirs) / len(nets))
        for norm in of(nn.BatchNorm2d, out):
            norm.momentum = 1.0
        out.train()
        out(x)  # each layer is measured behind those that are right already
        out.eval()


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("networks", nargs="+")
    p.add_argument("--views", required=True)
    p.add_argument("--out", required=True)
    args = p.parse_args()
    try:
        x = fit.Sides(args.views, torch.device("cpu"), 1, SHARES, ()).batch(SIDES)[0].float()
    except OSError as e:
        p.error(str(e))
    except (ValueError, struct.error) as e:
        p.error(f"{args.views}: no whole file of views: {e}")
    try:
        *nets, out = (restored(path, x) for path in [*args.networks, args.networks[0]])
        middle(nets, out, x)
        export(out, args.out)
    except (OSError, ValueError) as e:
        p.error(str(e))


if __name__ == "__main__":
    main()
