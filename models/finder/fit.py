"""Fits the finder and writes finder.onnx. Needs PyTorch and a GPU; nothing of it is needed to build or run shadowgap.

    go run ./cmd/refit -scenes N -setin M -views views.bin
    fit.py --views views.bin --steps N --out DIR
"""

import argparse
import hashlib
import json
import os
import struct
import time

import numpy as np
import torch
import torch.nn.functional as F

from finder_net import BOX, CLASSES, PLANES, SHADE, SHADOW, Finder, export

ROWS, COLS = 256, 384  # of a crop, cells
MOST = 48  # things looked at in a crop


def read(path):
    """The sides of a file of views: headers and one array of all their planes."""
    heads, offsets = [], []
    data = np.memmap(path, np.uint8, "r")
    at = 0
    while at < len(data):
        (n,) = struct.unpack("<I", data[at : at + 4].tobytes())
        head = json.loads(data[at + 4 : at + 4 + n].tobytes())
        heads.append(head)
        offsets.append(at + 4 + n)
        at += 4 + n + PLANES * head["rows"] * head["cols"]
    return data, heads, offsets


def slog(v):
    return torch.sign(v) * torch.log1p(v.abs())


class Sides:
    def __init__(self, path, device, seed):
        data, self.heads, self.offsets = read(path)
        self.flat = torch.from_numpy(np.array(data)).to(device)
        self.device = device
        self.rng = np.random.default_rng(seed)
        for h in self.heads:
            m = h["marks"]
            h["things"] = np.array([self.thing(t) for t in m], np.float32).reshape(-1, 11)
            h["ignore"] = np.array(h["ignore"], np.float32).reshape(-1, 4)
        self.real = [i for i, h in enumerate(self.heads) if h["group"].startswith(("real-", "tile-"))]
        self.drawn = [i for i, h in enumerate(self.heads) if not h["group"].startswith(("real-", "tile-"))]
        self.full = {True: [i for i in self.real if self.heads[i]["marks"]], False: [i for i in self.drawn if self.heads[i]["marks"]]}

    @staticmethod
    def thing(m):
        """Class + 1, highlight (4), has a shadow, shadow (4), has a highlight; in cells of the side."""
        lit, dark = m["highlight"], m["shadow"]
        both = bool(lit and dark)
        return [1 + m["class"], *(lit or dark), both, *(dark if both else (0, 0, 0, 0)), bool(lit)]

    def crop(self, i):
        """Where a crop of a side lies (offset of its planes, rows, columns, first row, first column, cells a cell of it covers in rows and in
        columns, flipped or not), its things in its own cells, and where nothing is said."""
        h = self.heads[i]
        rows, cols = h["rows"], h["cols"]
        grow = float(np.exp(self.rng.uniform(-0.45, 0.45)))
        grow_k = grow * float(np.exp(self.rng.uniform(-0.2, 0.2)))
        high, wide = ROWS / grow, COLS / grow_k
        all_things = h["things"]
        if len(all_things) and self.rng.random() < 0.65:
            b = all_things[self.rng.integers(len(all_things))][1:5]
            r0 = (b[0] + b[1]) / 2 - self.rng.uniform(0.15, 0.85) * high
            k0 = (b[2] + b[3]) / 2 - self.rng.uniform(0.15, 0.85) * wide
        else:
            r0, k0 = self.rng.uniform(-20, max(1, rows - high + 20)), self.rng.uniform(-20, max(1, cols - wide + 20))
        r0, k0 = min(max(r0, -40), max(0, rows - 40)), min(max(k0, -20), max(0, cols - 40))
        flip = self.rng.random() < 0.5
        scale = np.array([grow, grow, grow_k, grow_k], np.float32)
        off = np.array([r0, r0, k0, k0], np.float32)

        def move(b):
            v = (b - off) * scale
            return np.stack([ROWS - v[:, 1], ROWS - v[:, 0], v[:, 2], v[:, 3]], 1) if flip else v

        things = all_things.copy()
        things[:, 1:5] = move(things[:, 1:5])
        things[:, 6:10] = move(things[:, 6:10])
        mid_r, mid_k = (things[:, 1] + things[:, 2]) / 2, (things[:, 3] + things[:, 4]) / 2
        things = things[(mid_r >= 0) & (mid_r < ROWS) & (mid_k >= 0) & (mid_k < COLS)][:MOST]
        ignore = move(h["ignore"])
        ignore = ignore[(ignore[:, 1] > 0) & (ignore[:, 0] < ROWS) & (ignore[:, 3] > 0) & (ignore[:, 2] < COLS)][:8]
        out_things, out_ignore = np.zeros((MOST, 11), np.float32), np.zeros((8, 4), np.float32)
        out_things[: len(things)], out_ignore[: len(ignore)] = things, ignore
        return (self.offsets[i], rows, cols, r0, k0, 1 / grow, 1 / grow_k, flip), out_things, out_ignore, 1.0 if h["whole"] else 0.15

    def planes(self, where):
        """The planes of crops, n x PLANES x ROWS x COLS, read between cells."""
        n = len(where)
        at = torch.tensor([w[0] for w in where], device=self.device).view(n, 1, 1)
        rows, cols, r0, k0, dr, dk, flip = (torch.tensor([float(w[j]) for w in where], device=self.device).view(n, 1, 1) for j in range(1, 8))
        y = torch.arange(ROWS, device=self.device).view(1, -1, 1) + 0.5
        x = torch.arange(COLS, device=self.device).view(1, 1, -1) + 0.5
        y = torch.where(flip > 0, ROWS - y, y)
        y, x = r0 + y * dr - 0.5, k0 + x * dk - 0.5
        inside = (y > -0.5) & (y < rows - 0.5) & (x > -0.5) & (x < cols - 0.5)
        y, x = torch.minimum(y.clamp(min=0), rows - 1.001), torch.minimum(x.clamp(min=0), cols - 1.001)
        yi, xi = y.floor(), x.floor()
        fy, fx = (y - yi).unsqueeze(1), (x - xi).unsqueeze(1)
        size, wide = (rows * cols).long(), cols.long()
        first = at + yi.long() * wide + xi.long()
        first = first.unsqueeze(1) + torch.arange(PLANES, device=self.device).view(1, -1, 1, 1) * size.unsqueeze(1)
        wide = wide.unsqueeze(1)
        a, b = self.flat[first].float(), self.flat[first + 1].float()
        c, d = self.flat[first + wide].float(), self.flat[first + wide + 1].float()
        out = (a * (1 - fx) + b * fx) * (1 - fy) + (c * (1 - fx) + d * fx) * fy
        plain = torch.tensor([85.0, 0, 0, 0][:PLANES], device=self.device).view(1, -1, 1, 1)
        return torch.where(inside.unsqueeze(1), out, plain)

    def batch(self, n, real):
        out = []
        for j in range(n):
            of_real = j < real
            pool = self.full[of_real] if self.rng.random() < 0.7 else (self.real if of_real else self.drawn)
            out.append(self.crop(pool[self.rng.integers(len(pool))]))
        x = self.planes([o[0] for o in out]) / 255
        things = torch.from_numpy(np.stack([o[1] for o in out])).to(self.device)
        ignore = torch.from_numpy(np.stack([o[2] for o in out])).to(self.device)
        whole = torch.tensor([o[3] for o in out], device=self.device)
        return x, things, ignore, whole


