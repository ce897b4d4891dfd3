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
from net import Residual, Separable, unit, write  # noqa: E402
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


def restore(model, path, part, x):
    """Gives the model the weights of a network in ONNX, of the part-th of those whose mean it is. There batch norms are part of the convolutions
    before them; here each gets the mean and the deviation that the batch x brings it, so that it changes nothing."""
    import onnx
    from onnx import numpy_helper

    graph = onnx.load(path).graph
    weights = {w.name: numpy_helper.to_array(w) for w in graph.initializer}
    convs = [m for m in model.modules() if isinstance(m, nn.Conv2d)]
    order, hooks = [], []
    for m in convs:
        hooks.append(m.register_forward_hook(lambda m, _, out: order.append(m)))
    model.eval()
    with torch.no_grad():
        model(x[:1])
    for h in hooks:
        h.remove()
    told = []
    for node in graph.node:
        if node.op_type == "Conv":
            told.append([weights[n] for n in node.input[1:3]])
        elif node.op_type == "QLinearConv":
            i = node.input  # x, its step and zero, w, its steps and zeros, step and zero of the answer, bias
            steps = weights[i[4]]
            told.append([weights[i[3]] * steps[:, None, None, None], weights[i[8]] * weights[i[1]] * steps])
    told = told[part * len(order) : (part + 1) * len(order)]
    if len(told) != len(order):
        raise ValueError(f"{path} holds no part {part} of {len(order)} convolutions")
    bias = {}
    with torch.no_grad():
        for m, (w, b) in zip(order, told):
            m.weight.copy_(torch.tensor(w))
            if m.bias is not None:
                m.bias.copy_(torch.tensor(b))
            else:
                bias[m] = torch.tensor(b, dtype=torch.float32, device=x.device)
    hooks = []
    for block in model.modules():
        if isinstance(block, nn.Sequential):
            steps = list(block)
            for conv, norm in zip(steps, steps[1:]):
                if isinstance(norm, nn.BatchNorm2d):

                    def changes_nothing(norm, given, b=bias.pop(conv)):
                        var, mean = torch.var_mean(given[0].float(), (0, 2, 3), unbiased=False)
                        norm.running_mean.copy_(mean)
                        norm.running_var.copy_(var)
                        norm.weight.copy_((var + norm.eps).sqrt())
                        norm.bias.copy_(mean + b)

                    hooks.append(norm.register_forward_pre_hook(changes_nothing))
    if bias:
        raise ValueError(f"{len(bias)} convolutions have neither a bias nor a batch norm behind them")
    with torch.no_grad():
        model(x)
    for h in hooks:
        h.remove()
    model.train()


def export(model, path):
    write(model, path, (1, PLANES, 256, 384), "side", "things", {"side": {2: "rows", 3: "cols"}, "things": {2: "half_rows", 3: "half_cols"}})
