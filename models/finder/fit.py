"""Fits the finder and writes finder.onnx. Needs PyTorch and a GPU; nothing of it is needed to build or run shadowgap.

    go run ./cmd/refit -scenes N -setin M -views views.bin
    torchrun --nproc-per-node GPUS fit.py --views views.bin --steps N --out DIR    # with as many files of views as GPUs, each sees its own
    fit.py --views views.bin --hold 'real-6_*' 'wide-369??' --steps N --out DIR    # says how well it does on groups it never saw
    fit.py --views real.bin --stream FOLDER --minutes N --out DIR    # scenes come while it goes on (stream.sh): none is seen often enough to be known by heart
    fit.py ... --earlier finder.onnx --part 1 ...    # goes on from the second of the two networks that are shipped as one
"""

import argparse
import os
import time

import numpy as np
import torch
import torch.distributed as dist
import torch.nn.functional as F

from finder_net import BOX, CLASSES, SHADE, SHADOW, Finder, export
from net import go_on  # found once finder_net has told where
from pace import Pace
from sides import COLS, EVERY, ROWS, SOURCES, Sides, Stream, folder, slog, spoil, unslog
from steady import Steady


def agreed(number, device, world):
    """The first GPU's number, on all of them."""
    if world == 1:
        return number
    number = torch.tensor(number, device=device)
    dist.broadcast(number, 0)
    return number.item()


LEAST = 0.1  # heat from which a cell is a thing's


def targets(things, ignore, whole):
    """Heat (n x rows x cols) and the class it is of, how much each cell counts, boxes, shadows and how much those count, at half the crop's
    size. What a thing counts in all does not depend on its size: where the middle of a long wall is nobody can tell to a cell, so its heat
    is as wide as that, and thinner."""
    things = things[:, : max(1, int((things[:, :, 0] > 0).sum(1).max()))]
    n, rows, cols = len(things), ROWS // 2, COLS // 2
    device = things.device
    y = (torch.arange(rows, device=device) * 2 + 1.0).view(1, 1, rows, 1)
    x = (torch.arange(cols, device=device) * 2 + 1.0).view(1, 1, 1, cols)
    r0, r1, k0, k1 = (things[:, :, i].view(n, -1, 1, 1) for i in (1, 2, 3, 4))
    sr, sk = ((r1 - r0) * 0.14).clamp(min=1.6), ((k1 - k0) * 0.14).clamp(min=1.6)
    # the cell whose middle is nearest to the thing's is its own
    cr = (((r0 + r1) / 2 - 1) / 2).round().clamp(0, rows - 1) * 2 + 1
    ck = (((k0 + k1) / 2 - 1) / 2).round().clamp(0, cols - 1) * 2 + 1
    real = (things[:, :, 0] > 0).view(n, -1, 1, 1)
    g = torch.exp(-((y - cr) ** 2) / (2 * sr**2)) * (torch.exp(-((x - ck) ** 2) / (2 * sk**2)) * real)
    heat, which = g.max(1)

    def pick(values):
        return torch.gather(values, 1, which.flatten(1)).view(n, rows, cols)

    kind = pick(things[:, :, 0]).long()
    thin = pick((1.6**2 / (sr * sk)).view(n, -1))
    yy, xx = y.view(1, rows, 1), x.view(1, 1, cols)
    at = (yy, yy, xx, xx)
    box = torch.stack([slog(pick(things[:, :, 1 + i]) - at[i]) for i in range(4)], 1)
    shade = pick(things[:, :, 5])
    shadow = torch.stack([slog(pick(things[:, :, 6 + i]) - at[i]) for i in range(4)], 1)
    weight = (heat > 0.5).float() * heat * thin
    absent = whole.view(n, 1, 1).expand(n, rows, cols).clone()
    b = ignore.view(n, -1, 4, 1, 1)
    inside = ((y > b[:, :, 0] - 2) & (y < b[:, :, 1] + 2) & (x > b[:, :, 2] - 2) & (x < b[:, :, 3] + 2)).any(1)
    absent[inside] = 0
    counts = torch.where(heat >= LEAST, thin, absent)
    return heat, kind, counts, box, shade, shadow, weight