def spoil(x, gen):
    """Other gains, softness and grain over the strength, so that no one display is learned."""
    n = len(x)

    def some(p):
        return (torch.rand(n, 1, 1, 1, generator=gen, device=x.device) < p).float()

    def normal(*shape):
        return torch.randn(*shape, generator=gen, device=x.device)

    s, region, steep, echo = x.split(1, 1)
    steep = steep * (1 - some(0.2))  # displays that don't show the nadir
    echo = echo.clamp(min=1e-3) ** torch.exp(0.35 * normal(n, 1, 1, 1)) * torch.exp(0.25 * normal(n, 1, 1, 1) * some(0.5))
    plain = 85 / 255
    s = (s / plain).clamp(min=1e-3) ** torch.exp(0.2 * normal(n, 1, 1, 1) * some(0.5)) * plain
    k = torch.tensor([0.25, 0.5, 0.25], device=x.device)
    soft = F.conv2d(F.conv2d(s, k.view(1, 1, 1, 3), padding=(0, 1)), k.view(1, 1, 3, 1), padding=(1, 0))
    pick = some(0.2)
    s = s * (1 - pick) + soft * pick
    dim = F.conv2d(F.conv2d(echo, k.view(1, 1, 1, 3), padding=(0, 1)), k.view(1, 1, 3, 1), padding=(1, 0))
    echo = echo * (1 - pick) + dim * pick
    s = s + normal(*s.shape) * 0.03 * some(0.3)
    field = F.interpolate(normal(n, 1, 5, 7), s.shape[2:], mode="bilinear", align_corners=False)
    s = s * torch.exp(0.08 * field * some(0.4))
    return torch.cat([s.clamp(0, 1), region, steep, echo.clamp(0, 1)], 1)


