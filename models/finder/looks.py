#!/usr/bin/python3
"""Tells how well finders do that look at a side in cells of several sizes and answer with a mean of what they say.

    looks.py --views real.bin [--hold GROUPS] --mean near.onnx:1:0.5,far.onnx:2:0.3,far.onnx:3:0.2 [--mean ...]

A mean is of networks such as fit.py writes, each with how many cells of the side, either way, are one of its look, and its share. Needs
Debian's python3-torch and python3-onnx.
"""

import argparse
import os
import struct

import torch
from torch.nn import functional

import fit
from finder_net import BOX, CLASSES, SHADOW, restored
from sides import slog, unslog

MULTIPLE = 32  # what the rows and columns that a network sees are multiples of
ENDS = [*range(BOX, BOX + 4), *range(SHADOW, SHADOW + 4)]  # channels of the boxes


def looked(net, x, times):
    """What a network answers to one look at a side, in cells of the side: heat read between the middles of the look's, the rest as it is there."""
    high, wide = x.shape[2:]
    seen = functional.pad(x, (0, -wide % (MULTIPLE * times), 0, -high % (MULTIPLE * times)), mode="replicate")
    out = net(functional.avg_pool2d(seen, times))
    out[:, ENDS] = slog(unslog(out[:, ENDS]) * times)
    large = out.repeat_interleave(times, 2).repeat_interleave(times, 3)
    large[:, :CLASSES] = functional.interpolate(out[:, :CLASSES], scale_factor=times, mode="bilinear", align_corners=False)
    return large[:, :, : high // 2, : wide // 2]


class Once:
    """The sides of a file, each looked at once: now is what the means say of the one asked for last."""

    def __init__(self, sides, nets, means):
        self.sides, self.nets, self.means = sides, nets, means
        self.said = {}

    def side(self, head):
        x = self.sides.side(head).float()
        if id(head) not in self.said:
            with torch.no_grad():
                looks = {(path, times): None for mean in self.means.values() for path, times, _ in mean}
                for path, times in looks:
                    looks[path, times] = looked(self.nets[path], x, times)
            self.said[id(head)] = {name: sum(share * looks[path, times] for path, times, share in mean).half() for name, mean in self.means.items()}
        self.now = self.said[id(head)]
        return x


def mean(text):
    """A mean as it is given, for argparse: of each look the network's path, the times and the share."""
    looks = []
    for part in text.split(","):
        try:
            path, times, share = part.rsplit(":", 2)
            looks.append((path, int(times), float(share)))
        except ValueError:
            raise argparse.ArgumentTypeError(f"{part}: not NETWORK.onnx:TIMES:SHARE") from None
        if not os.path.isfile(path) or looks[-1][1] < 1:
            raise argparse.ArgumentTypeError(f"{part}: no such file, or no look")
    return looks


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--views", required=True)
    p.add_argument("--hold", nargs="*", default=[], help="groups of real pictures to go by; rendered ones if not given")
    p.add_argument("--mean", type=mean, action="append", required=True)
    args = p.parse_args()
    if not os.path.isfile(args.views):
        p.error(f"{args.views}: no such file")
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    try:
        sides = fit.Sides(args.views, device, 1, (1,) * len(fit.SOURCES), args.hold or ())
    except (ValueError, struct.error) as e:
        p.error(f"{args.views}: no whole file of views: {e}")
    try:
        nets = {path: restored(path, sides.batch(4)[0]).eval() for path in {path for looks in args.mean for path, _, _ in looks}}
    except ValueError as e:
        p.error(str(e))
    which = [h for h in sides.held if h["source"] in ("labelled", "tile")] if args.hold else sides.of["rendered"] + sides.of["other"]
    once = Once(sides, nets, {" ".join(f"{path}:{times}:{share:g}" for path, times, share in looks): looks for looks in args.mean})
    for name in once.means:
        for kind, (captures, things, *found, precision) in fit.judged(lambda x: once.now[name].float(), once, which).items():
            print(f"{name}, {kind}: {captures} sides, {things} things; found {', '.join(f'{v:.3f}' for v in found)} at 0.25, 0.5, 1 false "
                  f"a side; average precision {precision:.3f}", flush=True)


if __name__ == "__main__":
    main()
