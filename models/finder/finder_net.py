"""The finder's network: where on a leveled side something lies, what it is, and how far its highlight and its shadow reach.

Input: 4 x rows x cols (multiples of 32), value / 255: leveled strength, water or bottom, steepness of the ray, echo as displayed
(detect/finderview.go).
Output: 12 x rows/2 x cols/2. Channels 0..2: logits of the classes bottom-object, suspended-target, raised-structure at a thing's middle.
3..6: from there to its highlight's first row, last row, near edge, far edge. 7: logit that it throws a visible shadow. 8..11: the
same four for the shadow. Distances are signed logarithms of cells of the input: sign(d) * log(1 + |d|).
"""

import os
import sys

import torch
from torch import nn

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "reader"))
from net import Residual, Separable, restore, unit, write  # noqa: E402
from views import PLANES  # noqa: E402

CLASSES = 3
BOX, SHADE, SHADOW = 3, 7, 8
OUT = 12


class Finder(nn.Module):
    WIDTHS = (20, 32, 64, 128, 224)
    DEPTHS = (1, 2, 3, 5, 5)

    def __init__(self):
        super().__init__()
        w = self.WIDTHS
        self.down = nn.ModuleList()
        for i, c in enumerate(w):
            if i == 0:
                steps = [unit(PLANES, c, 3, 2)]
            elif i == 1:
                steps = [Separable(w[0], c, 2)]
            else:
                steps = [unit(w[i - 1], c, 3, 2)]
            for j in range(self.DEPTHS[i]):
                # full convolutions cost most where there are many cells
                inner = Separable(c, c) if i <= 1 or i == 2 and j > 0 else unit(c, c, 3, dilation=(1, 2, 4)[j % 3] if i >= 3 else 1)
                steps.append(Residual(inner))
            self.down.append(nn.Sequential(*steps))
        self.narrow = nn.ModuleList(unit(w[i + 1], w[i], 1) for i in range(len(w) - 1))
        self.mend = nn.ModuleList(Residual(Separable(w[i], w[i])) for i in range(len(w) - 1))
        self.out = nn.Conv2d(w[0], OUT, 1)
        nn.init.constant_(self.out.bias[:CLASSES], -4.0)  # things are rare

    def forward(self, x):
        skips = []
        for stage in self.down:
            x = stage(x)
            skips.append(x)
        for i in range(len(self.narrow) - 1, -1, -1):
            x = nn.functional.interpolate(self.narrow[i](x), scale_factor=2, mode="nearest")
            x = self.mend[i](x + skips[i])
        return self.out(x)


def restored(path, x):
    """The finder of a file in ONNX, for the sides of a batch (net.restore); ValueError tells of one that holds none."""
    from google.protobuf.message import DecodeError  # as onnx itself, of no need to a fit from nothing

    net = Finder().to(x.device)
    try:
        restore(net, path, 0, x)
    except (KeyError, ValueError, RuntimeError, DecodeError) as e:
        raise ValueError(f"{path}: no network of a finder: {e}") from e
    return net


def export(model, path):
    write(model, path, (1, PLANES, 256, 384), "side", "things", {"side": {2: "rows", 3: "cols"}, "things": {2: "half_rows", 3: "half_cols"}})
