"""Fits the reader and writes reader.onnx. Needs PyTorch and a GPU; nothing of it is needed to build or run shadowgap.

    fit.py --scenes DIR... --other DIR --open DIR --labels FILE --halves FILE --steps N --out DIR

DIR of scenes holds captures and labels.json as "shadowgap scene" writes them. Of the open pictures only half A is read.
"""

import argparse
import fnmatch
import json
import os
import random
import time

import numpy as np
import torch
import torch.nn.functional as F

import data
from net import INVERTED, SONAR, Reader, export, go_on
from pace import Pace
from steady import Steady
from world import Augment


def half_a(halves):
    with open(halves) as f:
        patterns = json.load(f)["a"]
    return lambda label: any(fnmatch.fnmatch(label["capture"], p) for p in patterns)


def losses(out, y, sonar, inverted):
    known = (y != data.UNKNOWN).float()
    ce = F.cross_entropy(out[:, :6].float(), y.clamp(max=5), reduction="none")
    # cells beside a change of class decide where an edge is drawn
    pad = F.pad(y.float().unsqueeze(1), (2, 2, 2, 2), mode="replicate")
    edge = (F.max_pool2d(pad, 5, 1) != -F.max_pool2d(-pad, 5, 1)).squeeze(1).float()
    ce = (ce * known * (1 + 2 * edge)).sum((1, 2)) / (known * (1 + 2 * edge)).sum((1, 2)).clamp(min=1)
    inside = ((y >= 1) & (y != data.UNKNOWN)).float()
    flag = F.binary_cross_entropy_with_logits(out[:, INVERTED].float(), inverted.float().view(-1, 1, 1).expand_as(y), reduction="none")
    flag = (flag * inside).sum((1, 2)) / inside.sum((1, 2)).clamp(min=1)
    whole = F.binary_cross_entropy_with_logits(out[:, SONAR].float().mean((1, 2)), sonar.float())
    return ce.mean(), flag.mean(), whole


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--scenes", nargs="+", required=True)
    p.add_argument("--other", required=True)
    p.add_argument("--open")
    p.add_argument("--labels")
    p.add_argument("--halves")
    p.add_argument("--steps", type=int, default=9000)
    p.add_argument("--minutes", type=float, help="how long to go on, instead of steps: they are as many as that allows")
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--rate", type=float, default=3e-3)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--widths", type=int, nargs=5, default=Reader.WIDTHS, help="channels at each scale")
    p.add_argument("--depths", type=int, nargs=5, default=Reader.DEPTHS, help="further layers at each scale")
    p.add_argument("--earlier", help="reader.pt of an earlier fit to go on from, or reader.onnx")
    p.add_argument("--part", type=int, default=0, help="which network of an earlier .onnx, of those whose mean it is")
    p.add_argument("--only-decode", action="store_true", help="stop when the rendered captures are arrays")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    random.seed(args.seed)
    np.random.seed(args.seed)
    torch.manual_seed(args.seed)
    device = torch.device("cuda")
    start = time.time()
    log = []

    def say(text):
        print(f"{time.time() - start:6.0f} s  {text}", flush=True)
        log.append(text)

    sets = []
    for folder in args.scenes:
        kept = os.path.join(folder, "arrays.npz")  # a second run need not decode again
        if not os.path.exists(kept):
            x, y = data.labelled(folder, os.path.join(folder, "labels.json"))
            np.savez(kept, x=x, y=y)
        if args.only_decode:
            continue
        with np.load(kept) as f:
            sets.append((f["x"], f["y"]))
        say(f"{len(sets[-1][0])} rendered captures")
    if args.only_decode:
        return
    x, y = np.concatenate([s[0] for s in sets]), np.concatenate([s[1] for s in sets])
    rendered = len(x)
    real = 0
    if args.labels:
        rx, ry = data.labelled(args.open, args.labels, half_a(args.halves))
        tx, ty = data.tiles(os.path.join(args.open, "river-effigy", "images"))
        rx, ry = np.concatenate([rx, tx]), np.concatenate([ry, ty])
        real = len(rx)
        x, y = np.concatenate([x, rx]), np.concatenate([y, ry])
    o = data.others(args.other)
    say(f"{real} real captures of half A, {len(o)} pictures that are no sonar")
    x = torch.from_numpy(np.concatenate([x, o])).permute(0, 3, 1, 2)
    y = torch.from_numpy(np.concatenate([y, np.zeros((len(o), *y.shape[1:]), np.uint8)]))
    sonar = torch.arange(len(x)) < rendered + real
    gpu = x.nelement() < 60e9
    x = x.to(device) if gpu else x
    y, sonar = y.to(device), sonar.to(device)

    model = Reader(args.widths, args.depths)
    model = model.to(device).to(memory_format=torch.channels_last)
    model.train()
    say(f"{sum(q.numel() for q in model.parameters())} parameters")
    aug = Augment(device, args.seed)
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-3)
    pace = Pace(opt, args.rate, args.steps, args.minutes)
    rng = np.random.default_rng(args.seed)

    @torch.no_grad()
    def batch(size):
        """Which captures, as the network sees them, their maps, and which of them are shown as their own negatives."""
        of_other, of_real = int(size * 0.32), int(size * 0.15) if real else 0
        idx = np.concatenate([
            rng.integers(0, rendered, size - of_other - of_real),
            rng.integers(rendered, rendered + real, of_real) if of_real else np.zeros(0, int),
            rng.integers(rendered + real, len(x), of_other),
        ])
        backs = rng.integers(rendered + real, len(x), size)
        i, b = torch.from_numpy(idx).to(device), torch.from_numpy(backs).to(device)
        gentle = (i >= rendered) & (i < rendered + real)
        return i, *aug.batch(x[i], y[i], sonar[i], gentle, x[b])

    if args.earlier:
        go_on(model, args.earlier, args.part, lambda: batch(2 * args.batch)[1])
    steady = Steady(model)
    average, step = None, 0
    while pace.on(step):
        i, xb, yb, inverted = batch(args.batch)
        seen = ((yb >= 2) & (yb != data.UNKNOWN)).float().mean((1, 2)) > 0.03
        with torch.autocast("cuda", torch.bfloat16):
            out = model(xb.to(memory_format=torch.channels_last))
        # a frame that shows next to nothing of the panel says nothing about the whole picture
        whole_known = seen | ~sonar[i]
        a, bb, c = losses(out, yb, sonar[i], inverted)
        if not whole_known.all():
            c = F.binary_cross_entropy_with_logits(out[whole_known][:, SONAR].float().mean((1, 2)), sonar[i][whole_known].float())
        loss = a + 0.2 * bb + 0.5 * c
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 1.0)
        opt.step()
        steady.follow(step)
        now = torch.stack([a, bb, c]).detach()
        average = now if average is None else average * 0.99 + now * 0.01
        step += 1
        if step % 500 == 0:
            say(f"step {step}: map {average[0]:.4f}, inverted {average[1]:.4f}, sonar {average[2]:.4f}")
    if args.minutes:
        say(f"{step} steps in {args.minutes:g} minutes")
    say(steady.ship(args.out, "reader", export))
    with open(os.path.join(args.out, "reader.log"), "w") as f:
        f.write("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
