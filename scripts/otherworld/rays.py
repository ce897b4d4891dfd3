"""What comes back of one ping after another: rays from the transducer outward over a height map, past ellipsoids that hang in the water.

Compiled with fast floating point, so that another processor or another Numba may round the last digit of an echo differently.
"""

import math
from collections import namedtuple

import numba
import numpy as np

compiled = numba.njit(cache=True, fastmath=True)

# How strongly what a ray meets answers: a mirror-like part of a width (radians) beside one by the power of the cosine; the beam's middle
# below the horizon and its width (radians), its floor, and the power of range by which echoes fade.
Beam = namedtuple("Beam", "mirror mirror_width facing tilt width floor fading")

# The transducer's course, a number a ping: height over the map's 0 and y, metres, and how far y grows with x, as the boat yaws.
Course = namedtuple("Course", "height y skew")

# Hanging ellipsoids, a number each: middle and half axes (metres), strength, opacity 0 to 1, and the thing they belong to.
Bodies = namedtuple("Bodies", "x y z along across high strength opacity thing")

# Sizes, metres: of a cell of the map, from ping to ping, of a bin of slant range; and how many bins.
Steps = namedtuple("Steps", "cell row bin bins")

# What comes back, pings x bins: echoes in all and of things, the number of the thing that answers most; how much of a bin is hidden and how
# much is seen, and by what it is hidden. nearest: the least slant range of bottom, metres, a ping.
Echoes = namedtuple("Echoes", "all of_things thing hidden seen hider nearest")


def stacked(bodies):
    """Bodies of a list of tuples."""
    columns = list(zip(*bodies)) if bodies else [[] for _ in Bodies._fields]
    arrays = [np.array(c, np.float64) for c in columns]
    return Bodies(*arrays[:-1], arrays[-1].astype(np.int32))


def cast(height, strength, thing, is_bottom, course, side, steps, beam, bodies):
    """The echoes of one side of the boat (-1 port, 1 starboard) from maps of pings x cells outward from the track."""
    return Echoes(*cast_all(height, strength, thing, is_bottom, course, float(side), steps, beam, bodies))


@compiled
def spread(out, ping, near, far, amount, steps):
    """Spreads an amount evenly over slant ranges."""
    if far - near < 1e-4:
        far = near + 1e-4
    bin0 = int(near / steps.bin)
    bin1 = int(far / steps.bin)
    if bin0 >= steps.bins:
        return
    share = amount / (far - near)
    for b in range(bin0, min(bin1, steps.bins - 1) + 1):
        low = max(near, b * steps.bin)
        high = min(far, (b + 1) * steps.bin)
        if high > low:
            out[ping, b] += share * (high - low)


@compiled
def gain(below, x, beam):
    """How strongly the beam meets what lies so far below the transducer and so far from it, 0 to 1."""
    angle = math.atan2(below, x)
    return beam.floor + (1 - beam.floor) * math.exp(-0.5 * ((angle - beam.tilt) / beam.width) ** 2)


@compiled
def note(strongest, thing, ping, bin0, bin1, echo, number):
    """Writes a thing's number where its echo is the strongest so far."""
    for b in range(bin0, bin1):
        if echo >= strongest[ping, b]:
            strongest[ping, b] = echo
            thing[ping, b] = number


@compiled
def meet(ping, height, course, side, bodies, which, low, high, away):
    """Which bodies a ping meets, between which slopes of ray, and how far from the track; returns how many."""
    n = 0
    for k in range(bodies.x.shape[0]):
        if bodies.x[k] * side <= 0.05:
            continue
        x = bodies.x[k] * side
        off = (course.y[ping] + bodies.x[k] * course.skew[ping] - bodies.y[k]) / bodies.along[k]
        if abs(off) >= 1:
            continue
        cut = math.sqrt(1 - off * off)
        slope = (bodies.z[k] - height) / x
        half = math.sqrt(bodies.high[k] ** 2 + (slope * bodies.across[k]) ** 2) * cut / x
        which[n] = k
        low[n] = slope - half
        high[n] = slope + half
        away[n] = x
        n += 1
    return n


