"""Fits the finder and writes finder.onnx. Needs PyTorch and a GPU; nothing of it is needed to build or run shadowgap.

    go run ./cmd/refit -scenes N -setin M -views views.bin
    torchrun --nproc-per-node GPUS fit.py --views views.bin --steps N --out DIR    # with as many files of views as GPUs, each sees its own
    fit.py --views views.bin --hold 'real-6_*' 'wide-369??' --steps N --out DIR    # says how well it does on groups it never saw
    fit.py --views real.bin --stream FOLDER --steps N --out DIR    # scenes come while it goes on (stream.sh): none is seen often enough to be known by heart
"""

import argparse
import copy
import fnmatch
import hashlib
import os
import time

import numpy as np
import torch
import torch.distributed as dist
import torch.nn.functional as F

from finder_net import BOX, CLASSES, PLANES, SHADE, SHADOW, Finder, export
from views import read

ROWS, COLS = 256, 384  # of a crop, cells
MOST = 48  # things looked at in a crop
UNSAID = 16  # boxes in it of which nothing is said
SOURCES = ("rendered", "set-in", "labelled", "tile", "other")


def slog(v):
    return torch.sign(v) * torch.log1p(v.abs())


class Sides:
    """Sides on a GPU: those of a file of views, which stay, and room for cells of others that come and go."""

    def __init__(self, path, device, seed, shares, hold=(), room=0):
        self.device, self.shares, self.hold = device, shares, hold
        self.rng = np.random.default_rng(seed)
        self.heads, data, offsets = self.told(path)
        held = sum(h["rows"] * h["cols"] for h in self.heads)
        # the planes of a cell side by side, so that one look-up brings all of them
        self.flat = torch.empty(held + room, dtype=torch.int32, device=device)
        self.put(self.heads, data, offsets, 0)
        self.stays, self.next = held, held
        self.sort()

    @classmethod
    def told(cls, path):
        """The headers of a file of views with what they tell as arrays, the file's bytes, and where in it the planes of each begin."""
        data, heads, offsets = read(path)
        for h in heads:
            m = h["marks"]
            h["things"] = np.array([cls.thing(t) for t in m], np.float32).reshape(-1, 11)
            h["ignore"] = np.array(h["ignore"], np.float32).reshape(-1, 4)
        return heads, data, offsets

    def put(self, heads, data, offsets, first):
        """Copies the planes of sides to where the first is to lie; returns where the last ends."""
        for h, at in zip(heads, offsets):
            size = h["rows"] * h["cols"]
            planes = torch.from_numpy(np.array(data[at : at + PLANES * size])).to(self.device).view(PLANES, size)
            self.flat[first : first + size] = planes.t().contiguous().view(torch.int32).view(-1)
            h["first"] = first
            first += size
        return first

    def come(self, path):
        """Takes the sides of a file in, in the place of those that have been there longest; returns how many they are."""
        heads, data, offsets = self.told(path)
        size = sum(h["rows"] * h["cols"] for h in heads)
        if self.stays + size > len(self.flat):
            raise ValueError(f"{path}: {size} cells are more than there is room for")
        first = self.next if self.next + size <= len(self.flat) else self.stays
        self.next = self.put(heads, data, offsets, first)
        gone = [h for h in self.heads if h["first"] < self.next and h["first"] + h["rows"] * h["cols"] > first]
        dropped = {id(h) for h in gone}
        self.heads = [h for h in self.heads if id(h) not in dropped] + heads
        self.sort()
        return len(heads)

    def sort(self):
        """Sides by source, those apart that are held out."""
        out = {id(h) for h in self.heads if any(fnmatch.fnmatch(h["group"], p) for p in self.hold)}
        self.held = [h for h in self.heads if id(h) in out]
        self.of = {s: [h for h in self.heads if h["source"] == s and id(h) not in out] for s in SOURCES}
        self.full = {s: [h for h in self.of[s] if h["marks"]] for s in SOURCES}

    @staticmethod
    def thing(m):
        """Class + 1, highlight (4), has a shadow, shadow (4), has a highlight; in cells of the side."""
        lit, dark = m["highlight"], m["shadow"]
        both = bool(lit and dark)
        return [1 + m["class"], *(lit or dark), both, *(dark if both else (0, 0, 0, 0)), bool(lit)]

    def crop(self, h):
        """Where a crop of a side lies (offset of its planes, rows, columns, first row, first column, cells a cell of it covers in rows and in
        columns, flipped or not), its things in its own cells, and where nothing is said."""
        rows, cols = h["rows"], h["cols"]
        grow = float(np.exp(self.rng.uniform(-0.45, 0.45)))
        grow_k = grow * float(np.exp(self.rng.uniform(-0.35, 0.35)))
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
        held = (mid_r >= 0) & (mid_r < ROWS) & (mid_k >= 0) & (mid_k < COLS)
        ignore = np.concatenate([things[~held, 1:5], move(h["ignore"])])  # nothing is said of what the crop cuts through the middle
        things = things[held][:MOST]
        ignore = ignore[(ignore[:, 1] > 0) & (ignore[:, 0] < ROWS) & (ignore[:, 3] > 0) & (ignore[:, 2] < COLS)][:UNSAID]
        out_things, out_ignore = np.zeros((MOST, 11), np.float32), np.zeros((UNSAID, 4), np.float32)
        out_things[: len(things)], out_ignore[: len(ignore)] = things, ignore
        return (h["first"], rows, cols, r0, k0, 1 / grow, 1 / grow_k, flip), out_things, out_ignore, 1.0 if h["whole"] else 0.15

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
        wide = cols.long()
        first = at + yi.long() * wide + xi.long()
        a, b, c, d = (self.cells(first + step) for step in (0, 1, wide, wide + 1))
        out = (a * (1 - fx) + b * fx) * (1 - fy) + (c * (1 - fx) + d * fx) * fy
        plain = torch.tensor([85.0, 0, 0, 0][:PLANES], device=self.device).view(1, -1, 1, 1)
        return torch.where(inside.unsqueeze(1), out, plain)

    def cells(self, at):
        """The planes of cells, n x PLANES x rows x cols."""
        return self.flat[at].view(torch.uint8).view(*at.shape, PLANES).permute(0, 3, 1, 2).float()

    def batch(self, n):
        out = []
        sources = [s for s in SOURCES if self.of[s]]
        shares = np.array([self.shares[SOURCES.index(s)] for s in sources])
        for s in self.rng.choice(sources, n, p=shares / shares.sum()):
            pool = self.full[s] if self.rng.random() < 0.7 and self.full[s] else self.of[s]
            out.append(self.crop(pool[self.rng.integers(len(pool))]))
        x = self.planes([o[0] for o in out]) / 255
        things = torch.from_numpy(np.stack([o[1] for o in out])).to(self.device)
        ignore = torch.from_numpy(np.stack([o[2] for o in out])).to(self.device)
        whole = torch.tensor([o[3] for o in out], device=self.device)
        return x, things, ignore, whole

    def side(self, h):
        """All planes of a side, 1 x PLANES x rows x cols."""
        at = h["first"] + torch.arange(h["rows"] * h["cols"], device=self.device)
        return self.cells(at.view(1, h["rows"], h["cols"])) / 255


