"""The reader's network: a small encoder-decoder that says for every cell of a capture what it shows.

Input: 3 x 288 x 512, RGB, (value / 255) - 0.5, the whole capture stretched to that size.
Output: 8 x 144 x 256 logits. Channels 0..5 are the classes of CLASSES, one of them per cell. Channel 6 is above 0 where the
display shows strong echoes dark. Channel 7 is the class of the whole picture, above 0 when it holds side-scan at all.
"""

import inspect

import torch
from torch import nn

HEIGHT, WIDTH = 288, 512
CLASSES = ("outside", "furniture", "water-port", "water-starboard", "bottom-port", "bottom-starboard")
OUTSIDE, FURNITURE, WATER_PORT, WATER_STARBOARD, BOTTOM_PORT, BOTTOM_STARBOARD = range(6)
INVERTED, SONAR = 6, 7


def unit(cin, cout, k=3, stride=1, groups=1, dilation=1, relu=True):
    layers = [
        nn.Conv2d(cin, cout, k, stride, dilation * (k // 2), dilation, groups, bias=False),
        nn.BatchNorm2d(cout),
    ]
    if relu:
        layers.append(nn.ReLU(inplace=True))
    return nn.Sequential(*layers)


class Separable(nn.Sequential):
    """Depthwise, then pointwise: what the two finest scales can afford."""

    def __init__(self, cin, cout, stride=1):
        super().__init__(unit(cin, cin, 3, stride, cin, relu=False), unit(cin, cout, 1))


class Residual(nn.Module):
    def __init__(self, inner):
        super().__init__()
        self.inner = inner

    def forward(self, x):
        return x + self.inner(x)


class Reader(nn.Module):
    WIDTHS = (24, 32, 64, 88, 104)
    DEPTHS = (0, 1, 3, 4, 4)

    def __init__(self, widths=WIDTHS, depths=DEPTHS):
        super().__init__()
        w = widths
        self.down = nn.ModuleList()
        for i, c in enumerate(w):
            if i == 0:
                steps = [unit(3, c, 3, 2)]
            elif i == 1:
                steps = [Separable(w[0], c, 2)]
            else:
                steps = [unit(w[i - 1], c, 3, 2)]
            for j in range(depths[i]):
                # at the coarse scales ever wider steps let a cell see the whole picture
                inner = Separable(c, c) if i <= 1 else unit(c, c, 3, dilation=(1, 2, 4)[j % 3] if i >= 3 else 1)
                steps.append(Residual(inner))
            self.down.append(nn.Sequential(*steps))
        self.narrow = nn.ModuleList(unit(w[i + 1], w[i], 1) for i in range(len(w) - 1))
        self.mend = nn.ModuleList(Residual(Separable(w[i], w[i])) for i in range(len(w) - 1))
        self.out = nn.Conv2d(w[0], 8, 1)

    def forward(self, x):
        skips = []
        for stage in self.down:
            x = stage(x)
            skips.append(x)
        for i in range(len(self.narrow) - 1, -1, -1):
            x = nn.functional.interpolate(self.narrow[i](x), scale_factor=2, mode="nearest")
            x = self.mend[i](x + skips[i])
        return self.out(x)


def fuse(model):
    """Folds each batch norm into the convolution before it, in place."""
    for module in model.modules():
        if isinstance(module, nn.Sequential):
            for name, child in list(module.named_children()):
                if isinstance(child, nn.BatchNorm2d):
                    before = module[int(name) - 1]
                    fused = nn.utils.fusion.fuse_conv_bn_eval(before, child)
                    module[int(name) - 1] = fused
                    module[int(name)] = nn.Identity()
    for module in list(model.modules()):
        if isinstance(module, nn.Sequential):
            keep = [c for c in module if not isinstance(c, nn.Identity)]
            if len(keep) != len(module):
                for name in list(module._modules):
                    del module._modules[name]
                for i, c in enumerate(keep):
                    module.add_module(str(i), c)
    return model


def write(model, path, shape, given, answer, axes=None):
    """Writes a fitted model as ONNX: opset 11, no batch norms; given and answer name its ends, axes what of their shapes is left open."""
    newer = "dynamo" in inspect.signature(torch.onnx.export).parameters  # from PyTorch 2.5 on
    torch.onnx.export(
        fuse(model.eval().cpu().float()),
        torch.zeros(*shape),
        path,
        opset_version=11,
        input_names=[given],
        output_names=[answer],
        dynamic_axes=axes,
        **({"dynamo": False} if newer else {}),
    )


def restore(model, path, part, x):
    """Gives the model the weights of a network in ONNX, of the part-th of those whose mean it is. There batch norms are part of the convolutions
    before them; here each gets the mean and the deviation that the batch x brings it, so that it changes nothing."""
    import numpy as np
    import onnx
    from onnx import numpy_helper

    graph = onnx.load(path).graph
    weights = {w.name: numpy_helper.to_array(w) for w in graph.initializer}
    for node in graph.node:  # as shrink.py stores them: bytes or halves, made whole and multiplied by their steps when the network is loaded
        if node.op_type == "Cast" and node.input[0] in weights:
            weights[node.output[0]] = weights[node.input[0]].astype(np.float32)
        elif node.op_type == "Mul" and all(n in weights for n in node.input):
            weights[node.output[0]] = weights[node.input[0]] * weights[node.input[1]]
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
    several = any(node.name[:1].isdigit() for node in graph.node)  # mean.py names them so
    for node in graph.node:
        if not node.name.startswith(f"{part}.") if several else part > 0:
            continue
        if node.op_type == "Conv":
            told.append([weights[n] for n in node.input[1:3]])
        elif node.op_type == "QLinearConv":
            i = node.input  # x, its step and zero, w, its steps and zeros, step and zero of the answer, bias
            steps = weights[i[4]]
            told.append([weights[i[3]] * steps[:, None, None, None], weights[i[8]] * weights[i[1]] * steps])
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


def go_on(model, earlier, part, batch):
    """Gives the model the weights of an earlier fit: NAME.pt, or the part-th network of NAME.onnx, which asks batch() what the model may see."""
    if earlier.endswith(".onnx"):
        restore(model, earlier, part, batch())
    else:
        model.load_state_dict(torch.load(earlier, map_location="cpu"))


def export(model, path):
    write(model, path, (1, 3, HEIGHT, WIDTH), "capture", "map")