def losses(out, heat, kind, counts, box, shade, shadow, weight):
    # quality focal loss (Li and others 2020, Generalized Focal Loss): cross-entropy against the heat, times the squared distance from it
    want = torch.stack([heat * (kind == c + 1) for c in range(CLASSES)], 1)
    logit = out[:, :CLASSES]
    off = (torch.sigmoid(logit) - want) ** 2
    each = F.binary_cross_entropy_with_logits(logit, want, reduction="none") * off * counts.unsqueeze(1)
    found = each.sum() / (heat > 0.999).sum().clamp(min=1)
    w = weight.unsqueeze(1)
    total = w.sum().clamp(min=1)
    near = (F.smooth_l1_loss(out[:, BOX : BOX + 4], box, reduction="none", beta=0.1) * w).sum() / total
    dark = (F.binary_cross_entropy_with_logits(out[:, SHADE], shade, reduction="none") * weight).sum() / total
    ws = w * shade.unsqueeze(1)
    far = (F.smooth_l1_loss(out[:, SHADOW : SHADOW + 4], shadow, reduction="none", beta=0.1) * ws).sum() / ws.sum().clamp(min=1)
    return found, near, dark, far


def found(model, x, most=100):
    """Peaks of a side's heat, strongest first: their logits and highlights (row from, to, range from, to) in cells."""
    with torch.autocast(x.device.type, torch.bfloat16):
        out = model(x.to(memory_format=torch.channels_last))
    out = out.float()
    heat = out[:, :CLASSES].amax(1, keepdim=True)
    top = (heat == F.max_pool2d(heat, 3, 1, 1)).float() * torch.sigmoid(heat)
    odds, at = top.flatten().topk(min(most, top.numel()))
    cols = heat.shape[3]
    y, x = (at // cols * 2 + 1).float(), (at % cols * 2 + 1).float()
    d = unslog(out[0, BOX : BOX + 4].flatten(1)[:, at])
    boxes = torch.stack([y + d[0], y + d[1], x + d[2], x + d[3]], 1)
    keep = odds > 0.02
    return odds[keep].cpu().numpy(), boxes[keep].cpu().numpy()


def near(box, truth, px):
    """Whether a box lies where a person's boxes lie, as eval.DefaultGate has it; 4 pixels are px cells."""
    size = (truth[:, 1] - truth[:, 0]) * (truth[:, 3] - truth[:, 2])
    both = (np.minimum(box[1], truth[:, 1]) - np.maximum(box[0], truth[:, 0])).clip(0) * (
        np.minimum(box[3], truth[:, 3]) - np.maximum(box[2], truth[:, 2])
    ).clip(0)
    share = both / np.maximum(size + (box[1] - box[0]) * (box[3] - box[2]) - both, 1e-6)
    apart = np.hypot(truth[:, 0] + truth[:, 1] - box[0] - box[1], truth[:, 2] + truth[:, 3] - box[2] - box[3]) / 2
    reach = np.maximum(px, 0.5 * np.hypot(truth[:, 1] - truth[:, 0], truth[:, 3] - truth[:, 2]))
    return np.where((share >= 0.2) | (apart <= reach), 2 + share - apart / 1e4, 0)


def inside(box, others):
    """Which of the others hold half of a box's rows and half of its range."""
    rows = np.minimum(box[1], others[:, 1]) - np.maximum(box[0], others[:, 0])
    cols = np.minimum(box[3], others[:, 3]) - np.maximum(box[2], others[:, 2])
    return (rows > 0.5 * (box[1] - box[0])) & (cols > 0.5 * (box[3] - box[2]))


def judged(model, sides, which):
    """By source: how many sides and things, how many of these are found at a quarter, half and one false thing a side, and average precision."""
    tally = {}
    for h in which:
        with torch.no_grad():
            odds, boxes = found(model, sides.side(h))
        things = h["things"][h["things"][:, 10] > 0]
        kind = h["source"] if h["source"] != "labelled" else h["group"][:6]
        hits, n, captures = tally.setdefault(kind, ([], 0, 0))
        taken = np.zeros(len(things), bool)
        kept = np.zeros((0, 4))
        for p, b in zip(odds, boxes):
            if inside(b, kept).any():
                continue
            kept = np.vstack([kept, b])
            score = near(b, things[:, 1:5], 4 / h["scale"]) if len(things) else np.zeros(0)
            free = np.where(taken, 0, score)
            if len(free) and free.max() > 0:
                taken[free.argmax()] = True
                hits.append((p, 1))
            elif not (len(score) and score.max() > 0) and not (len(h["ignore"]) and near(b, h["ignore"], 4 / h["scale"]).max() > 0):
                hits.append((p, 0))
        tally[kind] = (hits, n + len(things), captures + 1)
    out = {}
    for kind, (hits, n, captures) in sorted(tally.items()):
        if not n:
            continue
        h = np.array([x[1] for x in sorted(hits, reverse=True)])
        right, wrong = np.cumsum(h), np.cumsum(1 - h)
        precision = right / np.maximum(1, right + wrong)
        best = np.maximum.accumulate(precision[::-1])[::-1]
        out[kind] = (captures, n, *(right[wrong <= f * captures].max(initial=0) / n for f in (0.25, 0.5, 1)), float((best * h).sum() / n))
    return out


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--views", nargs="+", required=True, help="files of views: one for all GPUs or one for each")
    p.add_argument("--stream", type=folder, help="folder that more files of views come to; the newest is taken in every now and then, in the place of the oldest")
    p.add_argument("--room", type=float, default=6e9, help="cells of those that a GPU is to hold; four bytes each")
    p.add_argument("--hold", nargs="*", default=[], help="groups to keep out of the fit and to be judged by")
    p.add_argument("--steps", type=int, default=10000)
    p.add_argument("--minutes", type=float, help="how long to go on, instead of steps: they are as many as that allows")
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--rate", type=float, default=2e-3)
    p.add_argument("--shares", type=float, nargs=len(SOURCES), default=(0.40, 0.22, 0.08, 0.04, 0.26), help="of a batch, by source: " + ", ".join(SOURCES))
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--earlier", help="finder.pt of an earlier fit to go on from, or finder.onnx")
    p.add_argument("--part", type=int, default=0, help="which network of an earlier .onnx, of those whose mean it is")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    rank, world = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    torch.manual_seed(args.seed)
    device = torch.device("cuda", int(os.environ.get("LOCAL_RANK", 0)))
    torch.cuda.set_device(device)
    if world > 1:
        dist.init_process_group("nccl")
    start, log = time.time(), []

    def say(text):
        if rank:
            return
        print(f"{time.time() - start:6.0f} s  {text}", flush=True)
        log.append(text)

    sides = Sides(args.views[rank % len(args.views)], device, args.seed + 1000 * rank, args.shares, args.hold, int(args.room) if args.stream else 0)
    stream = Stream(args.stream) if args.stream else None
    if stream:
        while not stream.take(sides):
            time.sleep(1)
    say(", ".join(f"{len(sides.of[s])} sides {s}" for s in SOURCES) + f", {len(sides.held)} held out; {sum(len(h['marks']) for h in sides.heads)} things")
    model = Finder()
    gen = torch.Generator(device=device)
    gen.manual_seed(args.seed + 1000 * rank)
    model = model.to(device).to(memory_format=torch.channels_last)
    model.train()
    if args.earlier:
        go_on(model, args.earlier, args.part, lambda: spoil(sides.batch(2 * args.batch)[0], gen))
    say(f"{sum(q.numel() for q in model.parameters())} parameters")
    ahead = torch.nn.parallel.DistributedDataParallel(model, device_ids=[device.index], broadcast_buffers=False) if world > 1 else model
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-2)
    steady = Steady(model)
    pace = Pace(opt, args.rate, args.steps, args.minutes, lambda part: agreed(part, device, world))
    average, step = None, 0
    while pace.on(step):
        if stream and step % EVERY == EVERY - 1:
            stream.take(sides)
        with torch.no_grad():
            x, things, ignore, whole = sides.batch(args.batch)
            x = spoil(x, gen)
            t = targets(things, ignore, whole)
        with torch.autocast("cuda", torch.bfloat16):
            out = ahead(x.to(memory_format=torch.channels_last))
        a, b, c, d = losses(out.float(), *t)
        loss = 3 * a + b + 0.3 * c + 0.7 * d
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        opt.step()
        steady.follow(step)
        now = torch.stack([a, b, c, d]).detach()
        average = now if average is None else average * 0.99 + now * 0.01
        step += 1
        if step % 500 == 0:
            say(f"step {step}: heat {average[0]:.3f}, highlight {average[1]:.3f}, shadow seen {average[2]:.3f}, shadow {average[3]:.3f}")
    if args.minutes:
        say(f"{step} steps in {args.minutes:g} minutes")
    if stream:
        say(f"{stream.sides} sides of {len(stream.taken)} files that came")
    if rank:
        dist.destroy_process_group()
        return
    say(steady.ship(args.out, "finder", export))
    seen = [h for s in SOURCES for h in sides.of[s][:20]]
    # real pictures all, and so many of the others that it takes no longer than a minute
    real = [h for h in sides.held if h["source"] in ("labelled", "tile")]
    rest = [h for h in sides.held if h["source"] in ("rendered", "set-in", "other")]
    rest = [rest[i] for i in np.random.default_rng(args.seed).permutation(len(rest))[:250]]
    for name, which in (("seen", seen), ("held out", real + rest)):
        for kind, (n, things, *recall, precision) in judged(steady.model, sides, which).items():
            at = ", ".join(f"{r:.3f}" for r in recall)
            say(f"{name}, {kind}: {n} sides, {things} things; found {at} at 0.25, 0.5, 1 false a side; average precision {precision:.3f}")
    with open(os.path.join(args.out, "finder.log"), "w") as f:
        f.write("\n".join(log) + "\n")
    if world > 1:
        dist.destroy_process_group()


if __name__ == "__main__":
    main()