EVERY = 500  # steps after which it is looked for more


class Stream:
    """A folder of files of views, under names that sort by age; a file is complete once it ends in .bin."""

    def __init__(self, folder):
        self.folder, self.taken, self.sides = folder, set(), 0

    def take(self, sides):
        """Takes the newest file in that was not taken in yet; tells whether there was one."""
        new = sorted(n for n in os.listdir(self.folder) if n.endswith(".bin") and n not in self.taken)
        if not new:
            return False
        self.taken.add(new[-1])
        self.sides += sides.come(os.path.join(self.folder, new[-1]))
        return True


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
    s = (s / plain).clamp(min=1e-3) ** torch.exp(0.25 * normal(n, 1, 1, 1) * some(0.6)) * plain
    # displays that run out of brightness
    full = 1 + 1.4 * torch.rand(n, 1, 1, 1, generator=gen, device=x.device)
    burnt = some(0.2)
    s = torch.where(burnt > 0, torch.minimum(s, plain * full), s)
    k = torch.tensor([0.25, 0.5, 0.25], device=x.device)
    soft = F.conv2d(F.conv2d(s, k.view(1, 1, 1, 3), padding=(0, 1)), k.view(1, 1, 3, 1), padding=(1, 0))
    pick = some(0.2)
    s = s * (1 - pick) + soft * pick
    dim = F.conv2d(F.conv2d(echo, k.view(1, 1, 1, 3), padding=(0, 1)), k.view(1, 1, 3, 1), padding=(1, 0))
    echo = echo * (1 - pick) + dim * pick
    s = s + normal(*s.shape) * 0.03 * some(0.3)
    field = F.interpolate(normal(n, 1, 5, 7), s.shape[2:], mode="bilinear", align_corners=False)
    s = s * torch.exp(0.1 * field * some(0.5))
    echo = echo * (1 - some(0.25))  # what is known by its display alone carries over to no other
    return torch.cat([s.clamp(0, 1), region, steep, echo.clamp(0, 1)], 1)


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
    with torch.autocast("cuda", torch.bfloat16):
        out = model(x.to(memory_format=torch.channels_last))
    out = out.float()
    heat = out[:, :CLASSES].amax(1, keepdim=True)
    top = (heat == F.max_pool2d(heat, 3, 1, 1)).float() * torch.sigmoid(heat)
    odds, at = top.flatten().topk(min(most, top.numel()))
    cols = heat.shape[3]
    y, x = (at // cols * 2 + 1).float(), (at % cols * 2 + 1).float()
    d = out[0, BOX : BOX + 4].flatten(1)[:, at]
    d = torch.sign(d) * torch.expm1(d.abs().clamp(max=8))
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
    p.add_argument("--stream", help="folder that more files of views come to; the newest is taken in every now and then, in the place of the oldest")
    p.add_argument("--room", type=float, default=6e9, help="cells of those that a GPU is to hold; four bytes each")
    p.add_argument("--hold", nargs="*", default=[], help="groups to keep out of the fit and to be judged by")
    p.add_argument("--steps", type=int, default=10000)
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--rate", type=float, default=2e-3)
    p.add_argument("--shares", type=float, nargs=len(SOURCES), default=(0.40, 0.22, 0.08, 0.04, 0.26), help="of a batch, by source: " + ", ".join(SOURCES))
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--earlier", help="finder.pt of an earlier fit to go on from")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    if args.stream and not os.path.isdir(args.stream):
        p.error(f"--stream {args.stream}: no such folder")
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
    if args.earlier:
        model.load_state_dict(torch.load(args.earlier, map_location="cpu"))
    model = model.to(device).to(memory_format=torch.channels_last)
    model.train()
    say(f"{sum(q.numel() for q in model.parameters())} parameters")
    gen = torch.Generator(device=device)
    gen.manual_seed(args.seed + 1000 * rank)
    ahead = torch.nn.parallel.DistributedDataParallel(model, device_ids=[device.index], broadcast_buffers=False) if world > 1 else model
    opt = torch.optim.AdamW(model.parameters(), lr=args.rate, weight_decay=1e-2)
    plan = torch.optim.lr_scheduler.OneCycleLR(opt, args.rate, args.steps, pct_start=0.1)
    steady = copy.deepcopy(model).eval()  # what is shipped: the weights averaged over the last thousand steps or so
    kept, live = ([q for q in m.state_dict().values() if q.dtype.is_floating_point] for m in (steady, model))
    average = None
    for step in range(args.steps):
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
        plan.step()
        with torch.no_grad():
            keep = min(0.999, (step + 1) / (step + 10))
            torch._foreach_mul_(kept, keep)
            torch._foreach_add_(kept, live, alpha=1 - keep)
        now = torch.stack([a, b, c, d]).detach()
        average = now if average is None else average * 0.99 + now * 0.01
        if (step + 1) % 500 == 0:
            say(f"step {step + 1}: heat {average[0]:.3f}, highlight {average[1]:.3f}, shadow seen {average[2]:.3f}, shadow {average[3]:.3f}")
    if stream:
        say(f"{stream.sides} sides of {len(stream.taken)} files that came")
    if rank:
        dist.destroy_process_group()
        return
    os.makedirs(args.out, exist_ok=True)
    torch.save(steady.state_dict(), os.path.join(args.out, "finder.pt"))
    path = os.path.join(args.out, "finder.onnx")
    export(copy.deepcopy(steady), path)
    with open(path, "rb") as f:
        say("finder.onnx sha256 " + hashlib.sha256(f.read()).hexdigest())
    seen = [h for s in SOURCES for h in sides.of[s][:20]]
    # real pictures all, and so many of the others that it takes no longer than a minute
    real = [h for h in sides.held if h["source"] in ("labelled", "tile")]
    rest = [h for h in sides.held if h["source"] in ("rendered", "set-in", "other")]
    rest = [rest[i] for i in np.random.default_rng(args.seed).permutation(len(rest))[:250]]
    for name, which in (("seen", seen), ("held out", real + rest)):
        for kind, (n, things, *recall, precision) in judged(steady, sides, which).items():
            at = ", ".join(f"{r:.3f}" for r in recall)
            say(f"{name}, {kind}: {n} sides, {things} things; found {at} at 0.25, 0.5, 1 false a side; average precision {precision:.3f}")
    with open(os.path.join(args.out, "finder.log"), "w") as f:
        f.write("\n".join(log) + "\n")
    if world > 1:
        dist.destroy_process_group()


if __name__ == "__main__":
    main()
