"""Axis's network: where, beside a rough path, the two sides of a record meet.

Input: 4 x 1 x 97, as models/axis/axis.go writes it: of the path's column and 48 to either side the mean strength over its span and from its median,
its spread over the rows over the same span, the part that is drawn over, and the part of the rows that reaches so far.
Output: 2 x 1 x 97 logits: that the sides meet at the column, and half a column to its right.
"""

import os
import sys

import torch
from torch import nn

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "reader"))
from net import write  # noqa: E402

REACH, PLANES, HALVES = 48, 4, 2
COLS = 2 * REACH + 1
WIDTH = 24
FARTHER = (1, 2, 4, 8, 4, 2, 1)  # how far apart the columns are that each step looks at


class Axis(nn.Module):
    def __init__(self):
        super().__init__()
        self.first = nn.Conv2d(PLANES, WIDTH, (1, 7), padding=(0, 3))
        self.steps = nn.ModuleList([nn.Conv2d(WIDTH, WIDTH, (1, 5), padding=(0, 2 * d), dilation=(1, d)) for d in FARTHER])
        self.out = nn.Conv2d(WIDTH, HALVES, (1, 5), padding=(0, 2))

    def one_way(self, x):
        x = torch.relu(self.first(x))
        for step in self.steps:
            x = x + torch.relu(step(x))
        return self.out(x)

    def forward(self, x):
        # the mean of both ways to read it, so that a record and its mirror have the same nadir
        there, back = self.one_way(x), self.one_way(x.flip(3)).flip(3)
        # the place half a column right of one is, in the mirror, half a column right of the one before it
        halfway = torch.cat([back[:, 1:, :, 1:], there[:, 1:, :, -1:]], 3)
        return (there + torch.cat([back[:, :1], halfway], 1)) / 2


def export(model, path):
    write(model, path, (1, PLANES, 1, COLS), "beside", "axis")
