"""From rays to what a receiver gets: the beam's width, speckle, noise, what is in the water, interference, and lost pings.

Arrays are pings x bins of one side unless said otherwise, port and starboard in dicts; lengths are metres.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt, gaussian_filter, gaussian_filter1d

import rays
from world import field

FADING = 2.2  # power of range by which echoes fade
BLURS = np.array([0, 0.5, 1, 1.8, 3, 5, 8, 13, 21, 34.0])  # rows; blurs between two of them are mixed


def wander(rng, count, smooth, amount):
    """A smooth random course of count numbers, of mean 0 and a deviation of amount."""
    course = gaussian_filter1d(rng.standard_normal(count + 1), max(smooth, 0.5), mode="nearest")
    return amount * (course - course.mean())[:count] / (course.std() + 1e-9)


def speckle(rng, shape, looks, across, along):
    """Speckle of mean 1: the mean of a number of looks, each correlated over some bins across and pings along."""
    out = np.zeros(shape, np.float32)
    count = int(np.ceil(looks))
    weights = np.ones(count)
    weights[-1] = looks - count + 1 if count > looks else 1
    for weight in weights:
        real = rng.standard_normal(shape).astype(np.float32)
        imaginary = rng.standard_normal(shape).astype(np.float32)
        for smooth, axis in ((across, 1), (along, 0)):
            if smooth > 0.25:
                real = gaussian_filter1d(real, smooth, axis=axis, truncate=3)
                imaginary = gaussian_filter1d(imaginary, smooth, axis=axis, truncate=3)
        power = real * real + imaginary * imaginary
        out += weight * power / power.mean()
    return out / weights.sum()


@dataclass
class Sonar:
    """A transducer: its beam, its noise and what of it goes wrong."""

    beam: rays.Beam
    opening: float  # of the beam along the track, radians
    length_m: float  # of the transducer

    def footprint(self, slant_m):
        """How wide the beam is along the track, one deviation."""
        return np.sqrt(self.length_m**2 + (self.opening * slant_m) ** 2) / 2.4


def draw_sonar(rng):
    opening = np.radians(rng.choice([0.3, 0.5, 0.8, 1.2, 1.8]))
    length_m = rng.uniform(0.03, 0.25)
    mirror, mirror_width, facing = rng.uniform(0, 6), rng.uniform(0.1, 0.35), rng.uniform(1.2, 2.4)
    tilt, width, floor = np.radians(rng.uniform(10, 40)), np.radians(rng.uniform(16, 40)), rng.uniform(0.01, 0.3)
    return Sonar(rays.Beam(mirror, mirror_width, facing, tilt, width, floor, FADING), opening, length_m)


def blur_along(echoes, footprint_m, steps):
    """Blurs along the track by a width that grows with range."""
    slant = (np.arange(steps.bins) + 0.5) * steps.bin
    rows = footprint_m(slant) / steps.row
    blurs = BLURS[: max(2, np.searchsorted(BLURS, rows.max()) + 1)]
    out = np.zeros_like(echoes)
    for k, blur in enumerate(blurs):
        to_next = blur - blurs[max(k - 1, 0)], blurs[min(k + 1, len(blurs) - 1)] - blur
        weight = np.clip(1 - np.abs(rows - blur) / (np.where(rows < blur, *to_next) + 1e-9), 0, 1)
        bins = np.nonzero(weight > 0)[0]
        if len(bins) == 0:
            continue
        part = slice(bins[0], bins[-1] + 1)
        blurred = echoes[:, part] if blur == 0 else gaussian_filter1d(echoes[:, part], blur, axis=0, truncate=3)
        out[:, part] += blurred * weight[None, part]
    return out


@dataclass
class Falloff:
    """How echoes of flat plain bottom fall off with range, what the receiver does about it, and its noise. A number a bin."""

    plain: np.ndarray
    gain: np.ndarray
    noise: np.ndarray
    first_bin: int  # where bottom begins
    strength: float  # of an echo that shows well
    snr: float


def draw_falloff(rng, sonar, steps, cells, altitude_m, range_m):
    flat = np.zeros((3, cells), np.float32)
    course = rays.Course(np.full(3, altitude_m), np.zeros(3), np.zeros(3))
    nothing = np.zeros(1, bool)
    answer = rays.cast(flat, np.ones_like(flat), flat.astype(np.int32), nothing, course, 1, steps, sonar.beam, rays.stacked([])).all[1]
    plain = gaussian_filter1d(np.maximum(answer, 1e-12), 2)
    slant = (np.arange(steps.bins) + 0.5) * steps.bin
    first = min(int(altitude_m * 1.12 / steps.bin), steps.bins - 3)
    plain[:first] = plain[first]
    plain = np.exp(gaussian_filter1d(np.log(np.maximum(plain, plain.max() * 1e-6)), 6))
    middle = plain[steps.bins // 2]
    power = rng.choice([1, rng.uniform(0.75, 1), rng.uniform(0.5, 0.9)])
    gain = plain**-power * (middle ** (power - 1))
    gain *= np.exp(rng.normal(0, 0.25) * (slant / range_m - 0.5))
    snr = 10 ** (rng.uniform(0.1, 1.9))
    least = plain[-1] / snr
    noise = np.full(steps.bins, least) + 0.1 * least * (altitude_m / np.maximum(slant, 0.5))
    return Falloff(plain, gain, noise, first, middle * (plain[first] / middle) ** 0.6, snr)


@dataclass
class Trouble:
    """What spoils a record, drawn once for both sides."""

    looks: float
    across: float  # how far speckle is correlated, bins
    along: float  # and pings
    heavy: bool  # a longer tail than speckle's
    row_gain: np.ndarray  # a number a ping
    lost: np.ndarray  # whether a ping is
    lost_as: str  # black, noise or repeat
    cloud: bool
    specks: float  # share of bins with something in the water
    foreign: bool  # another sounder's pulses
    crosstalk: float
    second: bool  # echo of the bottom by way of the surface
    surface: bool


def draw_trouble(rng, pings):
    looks = rng.choice([1, 1.5, 2, 3, 5])
    across = rng.choice([0, 0.4, 0.7, 1.1])
    along = rng.choice([0, 0, 0.5, 0.9])
    heavy = rng.random() < 0.45
    row_gain = np.exp(rng.normal(0, rng.choice([0.0, 0.02, 0.06]), pings) + wander(rng, pings, 12, rng.choice([0, 0.03, 0.1])))
    for _ in range(int(rng.choice([0, 0, 0, 1, 2]))):
        row_gain[int(rng.integers(0, pings)) :] *= 10 ** rng.uniform(-0.25, 0.25)
    lost = np.zeros(pings, bool)
    if rng.random() < 0.25:
        for _ in range(int(rng.integers(1, 4))):
            first = int(rng.integers(0, pings))
            lost[first : first + int(rng.choice([1, 1, 2, 3, 8, 20]))] = True
    lost_as = rng.choice(["black", "noise", "repeat"], p=[0.5, 0.3, 0.2])
    if lost_as == "repeat" and lost.sum() > 4:
        lost_as = "black"
    cloud = rng.random() < 0.3
    specks = 10 ** rng.uniform(-4, -1.8) if rng.random() < 0.6 else 0
    foreign = rng.random() < 0.3
    crosstalk = rng.choice([0, 0, 10 ** rng.uniform(-3.2, -2.1)])
    second, surface = rng.random() < 0.35, rng.random() < 0.35
    return Trouble(
        looks, across, along, heavy, row_gain, lost, str(lost_as), cloud, specks, foreign, crosstalk, second, surface
    )


def truth(echoes, sonar, steps, noise, port):
    """Blurs a side's echoes by the beam and tells where things answer and hide bottom: two maps of 2 x number, less 1 on the port side, so
    that both sides of the nadir keep apart; 0 where there is none."""
    slant = (np.arange(steps.bins) + 0.5) * steps.bin

    def blurred(part):
        return blur_along(part, sonar.footprint, steps)

    plain = blurred(echoes.all)
    of_things, hidden, seen = blurred(echoes.of_things), blurred(echoes.hidden), blurred(echoes.seen)
    reach = np.maximum(sonar.footprint(slant) / steps.row * 1.5 + 1.5, 2)

    def nearest(numbers):
        apart, at = distance_transform_edt(numbers == 0, sampling=(1, 1.5), return_indices=True)
        return np.where(apart <= reach[None], numbers[at[0], at[1]], 0)

    highlight = nearest(echoes.thing) * (of_things > 0.5 * (plain + noise))
    shadow = nearest(echoes.hider) * (hidden > 0.5 * (hidden + seen)) * (hidden + seen > 0.2)
    shadow[highlight > 0] = 0
    lit = np.where(highlight > 0, 2 * highlight - port, 0)
    dark = np.where(shadow > 0, 2 * shadow - port, 0)
    return plain, lit, dark


class Receiver:
    """Makes a side's record of its echoes. The pulse is drawn with the first side and is the same on the other."""

    def __init__(self, rng, steps, falloff, trouble, altitude_m, range_m):
        self.rng = rng
        self.steps = steps
        self.falloff = falloff
        self.trouble = trouble
        self.altitude_m = altitude_m
        self.range_m = range_m
        self.slant = (np.arange(steps.bins) + 0.5) * steps.bin
        self.pulse = None

    def record(self, own, other):
        """A side's record of its echoes and the other's, blurred by the beam."""
        rng, trouble = self.rng, self.trouble
        shape = own.shape
        echoes = own.copy()
        if trouble.second:
            echoes += self.second_echo(own)
        if trouble.crosstalk:
            echoes = echoes + trouble.crosstalk * other
        grain = speckle(rng, shape, trouble.looks, trouble.across, trouble.along)
        if trouble.heavy:
            grain *= gaussian_filter(rng.gamma(rng.uniform(1.2, 5), 1, shape).astype(np.float32), (0.4, 0.5))
            grain /= grain.mean()
        out = echoes * grain
        noise = self.falloff.noise[None] * speckle(rng, shape, 1 + rng.integers(0, 2), trouble.across * 0.7, 0)
        out = out + self.in_water(shape) + noise
        if trouble.surface:
            out += self.surface(shape[0])
        self.add_pulse(out)
        if trouble.foreign:
            self.add_foreign(out)
        out *= trouble.row_gain[:, None]
        out *= self.falloff.gain[None]
        return out.astype(np.float32)

    def second_echo(self, own):
        """Bottom once more at twice its range, by way of the surface."""
        capped = np.minimum(own, 3 * np.median(own, axis=0)[None] + 1e-12)
        half = np.clip((np.arange(self.steps.bins)[None] / 2).astype(np.int32), 0, self.steps.bins - 1)
        share = self.rng.uniform(0.003, 0.03) * 0.5
        return share * np.take_along_axis(gaussian_filter(capped, (7, 0.7)), np.repeat(half, len(own), 0), 1)

    def in_water(self, shape):
        """Specks, and clouds that thin out with range."""
        rng, strength = self.rng, self.falloff.strength
        out = 0
        if self.trouble.specks:
            hit = rng.random(shape) < self.trouble.specks
            specks = np.zeros(shape, np.float32)
            specks[hit] = rng.exponential(1.5, int(hit.sum())) * strength * rng.uniform(0.1, 0.9)
            out = out + gaussian_filter(specks, (0.5, 0.5))
        if self.trouble.cloud:
            beta, stretch = rng.uniform(2.2, 3), rng.uniform(1, 2)
            dense = field(rng, shape, beta, self.steps.row, self.steps.bin, coarsest_m=self.range_m * 0.3, stretch=stretch)
            cloud = np.clip(dense - rng.uniform(0.6, 1.8), 0, None) * strength * rng.uniform(0.02, 0.25)
            thin = np.exp(-self.slant / (1.5 * self.altitude_m))[None]
            out = out + cloud * speckle(rng, shape, 1, self.trouble.across, 0) * thin
        return out

    def surface(self, pings):
        """The echo of the surface, a broken line in the water column."""
        rng = self.rng
        mean_m = rng.uniform(0.3, 0.9) * self.altitude_m
        at = mean_m + wander(rng, pings, 8, 0.05) + wander(rng, pings, 2, 0.03)
        line = self.falloff.strength * rng.uniform(0.2, 1.5) * np.exp(-(((self.slant[None] - at[:, None]) / (0.9 * self.steps.bin)) ** 2))
        return line * rng.exponential(1, (pings, 1)) * (rng.random((pings, 1)) < rng.uniform(0.4, 1))

    def add_pulse(self, out):
        """The pulse itself at the nadir, and it may be once more a little farther out."""
        rng, strength = self.rng, self.falloff.strength
        if self.pulse is None:
            self.pulse = rng.uniform(0.0, 3), rng.uniform(0.5, 4), rng.random() < 0.3, rng.uniform(0.03, 0.25) * self.altitude_m
        power, bins, again, again_m = self.pulse
        fading = np.exp(-((np.arange(self.steps.bins) / bins) ** 2))[None]
        out += strength * 10**power * fading * np.exp(rng.normal(0, 0.1, (len(out), 1)))
        if again:
            out += strength * rng.uniform(0.3, 2) * np.exp(-(((self.slant - again_m) / self.steps.bin) ** 2))[None]

    def add_foreign(self, out):
        """Short bright dashes from someone else's sounder, whose pulses drift against this one's."""
        rng, bins = self.rng, self.steps.bins
        chance = rng.choice([0.01, 0.03, 0.1])
        stride, first, drift = rng.uniform(0.3, 3), rng.uniform(0, bins), rng.uniform(-4, 4)
        for ping in range(len(out)):
            if rng.random() < chance:
                at = int((first + drift * ping * stride * 7) % bins)
                out[ping, at : at + int(rng.integers(2, 14))] += self.falloff.strength * rng.uniform(0.2, 2)

    def lose(self, record):
        """Spoils the pings that are lost, in place."""
        lost = self.trouble.lost
        if self.trouble.lost_as == "black":
            record[lost] = 0
        elif self.trouble.lost_as == "noise":
            noise = (self.falloff.noise * self.falloff.gain)[None]
            record[lost] = noise * self.rng.exponential(1, (int(lost.sum()), self.steps.bins)) * self.rng.uniform(0.5, 3)
        else:
            for ping in np.nonzero(lost)[0]:
                record[ping] = record[ping - 1] if ping else record[ping]


def ground_columns(nearest, slant, range_m, bin_m):
    """Where ground range is read in slant range, as columns and rows for cv2.remap."""
    columns = np.sqrt(slant[None] ** 2 + np.minimum(nearest, range_m)[:, None] ** 2) / bin_m - 0.5
    rows = np.repeat(np.arange(len(nearest), dtype=np.float32)[:, None], len(slant), 1)
    return columns.astype(np.float32), rows


def correct(values, columns, rows, between=True):
    """A record or a map of numbers by ground range."""
    if between:
        return cv2.remap(values, columns, rows, cv2.INTER_LINEAR)
    return cv2.remap(values.astype(np.float32), columns, rows, cv2.INTER_NEAREST).astype(np.int32)
