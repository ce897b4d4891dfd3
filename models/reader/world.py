"""What happens to a capture before the network sees it: framing, mirrors, palettes, flaws. All of it drawn on the GPU."""

import math

import torch
import torch.nn.functional as F

from data import UNKNOWN
from net import HEIGHT, OUTSIDE, WIDTH

# water and bottom of one side become those of the other in a mirror
MIRROR = torch.arange(256, dtype=torch.uint8)
MIRROR[2], MIRROR[3], MIRROR[4], MIRROR[5] = 3, 2, 5, 4


class Augment:
    """Draws batches of framed, recoloured and spoilt captures. The same generator state gives the same batch."""

    def __init__(self, device, seed):
        self.device = device
        self.gen = torch.Generator(device=device)
        self.gen.manual_seed(seed)

    def rand(self, *shape, lo=0.0, hi=1.0):
        return lo + (hi - lo) * torch.rand(*shape, generator=self.gen, device=self.device)

    def normal(self, *shape):
        return torch.randn(*shape, generator=self.gen, device=self.device)

    def some(self, n, p):
        return torch.rand(n, generator=self.gen, device=self.device) < p

    def field(self, n, rows, cols, slope):
        """Smooth random fields n x 1 x HEIGHT x WIDTH of unit scale: coarse noise scaled up, octaves weighed by slope."""
        out = torch.zeros(n, 1, HEIGHT, WIDTH, device=self.device)
        for k in range(5):
            r, c = rows * 2**k, cols * 2**k
            layer = F.interpolate(self.normal(n, 1, r, c), (HEIGHT, WIDTH), mode="bilinear", align_corners=False)
            out += layer * slope.view(n, 1, 1, 1) ** k
        return out / out.flatten(1).std(1).view(n, 1, 1, 1).clamp(min=1e-3)

    def frame(self, n, whole):
        """Matrices n x 3 x 3 from the network's square (-1..1) to that of the capture: crops, margins, slight tilts."""
        w = torch.ones(n, device=self.device)
        h = torch.ones(n, device=self.device)
        cx = torch.zeros(n, device=self.device)
        cy = torch.zeros(n, device=self.device)
        crop = self.some(n, 0.4) & ~whole
        w = torch.where(crop, self.rand(n, lo=0.35), w)
        h = torch.where(crop, self.rand(n, lo=0.35), h)
        cx = torch.where(crop, (1 - w) * self.rand(n, lo=-1), cx)
        cy = torch.where(crop, (1 - h) * self.rand(n, lo=-1), cy)
        wide = self.some(n, 0.3) & ~crop & ~whole
        w = torch.where(wide, self.rand(n, lo=1, hi=1.9), w)
        h = torch.where(wide, self.rand(n, lo=1, hi=1.9), h)
        # a margin on one edge is as likely as one all around
        cx = torch.where(wide, (w - 1) * (2 * self.rand(n) - 1).sign() * self.rand(n).sqrt(), cx)
        cy = torch.where(wide, (h - 1) * (2 * self.rand(n) - 1).sign() * self.rand(n).sqrt(), cy)
        m = torch.zeros(n, 3, 3, device=self.device)
        m[:, 0, 0], m[:, 1, 1], m[:, 0, 2], m[:, 1, 2], m[:, 2, 2] = w, h, cx, cy, 1
        tilt = (self.some(n, 0.12) & ~whole).float()
        m[:, 0, 1] = tilt * 0.12 * self.normal(n)
        m[:, 1, 0] = tilt * 0.12 * self.normal(n)
        m[:, 2, 0] = tilt * 0.08 * self.normal(n)
        m[:, 2, 1] = tilt * 0.08 * self.normal(n)
        return m

    def warp(self, x, y, m, back):
        n = len(x)
        v, u = torch.meshgrid(
            (torch.arange(HEIGHT, device=self.device) + 0.5) / HEIGHT * 2 - 1,
            (torch.arange(WIDTH, device=self.device) + 0.5) / WIDTH * 2 - 1,
            indexing="ij",
        )
        p = torch.stack([u, v, torch.ones_like(u)], -1).view(1, -1, 3) @ m.transpose(1, 2)
        g = (p[..., :2] / p[..., 2:].clamp(min=0.2)).view(n, HEIGHT, WIDTH, 2)
        out = F.grid_sample(x, g, mode="bilinear", padding_mode="border", align_corners=False)
        beyond = ((g.abs() > 1).any(-1)).unsqueeze(1)
        out = torch.where(beyond, back, out)
        yy = F.grid_sample(y.float().unsqueeze(1), g[:, 1::2, 1::2], mode="nearest", padding_mode="border", align_corners=False)
        yy = torch.where(beyond[:, :, 1::2, 1::2], torch.full_like(yy, OUTSIDE), yy)
        return out, yy.squeeze(1).to(torch.uint8)

    def palettes(self, n):
        """Random paths through colour space, n x 256 x 3: brighter with the echo, hue as it comes."""
        k = 6
        lum = torch.sort(self.rand(n, k), 1).values
        lum = (lum - lum[:, :1]) / (lum[:, -1:] - lum[:, :1])
        low, high = self.rand(n, 1, lo=0, hi=0.15), self.rand(n, 1, lo=0.7, hi=1)
        lum = low + (high - low) * lum
        tint = self.normal(n, 1, 3) * 0.35 + self.normal(n, k, 3) * 0.12
        tint = tint - tint.mean(-1, keepdim=True)
        rgb = (lum.unsqueeze(-1) * (1 + tint * 1.6)).clamp(0, 1)
        return F.interpolate(rgb.transpose(1, 2), 256, mode="linear", align_corners=True).transpose(1, 2)

    def batch(self, x, y, sonar, gentle, backs):
        """x: n x 3 x ROWS x COLS bytes, y: n x ROWS x COLS classes, sonar: n flags, gentle: n flags for captures that are to
        keep their framing more often. Returns the network's input, its map of classes, and flags of inverted display."""
        n = len(x)
        x = x.float() / 255
        whole = self.some(n, 0.35) | (gentle & self.some(n, 0.3))
        flat = self.rand(n, 3, 1, 1) * self.some(n, 0.6).view(n, 1, 1, 1)
        grey = flat.mean(1, keepdim=True).expand(-1, 3, -1, -1)
        flat = torch.where(self.some(n, 0.5).view(n, 1, 1, 1), grey, flat)
        back = torch.where(self.some(n, 0.35).view(n, 1, 1, 1), F.interpolate(backs.float() / 255, (HEIGHT, WIDTH)), flat)
        x, y = self.warp(x, y, self.frame(n, whole), back)

        # what is no sonar is mixed with more of its kind: a few thousand pictures are soon known by heart
        mix = (self.some(n, 0.35) & ~sonar).view(n, 1, 1, 1)
        share = self.rand(n, 1, 1, 1, lo=0.25, hi=0.75)
        other = F.interpolate(backs.float() / 255, (HEIGHT, WIDTH)).flip(3)
        kind = self.some(n, 0.3).view(n, 1, 1, 1)
        x = torch.where(mix, torch.where(kind, (x * other * 1.6).clamp(0, 1), x * share + other * (1 - share)), x)
        # a texture that mirrors itself is no port and starboard: the two sides of a swath are never the same
        twin = (self.some(n, 0.12) & ~sonar).view(n, 1, 1, 1)
        right = (torch.arange(WIDTH, device=self.device) * 2 >= WIDTH).view(1, 1, 1, WIDTH)
        x = torch.where(twin & right, x.flip(3), x)

        flip = self.some(n, 0.5)
        x = torch.where(flip.view(n, 1, 1, 1), x.flip(3), x)
        y = torch.where(flip.view(n, 1, 1), MIRROR.to(self.device)[y.flip(2).long()], y)
        flip = self.some(n, 0.3)
        x = torch.where(flip.view(n, 1, 1, 1), x.flip(2), x)
        y = torch.where(flip.view(n, 1, 1), y.flip(1), y)
        full = F.interpolate(y.float().unsqueeze(1), (HEIGHT, WIDTH))
        panel = (full >= 1) & (full < UNKNOWN)
        water = (full == 2) | (full == 3)
        bottom = (full == 4) | (full == 5)

        # the bottom gets a texture of another scale, and range or record another gain
        some = (self.some(n, 0.4) & sonar).view(n, 1, 1, 1)
        rough = torch.exp(self.field(n, 2, 3, self.rand(n, lo=0.5, hi=1.0)) * self.rand(n, 1, 1, 1, hi=0.5))
        x = torch.where(some & bottom, x * rough, x)
        some = (self.some(n, 0.25) & sonar).view(n, 1, 1, 1)
        ramp = torch.linspace(-1, 1, WIDTH, device=self.device).view(1, 1, 1, WIDTH)
        gain = torch.exp(self.normal(n, 1, 1, 1) * 0.6 * ramp + self.normal(n, 1, 1, 1) * 0.7 * ramp.abs())
        x = torch.where(some & panel, x * gain, x)
        some = (self.some(n, 0.15) & sonar).view(n, 1, 1, 1)
        x = torch.where(some & panel, x * (1 + 0.25 * self.normal(n, 1, HEIGHT, 1)), x)
        some = (self.some(n, 0.12) & sonar).view(n, 1, 1, 1)
        x = torch.where(some & panel, x * (1 + 0.2 * self.normal(n, 1, 1, WIDTH)), x)
        # specks and clouds in the water, and what the far end leaves of the echo
        some = (self.some(n, 0.25) & sonar).view(n, 1, 1, 1)
        speck = (self.rand(n, 1, HEIGHT, WIDTH) < self.rand(n, 1, 1, 1, hi=0.12)) * self.rand(n, 1, HEIGHT, WIDTH)
        x = torch.where(some & water, torch.maximum(x, speck.expand_as(x) * self.rand(n, 1, 1, 1, lo=0.3)), x)
        some = (self.some(n, 0.15) & sonar).view(n, 1, 1, 1)
        cloud = (self.field(n, 4, 6, self.rand(n, lo=0.4, hi=0.9)) - 0.8).clamp(min=0) * self.rand(n, 1, 1, 1, hi=0.5)
        x = torch.where(some & water, x + cloud, x)
        # holes: whatever is there, the map stays
        hole = self.some(n, 0.12).view(n, 1, 1, 1)
        v, u = torch.linspace(0, 1, HEIGHT, device=self.device).view(1, 1, -1, 1), torch.linspace(0, 1, WIDTH, device=self.device).view(1, 1, 1, -1)
        cv, cu = self.rand(n, 1, 1, 1), self.rand(n, 1, 1, 1)
        inside = ((v - cv).abs() < self.rand(n, 1, 1, 1, hi=0.04)) & ((u - cu).abs() < self.rand(n, 1, 1, 1, hi=0.8))
        x = torch.where(hole & inside & panel, x * 0.05, x)

        x = x.clamp(0, 1)
        # another palette over everything, or over the panel alone
        lum = (x * torch.tensor([0.299, 0.587, 0.114], device=self.device).view(1, 3, 1, 1)).sum(1)
        lut = self.palettes(n)
        painted = torch.gather(lut, 1, (lum.flatten(1) * 255).long().unsqueeze(-1).expand(-1, -1, 3))
        painted = painted.view(n, HEIGHT, WIDTH, 3).permute(0, 3, 1, 2)
        some, every = self.some(n, 0.4).view(n, 1, 1, 1), self.some(n, 0.6).view(n, 1, 1, 1)
        x = torch.where(some & (every | panel), painted, x)
        some = self.some(n, 0.25).view(n, 1, 1, 1)
        x = torch.where(some, lum.unsqueeze(1).expand_as(x), x)
        inverted = self.some(n, 0.15)
        every = self.some(n, 0.6).view(n, 1, 1, 1)
        x = torch.where(inverted.view(n, 1, 1, 1) & (every | panel), 1 - x, x)
        some = self.some(n, 0.5).view(n, 1, 1, 1)
        x = torch.where(some, x.clamp(min=1e-4) ** torch.exp(self.normal(n, 1, 1, 1) * 0.4), x)
        some = self.some(n, 0.3).view(n, 1, 1, 1)
        x = torch.where(some, (x - 0.5) * torch.exp(self.normal(n, 1, 1, 1) * 0.3) + 0.5 + 0.12 * self.normal(n, 1, 1, 1), x)
        x = self.soften(x)
        some = self.some(n, 0.3).view(n, 1, 1, 1)
        colour = self.some(n, 0.3).view(n, 1, 1, 1)
        noise = torch.where(colour, self.normal(n, 3, HEIGHT, WIDTH), self.normal(n, 1, HEIGHT, WIDTH).expand(-1, 3, -1, -1))
        x = torch.where(some, x + noise * self.rand(n, 1, 1, 1, hi=0.08), x)
        return x.clamp(0, 1) - 0.5, y.long(), inverted

    def soften(self, x):
        n = len(x)
        for sigma, p in ((0.6, 0.12), (1.1, 0.1), (2.0, 0.08)):
            r = math.ceil(2.5 * sigma)
            k = torch.exp(-torch.arange(-r, r + 1, device=self.device) ** 2 / (2 * sigma * sigma))
            k = (k / k.sum()).view(1, 1, 1, -1)
            idx = self.some(n, p).nonzero().flatten()
            if len(idx) == 0:
                continue
            part = x[idx].flatten(0, 1).unsqueeze(1)
            part = F.conv2d(F.pad(part, (r, r, 0, 0), mode="replicate"), k)
            part = F.conv2d(F.pad(part, (0, 0, r, r), mode="replicate"), k.transpose(2, 3))
            x = x.index_copy(0, idx, part.view(len(idx), *x.shape[1:]))
        return x