def targets(things, ignore, whole):
    """Heat (n x classes x rows x cols), boxes and their weights, and where absence counts, at half the crop's size."""
    n, rows, cols = len(things), ROWS // 2, COLS // 2
    device = things.device
    y = (torch.arange(rows, device=device) * 2 + 1.0).view(1, 1, rows, 1)
    x = (torch.arange(cols, device=device) * 2 + 1.0).view(1, 1, 1, cols)
    r0, r1, k0, k1 = (things[:, :, i].view(n, -1, 1, 1) for i in (1, 2, 3, 4))
    sr, sk = ((r1 - r0) * 0.12).clamp(1.6, 10), ((k1 - k0) * 0.12).clamp(1.6, 10)
    # the cell whose middle is nearest to the thing's is its own
    cr = (((r0 + r1) / 2 - 1) / 2).round().clamp(0, rows - 1) * 2 + 1
    ck = (((k0 + k1) / 2 - 1) / 2).round().clamp(0, cols - 1) * 2 + 1
    g = torch.exp(-((y - cr) ** 2) / (2 * sr**2) - ((x - ck) ** 2) / (2 * sk**2))
    cls = things[:, :, 0].view(n, -1, 1, 1)
    g = g * (cls > 0)
    heat = torch.stack([(g * (cls == c + 1)).amax(1) for c in range(CLASSES)], 1)
    best, which = g.max(1)
    weight = (best > 0.5).float() * best

    def pick(i):
        return torch.gather(things[:, :, i], 1, which.flatten(1)).view(n, rows, cols)

    yy, xx = y.view(1, rows, 1), x.view(1, 1, cols)
    box = torch.stack([slog(pick(1) - yy), slog(pick(2) - yy), slog(pick(3) - xx), slog(pick(4) - xx)], 1)
    shade = pick(5)
    shadow = torch.stack([slog(pick(6) - yy), slog(pick(7) - yy), slog(pick(8) - xx), slog(pick(9) - xx)], 1)
    absent = whole.view(n, 1, 1).expand(n, rows, cols).clone()
    b = ignore.view(n, -1, 4, 1, 1)
    inside = ((y > b[:, :, 0] - 2) & (y < b[:, :, 1] + 2) & (x > b[:, :, 2] - 2) & (x < b[:, :, 3] + 2)).any(1)
    absent[inside] = 0
    return heat, box, shade, shadow, weight, absent


def losses(out, heat, box, shade, shadow, weight, absent):
    p = torch.sigmoid(out[:, :CLASSES]).clamp(1e-4, 1 - 1e-4)
    pos = (heat > 0.999).float()
    count = pos.sum().clamp(min=1)
    hit = -(torch.log(p) * (1 - p) ** 2 * pos).sum() / count
    miss = -(torch.log(1 - p) * p**2 * (1 - heat) ** 4 * (1 - pos) * absent.unsqueeze(1)).sum() / count
    w = weight.unsqueeze(1)
    total = w.sum().clamp(min=1)
    near = (F.smooth_l1_loss(out[:, BOX : BOX + 4], box, reduction="none", beta=0.1) * w).sum() / total
    dark = (F.binary_cross_entropy_with_logits(out[:, SHADE], shade, reduction="none") * weight).sum() / total
    ws = w * shade.unsqueeze(1)
    far = (F.smooth_l1_loss(out[:, SHADOW : SHADOW + 4], shadow, reduction="none", beta=0.1) * ws).sum() / ws.sum().clamp(min=1)
    return hit + miss, near, dark, far


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--views", required=True)
    p.add_argument("--steps", type=int, default=10000)
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--real", type=float, default=0.45, help="part of a batch that is cut out of real bottoms")
    p.add_argument("--rate", type=float, default=2e-3)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--out", required=True)
    args = p.parse_args()
    torch.manual_seed(args.seed)
    device = torch.device("cuda")
    start, log = time.time(), []

    def say(text):
        print(f"{time.time() - start:6.0f} s  {text}", flush=True)
        log.append(text)

    sides = Sides(args.views, device, args.seed)
    say(f"{len(sides.real)} real sides, {len(sides.drawn)} rendered, {sum(len(h['marks']) for h in sides.heads)} things")
    model = Finder().to(device).to(memory_format=torch.channels_last)
    model.train()
    gen = torch.Generator(device=device)
    gen.manual_seed(args.seed)
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-3)
    plan = torch.optim.lr_scheduler.OneCycleLR(opt, args.rate, args.steps, pct_start=0.1)
    average = None
    for step in range(args.steps):
        with torch.no_grad():
            x, things, ignore, whole = sides.batch(args.batch, int(args.batch * args.real))
            x = spoil(x, gen)
            t = targets(things, ignore, whole)
        with torch.autocast("cuda", torch.bfloat16):
            out = model(x.to(memory_format=torch.channels_last))
        a, b, c, d = losses(out.float(), *t)
        loss = a + b + 0.3 * c + 0.7 * d
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        opt.step()
        plan.step()
        now = torch.stack([a, b, c, d]).detach()
        average = now if average is None else average * 0.99 + now * 0.01
        if (step + 1) % 500 == 0:
            say(f"step {step + 1}: heat {average[0]:.3f}, highlight {average[1]:.3f}, shadow seen {average[2]:.3f}, shadow {average[3]:.3f}")
    os.makedirs(args.out, exist_ok=True)
    torch.save(model.state_dict(), os.path.join(args.out, "finder.pt"))
    path = os.path.join(args.out, "finder.onnx")
    export(model, path)
    with open(path, "rb") as f:
        say("finder.onnx sha256 " + hashlib.sha256(f.read()).hexdigest())
    with open(os.path.join(args.out, "finder.log"), "w") as f:
        f.write("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