@compiled
def cast_all(height, strength, thing, is_bottom, course, side, steps, beam, bodies):
    pings, cells = height.shape
    shape = (pings, steps.bins)
    echoes = np.zeros(shape, np.float32)
    of_things = np.zeros(shape, np.float32)
    answers = np.zeros(shape, np.int32)
    strongest = np.zeros(shape, np.float32)
    hidden = np.zeros(shape, np.float32)
    seen = np.zeros(shape, np.float32)
    hider = np.zeros(shape, np.int32)
    nearest = np.full(pings, 1e9, np.float32)
    count = bodies.x.shape[0]
    which = np.zeros(count, np.int64)
    low = np.zeros(count)
    high = np.zeros(count)
    away = np.zeros(count)
    done = np.zeros(count, np.uint8)
    for p in range(pings):
        h = course.height[p]
        n = meet(p, h, course, side, bodies, which, low, high, away)
        done[:n] = 0
        horizon = -1e9  # the steepest slope of ray that something met so far
        hiding = 0
        z_before = height[p, 0]
        range_before = max(h - z_before, 0.05)
        above = max(p - 1, 0)
        below = min(p + 1, pings - 1)
        for j in range(cells):
            x = (j + 0.5) * steps.cell
            z = height[p, j]
            rise = z - z_before
            down = h - z
            slant = math.sqrt(x * x + down * down)
            slope = -down / x
            near = min(slant, range_before)
            far = max(slant, range_before)
            bin0 = int(near / steps.bin)
            bin1 = min(int(far / steps.bin), steps.bins - 1) + 1
            for q in range(n):
                if done[q] or x < away[q]:
                    continue
                done[q] = 1
                if high[q] <= horizon:
                    continue
                k = which[q]
                middle = math.sqrt(away[q] ** 2 + (h - bodies.z[k]) ** 2)
                half = (high[q] - low[q]) * 0.5 * away[q]
                reach = max(bodies.across[k] * away[q] / middle * 0.7, 0.4 * steps.bin)
                echo = bodies.strength[k] * 2 * half * steps.row * 0.5 / middle**beam.fading
                echo *= gain(h - bodies.z[k], away[q], beam)
                spread(echoes, p, middle - reach, middle + reach, echo, steps)
                spread(of_things, p, middle - reach, middle + reach, echo, steps)
                b = int(middle / steps.bin)
                w = int(reach / steps.bin)
                note(strongest, answers, p, max(0, b - w), min(steps.bins, b + w + 1), echo, bodies.thing[k])
            number = thing[p, j]
            if slope >= horizon - 1e-4:
                if slope > horizon:
                    horizon = slope
                    hiding = number
                through = 1.0
                before = 0
                for q in range(n):
                    if x > away[q] and slope > low[q] and slope < high[q]:
                        through *= 1 - bodies.opacity[which[q]]
                        before = bodies.thing[which[q]]
                across = rise / steps.cell if j > 0 else 0.0
                along = min(max((height[below, j] - height[above, j]) / (2 * steps.row), -4.0), 4.0)
                area = math.sqrt(1 + across * across + along * along)
                facing = (across * x + down) / (slant * area)
                if facing > 0:
                    facing = min(facing, 1.0)
                    aslant = 2 * (1 - facing)
                    mirrored = beam.mirror * math.exp(-aslant / (2 * beam.mirror_width * beam.mirror_width))
                    echo = strength[p, j] * (facing**beam.facing + mirrored) * steps.cell * steps.row * min(area, 60.0)
                    echo = echo * gain(down, x, beam) * through / slant**beam.fading
                    spread(echoes, p, near, far, echo, steps)
                    if number > 0:
                        spread(of_things, p, near, far, echo, steps)
                        note(strongest, answers, p, bin0, bin1, echo, number)
                spread(seen, p, near, far, (far - near) / steps.bin * through, steps)
                if through < 0.999:
                    spread(hidden, p, near, far, (far - near) / steps.bin * (1 - through), steps)
                    if 1 - through > 0.3:
                        hider[p, bin0:bin1] = before
                if (number == 0 or is_bottom[number]) and slant < nearest[p]:
                    nearest[p] = slant
            elif hiding > 0:
                spread(hidden, p, near, far, (far - near) / steps.bin, steps)
                hider[p, bin0:bin1] = hiding
            else:
                spread(seen, p, near, far, (far - near) / steps.bin, steps)
            z_before = z
            range_before = slant
    return echoes, of_things, answers, hidden, seen, hider, nearest
