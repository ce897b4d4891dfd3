"""Sides of files of views (cmd/refit -views) on a GPU, and crops of them as batches; what the finder's fit and outward's read."""

import argparse
import fnmatch
import os

import numpy as np
import torch
import torch.nn.functional as F

from views import PLANES, read

ROWS, COLS = 256, 384  # of a crop, cells
MOST = 48  # things looked at in a crop
UNSAID = 16  # boxes in it of which nothing is said
SOURCES = ("rendered", "set-in", "labelled", "tile", "other")


def slog(v):
    return torch.sign(v) * torch.log1p(v.abs())


def unslog(v):
    """What slog was taken of; capped, since a network may answer anything."""
    return torch.sign(v) * torch.expm1(v.abs().clamp(max=8))


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

    def told(self, path):
        """The headers of a file of views with what they tell as arrays, the file's bytes, and where in it the planes of each begin."""
        data, heads, offsets = read(path)
        for h in heads:
            m = h["marks"]
            h["things"] = np.array([self.thing(t) for t in m], np.float32).reshape(-1, 11)
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

    def drawn(self):
        """The sources that there are sides of, and the part of a batch that comes from each."""
        sources = [s for s in SOURCES if self.of[s]]
        shares = np.array([self.shares[SOURCES.index(s)] for s in sources])
        return sources, shares / shares.sum()

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

    def planes(self, where, high=ROWS, wide=COLS):
        """The planes of crops, n x PLANES x high x wide, read between cells."""
        n = len(where)
        at = torch.tensor([w[0] for w in where], device=self.device).view(n, 1, 1)
        rows, cols, r0, k0, dr, dk, flip = (torch.tensor([float(w[j]) for w in where], device=self.device).view(n, 1, 1) for j in range(1, 8))
        y = torch.arange(high, device=self.device).view(1, -1, 1) + 0.5
        x = torch.arange(wide, device=self.device).view(1, 1, -1) + 0.5
        y = torch.where(flip > 0, high - y, y)
        y, x = r0 + y * dr - 0.5, k0 + x * dk - 0.5
        inside = (y > -0.5) & (y < rows - 0.5) & (x > -0.5) & (x < cols - 0.5)
        y, x = torch.minimum(y.clamp(min=0), rows - 1.001), torch.minimum(x.clamp(min=0), cols - 1.001)
        yi, xi = y.floor(), x.floor()
        fy, fx = (y - yi).unsqueeze(1), (x - xi).unsqueeze(1)
        row = cols.long()
        first = at + yi.long() * row + xi.long()
        a, b, c, d = (self.cells(first + step) for step in (0, 1, row, row + 1))
        out = (a * (1 - fx) + b * fx) * (1 - fy) + (c * (1 - fx) + d * fx) * fy
        plain = torch.tensor([85.0, 0, 0, 0][:PLANES], device=self.device).view(1, -1, 1, 1)
        return torch.where(inside.unsqueeze(1), out, plain)

    def cells(self, at):
        """The planes of cells, n x PLANES x rows x cols."""
        return self.flat[at].view(torch.uint8).view(*at.shape, PLANES).permute(0, 3, 1, 2).float()

    def batch(self, n):
        out = []
        sources, shares = self.drawn()
        for s in self.rng.choice(sources, n, p=shares):
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


def folder(path):
    """The folder of a stream, for argparse: one that is not there is told before anything is loaded."""
    if not os.path.isdir(path):
        raise argparse.ArgumentTypeError(f"{path}: no such folder")
    return path


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
