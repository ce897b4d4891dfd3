"""Fits outward and writes outward.onnx. Needs PyTorch, and a GPU to be done in minutes; nothing of it is needed to build or run shadowgap.

    go run ./cmd/refit -scenes 0 -setin M -views real.bin
    fit.py --views real.bin --stream FOLDER --minutes N --out DIR    # scenes come while it goes on (models/finder/stream.sh)
    fit.py ... --hold 'real-3_*' 'tile-left_20240430*'    # says how often it is right on groups it never saw
"""

import argparse
import os
import sys
import time

import numpy as np
import torch
import torch.nn.functional as F

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "finder"))
from outward_net import Outward, export  # noqa: E402
from sides import EVERY, SOURCES, Sides, Stream, folder, spoil  # noqa: E402
from steady import Steady  # noqa: E402

SHAPES = ((128, 192), (192, 256), (256, 256), (256, 384), (352, 160), (128, 416))  # of crops, cells
BOTTOM = 200  # of a cell's second plane, from which all of it is bottom
PLAIN = 85 / 255
BARE = (0, 3)  # planes that outward sees


class Bare(Sides):
    """Crops of sides that show bottom alone."""

    def told(self, path):
        heads, data, offsets = super().told(path)
        for h, at in zip(heads, offsets):
            size = h["rows"] * h["cols"]
            bottom = np.array(data[at + size : at + 2 * size]).reshape(h["rows"], h["cols"]) >= BOTTOM
            some = bottom.any(1)
            h["edge"] = np.where(some, bottom.argmax(1), h["cols"])
            h["high"] = int(np.flatnonzero(some)[-1]) + 1 if some.any() else 0
            h["far"] = h["cols"] - int(bottom[:, ::-1].argmax(1)[some].min()) if some.any() else 0
        return heads, data, offsets

    def bare(self, h, rows, cols):
        """Where a crop of a side lies that shows bottom alone, as Sides.planes takes it; None where there is none."""
        for _ in range(8):
            grow = float(np.exp(self.rng.uniform(-0.6, 0.6)))
            grow_k = grow * float(np.exp(self.rng.uniform(-0.35, 0.35)))
            high, wide = rows / grow, cols / grow_k
            if high > h["high"] or wide > h["far"]:
                continue
            things = h["things"]
            if len(things) and self.rng.random() < 0.7:
                b = things[self.rng.integers(len(things))][1:5]
                r0 = (b[0] + b[1]) / 2 - self.rng.uniform(0.05, 0.95) * high
                k0 = (b[2] + b[3]) / 2 - self.rng.uniform(0.05, 0.95) * wide
            else:
                r0, k0 = self.rng.uniform(0, h["high"] - high), self.rng.uniform(0, h["far"] - wide)
            r0 = min(max(r0, 0), h["high"] - high)
            edge = h["edge"][int(r0) : int(np.ceil(r0 + high))].max()
            if h["far"] - edge < wide:
                continue
            k0 = min(max(k0, edge), h["far"] - wide)
            return h["first"], h["rows"], h["cols"], r0, k0, 1 / grow, 1 / grow_k, self.rng.random() < 0.5
        return None

    def crops(self, n):
        """A batch of n crops of one shape, n x 4 x rows x cols."""
        rows, cols = SHAPES[self.rng.integers(len(SHAPES))]
        sources, shares = self.drawn()
        out = []
        while len(out) < n:
            s = sources[self.rng.choice(len(sources), p=shares)]
            pool = self.full[s] if self.rng.random() < 0.8 and self.full[s] else self.of[s]
            where = self.bare(pool[self.rng.integers(len(pool))], rows, cols)
            if where:
                out.append(where)
        return self.planes(out, rows, cols) / 255


def pad(x, gen):
    """Plain strips along some of the edges, since a side is filled up to whole steps of the network at either end of it."""
    n, _, rows, cols = x.shape
    at = torch.arange(cols, device=x.device).view(1, 1, 1, -1)
    down = torch.arange(rows, device=x.device).view(1, 1, -1, 1)

    def width(p):
        some = (torch.rand(n, 1, 1, 1, generator=gen, device=x.device) < p).float()
        return (torch.rand(n, 1, 1, 1, generator=gen, device=x.device) * 32 * some).round()

    out = (at < width(0.3)) | (at >= cols - width(0.3)) | (down >= rows - width(0.4))
    plain = torch.tensor([PLAIN, 0, 0, 0], device=x.device).view(1, -1, 1, 1)
    return torch.where(out, plain, x)


