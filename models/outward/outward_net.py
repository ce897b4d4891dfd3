"""Outward's network: which way range runs in a side that shows neither the nadir nor the water column.

Input: 2 x rows x cols (multiples of 32), value / 255: leveled strength, and the echo as displayed (planes 0 and 3 of detect/finderview.go).
Output: 1 x 1 x 1 x 1, the log odds of range running to the right. Read in a mirror along range the answer is the same with the other sign.
"""

import os
import sys

import torch
from torch import nn

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "reader"))
from net import Residual, Separable, unit, write  # noqa: E402

PLANES = 2
REACH = 6.0  # the largest evidence of a place


class Outward(nn.Module):
    WIDTHS = (16, 32, 64, 96, 128)
    DEPTHS = (1, 2, 2, 3, 3)

    def __init__(self):
        super().__init__()
        steps, before = [], PLANES
        for i, c in enumerate(self.WIDTHS):
            steps.append(unit(before, c, 3, 2) if i != 1 else Separable(before, c, 2))
            for j in range(self.DEPTHS[i]):
                inner = Separable(c, c) if i <= 2 else unit(c, c, 3, dilation=(1, 2, 4)[j % 3])
                steps.append(Residual(inner))
            before = c
        self.down = nn.Sequential(*steps)
        # of each place: what it tells, and how much that counts beside other places
        self.out = nn.Conv2d(before, 2, 1)

    def told(self, x):
        out = self.out(self.down(x)).float()
        counts = torch.softmax(out[:, 1].flatten(1), 1)
        return (REACH * torch.tanh(out[:, 0].flatten(1)) * counts).sum(1, keepdim=True)

    def forward(self, x):
        # both at once: in a fit each batch norm would else tell by its batch which of the two it is
        told = self.told(torch.cat([x, x.flip(3)]))
        return (told[: len(x)] - told[len(x) :]).view(-1, 1, 1, 1)


def export(model, path):
    write(model, path, (1, PLANES, 256, 384), "side", "outward", {"side": {2: "rows", 3: "cols"}})
