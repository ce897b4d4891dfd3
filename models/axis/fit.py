#!/usr/bin/env python3
"""Fits axis and writes axis.onnx: minutes on two cores. Needs PyTorch; nothing of it is needed to build or run shadowgap.

    go run ./cmd/refit -scenes 1500 -others 200 -first 1 -paths paths.jsonl
    fit.py --paths paths.jsonl --steps 4000 --out DIR
    fit.py ... --hold 'pulse-*' 'real-*'    # says how far it is off in groups it never saw
"""

import argparse
import fnmatch
import hashlib
import json
import os
import time

import numpy as np
import torch

from axis_net import COLS, HALVES, PLANES, REACH, Axis, export

LEAST, LOW, HIGH, MOST = 0.02, 0.03, 0.97, 2.0  # as models/axis/axis.go has them
STRENGTH, SPREAD, DRAWN, INSIDE = range(PLANES)
WIDE = 0.7  # standard deviation of where the sides are said to meet, columns
CLEAR = 20  # columns of its panel that a path has on either side
REAL = 0.12  # of a batch, from real pictures: there are few, and they are what counts


def seen(planes):
    """The planes of a window as the network sees them."""
    out = planes.copy()
    echo = (planes[INSIDE] > 0) & (planes[DRAWN] < 1)
    told = np.sort(planes[STRENGTH][echo])
    middle, span = 0.0, 1.0
    if len(told):
        at = [told[int(p * (len(told) - 1))] for p in (LOW, 0.5, HIGH)]
        middle, span = at[1], max(LEAST, at[2] - at[0])
    out[STRENGTH] = np.where(echo, np.clip((planes[STRENGTH] - middle) / span, -MOST, MOST), 0)
    out[SPREAD] = np.where(echo, np.minimum(planes[SPREAD] / span, 1), 0)
    return out


def moved(x, at):
    """Planes read between their columns; what is drawn over has no strength that could count for what is beside it."""
    columns = np.arange(len(x[0]))
    inside = np.interp(at, columns, x[INSIDE], 0, 0)
    drawn = np.interp(at, columns, x[DRAWN])
    echo = (x[INSIDE] > 0) * (1 - x[DRAWN])
    weight = np.interp(at, columns, echo)
    told = [np.interp(at, columns, x[k] * echo) / np.maximum(weight, 1e-6) * (weight > 1e-3) for k in (STRENGTH, SPREAD)]
    return np.stack([told[0], told[1], np.where(weight > 1e-3, drawn, 1), inside])


class Displays:
    """Paths as other displays would show them: what is drawn there, and how strong each side is, differs more than in any world."""

    def __init__(self, seed):
        self.rng = np.random.default_rng(seed)

    def one(self, planes, off, cell):
        rng = self.rng
        x = planes.copy()
        mid = len(x[0]) // 2
        u = np.arange(len(x[0])) - mid - off  # columns from the nadir
        if rng.random() < 0.6:
            self.gain(x, u)
        dice = rng.random()
        if dice < 0.35:
            self.line(x, u, np.abs(u), rng.choice([0.5, 1, 1.5, 2, 2.5, 3.5]))
        elif dice < 0.5:
            self.blank(x, np.abs(u))
        elif dice < 0.62:
            self.line(x, u, np.abs(np.abs(u) - np.exp(rng.uniform(np.log(2), np.log(14)))), rng.choice([0.5, 1, 1.5]))
        if rng.random() < 0.5:
            x, off = x[:, ::-1], -off
        if rng.random() < 0.3:
            x = x.copy()
            x[STRENGTH] = np.where(x[DRAWN] < 1, 1 - x[STRENGTH], 0)
        by = np.exp(rng.normal(0, 0.25))  # columns of what is shown in one of what is taken
        shift = np.clip(rng.normal(0, 1.2 * cell), -32, 32)
        at = mid + shift + (np.arange(COLS) - REACH) * by
        return seen(moved(x, at)), (off - shift) / by

    def gain(self, x, u):
        """Each side's own gain, of all of it or of its pulse alone."""
        rng = self.rng
        port, starboard = np.exp(rng.normal(0, 0.5, 2))
        side = 1 / (1 + np.exp(np.clip(-u / 0.35, -60, 60)))
        pulse = np.exp(-np.abs(u) / rng.choice([8, 16, 30, 200]))
        by = (port * (1 - side) + starboard * side - 1) * pulse + 1
        x[STRENGTH] = np.clip(x[STRENGTH] * by, 0, 1)
        x[SPREAD] *= by

    def line(self, x, u, from_it, half):
        """A line that the display draws, or two, in a colour of the palette or in another."""
        rng = self.rng
        covers = np.clip(half + 0.5 - from_it, 0, 1) * rng.choice([1, 1, 0.7, 0.4])
        if rng.random() < 0.4:
            x[DRAWN] = np.maximum(x[DRAWN], covers * rng.uniform(0.5, 1))
            return
        value = rng.choice([x[STRENGTH].max(), 0, rng.uniform(0, 1)])
        x[STRENGTH] = x[STRENGTH] * (1 - covers) + value * covers
        x[SPREAD] *= 1 - covers

    def blank(self, x, from_it):
        """What a display leaves dark around the nadir."""
        covers = np.clip(np.exp(self.rng.uniform(np.log(2), np.log(12))) + 0.5 - from_it, 0, 1)
        x[STRENGTH] = x[STRENGTH] * (1 - covers)
        x[SPREAD] *= 1 - covers