def right(model, sides, which, tries=4):
    """By kind of picture: how many crops of sides, how many of them are read rightly, and the mean loss."""
    tally = {}
    for h in which:
        kind = h["source"] if h["source"] != "labelled" else h["group"][:6]
        for _ in range(tries):
            where = sides.bare(h, 160, 192)
            if where is None:
                continue
            x = (sides.planes([where], 160, 192) / 255)[:, BARE]
            with torch.no_grad():
                odds = float(model(x))
            n, good, loss = tally.get(kind, (0, 0, 0.0))
            tally[kind] = n + 1, good + (odds > 0), loss + float(np.logaddexp(0, -odds))
    return {k: (n, good / n, loss / n) for k, (n, good, loss) in sorted(tally.items())}


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--views", required=True)
    p.add_argument("--stream", type=folder, required=True, help="folder that more files of views come to")
    p.add_argument("--room", type=float, default=4e9, help="cells of those that the GPU is to hold; four bytes each")
    p.add_argument("--hold", nargs="*", default=[], help="groups to keep out of the fit and to be judged by")
    p.add_argument("--minutes", type=float, default=5)
    p.add_argument("--batch", type=int, default=96)
    p.add_argument("--rate", type=float, default=3e-3)
    p.add_argument("--shares", type=float, nargs=len(SOURCES), default=(0.27, 0.20, 0.10, 0.05, 0.38), help="of a batch, by source: " + ", ".join(SOURCES))
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--earlier", help="outward.pt of an earlier fit to go on from")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    torch.manual_seed(args.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    start, log = time.time(), []

    def say(text):
        print(f"{time.time() - start:6.0f} s  {text}", flush=True)
        log.append(text)

    sides = Bare(args.views, device, args.seed, args.shares, args.hold, int(args.room))
    stream = Stream(args.stream)
    while not stream.take(sides):
        time.sleep(1)
    say(", ".join(f"{len(sides.of[s])} sides {s}" for s in SOURCES) + f", {len(sides.held)} held out")
    model = Outward()
    if args.earlier:
        model.load_state_dict(torch.load(args.earlier, map_location="cpu"))
    model = model.to(device).to(memory_format=torch.channels_last)
    model.train()
    say(f"{sum(q.numel() for q in model.parameters())} parameters")
    gen = torch.Generator(device=device)
    gen.manual_seed(args.seed)
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-2)
    steady = Steady(model)
    average, begun, step = None, time.time(), 0
    while (done := (time.time() - begun) / 60 / args.minutes) < 1:
        for group in opt.param_groups:
            group["lr"] = args.rate * min(1, (step + 1) / 300) * (1 + np.cos(np.pi * done)) / 2
        if step % EVERY == EVERY - 1:
            stream.take(sides)
        with torch.no_grad():
            x = pad(spoil(sides.crops(args.batch), gen), gen)[:, BARE]
        with torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda"):
            odds = model(x.contiguous(memory_format=torch.channels_last))
        loss = F.softplus(-odds.float()).mean()
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        opt.step()
        steady.follow(step)
        now = torch.stack([loss, (odds > 0).float().mean()]).detach()
        average = now if average is None else average * 0.99 + now * 0.01
        step += 1
        if step % 500 == 0:
            say(f"step {step}: loss {average[0]:.3f}, right {average[1]:.3f}")
    say(f"{step} steps in {args.minutes:g} minutes, {stream.sides} sides of {len(stream.taken)} files that came")
    say(steady.ship(args.out, "outward", export))
    spread = [h for k, h in enumerate(sides.held) if h["source"] != "set-in" or k % 16 == 0]
    for name, which in (("seen", [h for s in SOURCES for h in sides.full[s][:40]]), ("held out", spread)):
        for kind, (n, good, loss) in right(steady.model, sides, which).items():
            say(f"{name}, {kind}: {n} crops, right {good:.3f}, loss {loss:.3f}")
    with open(os.path.join(args.out, "outward.log"), "w") as f:
        f.write("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
