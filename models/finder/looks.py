#!/usr/bin/python3
"""Tells how well finders do that look at a side in several ways and answer with the mean: looks.py --views real.bin [--hold GROUPS] NETWORK.onnx...

Needs Debian's python3-torch and python3-onnx. The networks, of whose answers the mean counts, are such as fit.py writes.
"""

import argparse
import os

import torch
from torch.nn import functional

import fit
from finder_net import BOX, SHADOW, Finder, restore
from sides import slog

# channels of the boxes' ends along the track and in range
TRACK, RANGE = [BOX, BOX + 1, SHADOW, SHADOW + 1], [BOX + 2, BOX + 3, SHADOW + 2, SHADOW + 3]
MULTIPLE = 32

# Of a look: rows and range cells that become one, and whether the side is turned along the track.
LOOKS = {"as it is": (1, 1, False), "rows": (2, 1, False), "range": (1, 2, False), "both": (2, 2, False), "thirds": (3, 3, False), "turned": (1, 1, True)}
MEANS = (("as it is",), ("rows",), ("as it is", "rows"), ("as it is", "range"), ("as it is", "turned"), ("both",), ("as it is", "both"),
         ("as it is", "as it is", "both"), ("as it is", "rows", "both"), ("as it is", "both", "thirds"))


def stretched(answer, channels, times):
    """Boxes in cells so many times as small."""
    v = answer[:, channels]
    answer[:, channels] = slog(torch.sign(v) * torch.expm1(v.abs().clamp(max=8)) * times)


def looked(nets, x, rows, cols, turned):
    """What networks answer to one look at a side, in cells of the side."""
    high, wide = x.shape[2:]
    seen = x.flip(2) if turned else x
    pad = (0, -wide % (MULTIPLE * cols), 0, -high % (MULTIPLE * rows))
    seen = functional.avg_pool2d(functional.pad(seen, pad, mode="replicate"), (rows, cols))
    out = sum(net(seen) for net in nets) / len(nets)
    stretched(out, TRACK, rows)
    stretched(out, RANGE, cols)
    out = out.repeat_interleave(rows, 2).repeat_interleave(cols, 3)[:, :, : high // 2, : wide // 2]
    out = functional.pad(out, (0, wide // 2 - out.shape[3], 0, high // 2 - out.shape[2]), mode="replicate")
    if turned:
        out = out.flip(2)
        out[:, TRACK] = -out[:, [BOX + 1, BOX, SHADOW + 1, SHADOW]]
    return out


class Once:
    """The sides of a file, each looked at once: now is what the means say of the one asked for last."""

    def __init__(self, sides, nets):
        self.sides, self.nets = sides, nets
        self.means = {}

    def side(self, head):
        x = self.sides.side(head).float()
        if id(head) not in self.means:
            with torch.no_grad():
                says = {name: looked(self.nets, x, *look) for name, look in LOOKS.items()}
            self.means[id(head)] = {names: (sum(says[n] for n in names) / len(names)).half() for names in MEANS}
        self.now = self.means[id(head)]
        return x


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--views", required=True)
    p.add_argument("--hold", nargs="*", default=[], help="groups of real pictures to go by; rendered ones if not given")
    p.add_argument("networks", nargs="+")
    args = p.parse_args()
    for path in (args.views, *args.networks):
        if not os.path.isfile(path):
            p.error(f"{path}: no such file")
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    sides = fit.Sides(args.views, device, 1, (1,) * len(fit.SOURCES), args.hold or ())
    nets = []
    for path in args.networks:
        net = Finder().to(device)
        restore(net, path, 0, sides.batch(4)[0])
        nets.append(net.eval())
    which = [h for h in sides.held if h["source"] in ("labelled", "tile")] if args.hold else sides.of["rendered"] + sides.of["other"]
    once = Once(sides, nets)
    for names in MEANS:
        for kind, (captures, things, *found, precision) in fit.judged(lambda x: once.now[names].float(), once, which).items():
            print(f"{' + '.join(names)}, {kind}: {captures} sides, {things} things; found {', '.join(f'{v:.3f}' for v in found)} at 0.25, 0.5, 1 false "
                  f"a side; average precision {precision:.3f}", flush=True)


if __name__ == "__main__":
    main()