def clear(planes):
    """Whether a path lies far enough in its panel: detect/nadir.go asks nothing of one near a panel's end."""
    mid = len(planes[0]) // 2
    return planes[INSIDE][mid - CLEAR : mid + CLEAR + 1].min() > 0.99


def places():
    return torch.arange(COLS).float()[None] - REACH + torch.arange(HALVES)[:, None] / HALVES


def wanted(offs):
    g = torch.exp(-(((places()[None] - offs[:, None, None]) / WIDE) ** 2) / 2)
    return g / g.sum((1, 2), keepdim=True)


def settled(logits, cell, near=2.0):
    """Where the network says the sides meet, and that place's part of the odds, as models/axis/axis.go and detect/nadir.go read it."""
    at = places().flatten()
    p = torch.softmax(logits.flatten(1) - (at / max(4, 1.6 * cell)) ** 2 / 2, 1)
    best = at[p.argmax(1)]
    here = p * ((at[None] - best[:, None]).abs() < near)
    return (here * at).sum(1) / here.sum(1), here.sum(1)


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--paths", nargs="+", required=True)
    p.add_argument("--hold", nargs="*", default=[], help="groups to keep out of the fit and to be judged by")
    p.add_argument("--steps", type=int, default=4000)
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--rate", type=float, default=4e-3)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--out", required=True)
    args = p.parse_args()
    torch.manual_seed(args.seed)
    start, log = time.time(), []

    def say(text):
        print(f"{time.time() - start:6.0f} s  {text}", flush=True)
        log.append(text)

    fitted, held = [], []
    for name in args.paths:
        with open(name) as f:
            for line in f:
                d = json.loads(line)
                b = d["beside"]
                planes = np.stack([np.array(b[k], np.float32) for k in ("strength", "spread", "drawn", "inside")])
                out = any(fnmatch.fnmatch(d["group"], h) for h in args.hold)
                if clear(planes):
                    (held if out else fitted).append((d["group"], planes, d["off"], d["cell"]))
    if not fitted:
        p.error("no paths to fit on")
    fitted.sort(key=lambda v: (v[0], v[2], v[3]))  # they come from several cores in no order
    real = [v for v in fitted if v[0].startswith("real-")]
    say(f"{len(fitted)} paths, {len(real)} of them real, {len(held)} held out")
    model, shown = Axis(), Displays(args.seed)
    say(f"{sum(q.numel() for q in model.parameters())} parameters")
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-2)
    pace = torch.optim.lr_scheduler.OneCycleLR(opt, args.rate, total_steps=args.steps)
    average = None
    for step in range(args.steps):
        batch = []
        while len(batch) < args.batch:
            pool = real if real and shown.rng.random() < REAL else fitted
            _, planes, off, cell = pool[shown.rng.integers(len(pool))]
            x, at = shown.one(planes, off, cell)
            if abs(at) < REACH - 1:
                batch.append((x, at))
        x = torch.tensor(np.stack([b[0] for b in batch]), dtype=torch.float32)[:, :, None]
        want = wanted(torch.tensor([b[1] for b in batch], dtype=torch.float32))
        out = model(x)[:, :, 0]
        loss = -(want * torch.log_softmax(out.flatten(1), 1).view_as(out)).sum((1, 2)).mean()
        opt.zero_grad()
        loss.backward()
        opt.step()
        pace.step()
        average = loss.item() if average is None else average * 0.99 + loss.item() * 0.01
        if step % 500 == 499:
            say(f"step {step + 1}: loss {average:.3f}")
    model.eval()
    for name, which in (("seen", fitted), ("held out", held)):
        kinds = {}
        for group, planes, off, cell in which:
            x = seen(planes[:, len(planes[0]) // 2 - REACH :][:, :COLS])
            with torch.no_grad():
                at, _ = settled(model(torch.tensor(x, dtype=torch.float32)[None, :, None])[:, :, 0], cell)
            kinds.setdefault(group.split("-")[0], []).append((abs(off), abs(off - at.item())))
        for kind, v in sorted(kinds.items()):
            v = np.array(v)
            say(f"{name}, {kind}: {len(v)}; off by {np.median(v[:, 0]):.2f} before, {np.median(v[:, 1]):.2f} now, of nine in ten by up to "
                f"{np.percentile(v[:, 0], 90):.2f} and {np.percentile(v[:, 1], 90):.2f}, by more than 3 {np.mean(v[:, 0] > 3):.3f} and {np.mean(v[:, 1] > 3):.3f}")
    os.makedirs(args.out, exist_ok=True)
    path = os.path.join(args.out, "axis.onnx")
    export(model, path)
    with open(path, "rb") as f:
        say(f"axis.onnx sha256 {hashlib.sha256(f.read()).hexdigest()}")
    with open(os.path.join(args.out, "axis.log"), "w") as f:
        f.write("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
