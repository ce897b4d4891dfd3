"""Things laid on the bottom, raised from it and hung over it. Every function draws one at a place: y, x in metres, levels in dB.

Class and kind are those of the labels; "other" is a post, a mound or a float.
"""

import cv2
import numpy as np


def cubic(coarse, shape):
    """A small random map drawn out to a shape."""
    return cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def rod(world, number, start, end, radius0, radius1, level):
    """A straight round bar from one (y, x, z) to another, z over the bottom. Where it stands off the bottom it is a chain of hanging
    ellipsoids, because a height map holds nothing that sound passes under."""
    (y0, x0, z0), (y1, x1, z1) = start, end
    length = np.hypot(y1 - y0, x1 - x0)
    bottom0, bottom1 = world.height_at(y0, x0), world.height_at(y1, x1)
    window = world.window((y0 + y1) / 2, (x0 + x1) / 2, max(length / 2 + 0.3, 0.3))
    if window is None:
        return
    highest = max(z0, z1)
    lies = highest < 3 * max(radius0, radius1) + 0.05
    if lies or (length > 8 * (abs(z1 - z0) + 0.01) and highest < 0.25):
        along, across = world.turned(window, y0, x0, np.arctan2(x1 - x0, y1 - y0))
        share = np.clip(along / max(length, 1e-3), 0, 1)
        radius = radius0 + (radius1 - radius0) * share
        apart = np.sqrt(across * across + (along - share * length) ** 2)
        drawn = np.maximum(radius, 0.5 * max(world.cell_m, 0.5 * world.row_m))  # thinner ones would fall between cells
        arch = np.sqrt(np.clip(drawn**2 - apart * apart, 0, None)) * radius / drawn
        top = np.where(apart < drawn, z0 + (z1 - z0) * share + arch, -1)
        world.lay(window, top.astype(np.float32), number, level, uneven=2.5)
        return
    pieces = max(2, int(np.sqrt(length * length + (z1 - z0) ** 2) / max(2.2 * max(radius0, radius1), 0.12)))
    pieces = min(pieces, 60)
    for t in (np.arange(pieces) + 0.5) / pieces:
        radius = radius0 + (radius1 - radius0) * t
        world.hang(
            number,
            y0 + (y1 - y0) * t,
            x0 + (x1 - x0) * t,
            (bottom0 + z0) * (1 - t) + (bottom1 + z1) * t,
            max(0.6 * abs(y1 - y0) / pieces, radius),
            max(0.6 * abs(x1 - x0) / pieces, radius),
            max(radius, 0.5 * abs(z1 - z0) / pieces),
            level + 2,
            0.92,
        )


def rock(world, y, x, size):
    """A rounded block with faces cut off, now and then in a hollow that the current has dug."""
    rng = world.rng
    long_m, wide_m = size * rng.uniform(0.7, 1.3), size * rng.uniform(0.7, 1.3)
    high_m = size * rng.uniform(0.5, 1.1)
    window = world.window(y, x, 1.5 * size)
    if window is None:
        return
    along, across = world.turned(window, y, x, rng.uniform(0, 3.14))
    left = 1 - np.abs(along / long_m) ** rng.uniform(1.7, 3) - np.abs(across / wide_m) ** rng.uniform(1.7, 3)
    top = high_m * np.sqrt(np.clip(left, 0, None))
    for _ in range(rng.integers(2, 8)):
        faces = rng.uniform(0, 6.28)
        slope = rng.uniform(0.1, 2.0)
        top = np.minimum(top, high_m * rng.uniform(0.5, 1.1) - slope * (along * np.cos(faces) + across * np.sin(faces)))
    top = top - 0.15 * high_m * rng.random()
    number = world.number("bottom-object", "rock", max(top.max(), 0))
    world.lay(window, top.astype(np.float32), number, rng.uniform(1, 7), uneven=2)
    if rng.random() < 0.35:
        hollow = 0.1 * size * np.exp(-(((np.sqrt(along * along + across * across) / size - 1.15) / 0.25) ** 2))
        world.height[window] -= (hollow * (world.thing[window] != number)).astype(np.float32)


def log(world, y, x):
    """A trunk, slightly bent, one end of which may be off the bottom."""
    rng = world.rng
    length = rng.uniform(1.2, 7)
    radius = rng.uniform(0.08, 0.32)
    direction = rng.uniform(0, 3.14)
    number = world.number("bottom-object", "timber", 2 * radius)
    pieces = 4
    bend = rng.normal(0, 0.08)
    lift = rng.choice([0, 0, 0, 0.3, 0.8]) * length * 0.15
    z = 0
    for k in range(pieces):
        turned = direction + bend * k
        y1, x1 = y + np.cos(turned) * length / pieces, x + np.sin(turned) * length / pieces
        z1 = lift * (k + 1) / pieces
        start, end = (y, x, z + radius * 0.6), (y1, x1, z1 + radius * 0.6)
        rod(world, number, start, end, radius * (1 - 0.1 * k), radius * (1 - 0.1 * (k + 1)), rng.uniform(1, 6))
        y, x, z = y1, x1, z1
    world.about[number]["height_m"] = round(2 * radius + lift, 2)


def tree(world, y, x):
    """A fallen tree: branches of branches, and what is left of its roots."""
    rng = world.rng
    number = world.number("bottom-object", "timber", 1.0)
    length = rng.uniform(3, 9)
    radius = rng.uniform(0.1, 0.25)
    direction = rng.uniform(0, 6.28)
    level = rng.uniform(1, 5)
    highest = branch(world, number, (y, x, radius * 0.7), direction, 0.03, length, radius, level)
    for _ in range(rng.integers(0, 5)):
        away = direction + 3.14 + rng.uniform(-1.2, 1.2)
        root = rng.uniform(0.3, 0.9)
        end = y + root * np.cos(away), x + root * np.sin(away), rng.uniform(0.1, 0.8)
        rod(world, number, (y, x, radius), end, radius * 0.6, radius * 0.2, level)
    world.about[number]["height_m"] = round(highest, 2)


def branch(world, number, start, direction, pitch, length, radius, level, depth=0):
    """Draws a branch of three pieces and the branches on it; returns how high they reach."""
    rng = world.rng
    highest = 0
    pieces = 3
    y, x, z = start
    for k in range(pieces):
        direction += rng.normal(0, 0.12)
        pitch += rng.normal(0, 0.08)
        y1 = y + np.cos(direction) * np.cos(pitch) * length / pieces
        x1 = x + np.sin(direction) * np.cos(pitch) * length / pieces
        z1 = max(0.6 * radius, z + np.sin(pitch) * length / pieces)
        rod(world, number, (y, x, z), (y1, x1, z1), radius, radius * 0.85, level)
        highest = max(highest, z1 + radius)
        y, x, z = y1, x1, z1
        radius *= 0.85
        if depth == 2:
            continue
        for _ in range(rng.integers(0, 3) + (k == pieces - 1)):
            if radius <= 0.025:
                continue
            aside = direction + rng.choice([-1, 1]) * rng.uniform(0.35, 1.1)
            up = pitch + rng.uniform(-0.05, 0.6)
            shorter, thinner = length * rng.uniform(0.3, 0.55), radius * rng.uniform(0.45, 0.7)
            highest = max(highest, branch(world, number, (y, x, z), aside, up, shorter, thinner, level, depth + 1))
    return highest


def crate(world, y, x):
    """A box that stands aslant, open on top or not."""
    rng = world.rng
    long_m, wide_m = rng.uniform(0.3, 1.3), rng.uniform(0.25, 0.9)
    high_m = rng.uniform(0.25, 1.0)
    number = world.number("bottom-object", "debris", high_m)
    window = world.window(y, x, 1.6 * max(long_m, wide_m))
    if window is None:
        return
    along, across = world.turned(window, y, x, rng.uniform(0, 3.14))
    within = (np.abs(along) < long_m) & (np.abs(across) < wide_m)
    top = high_m + rng.normal(0, 0.12) * along + rng.normal(0, 0.12) * across
    if rng.random() < 0.4:
        top = np.where((np.abs(along) < long_m - 0.08) & (np.abs(across) < wide_m - 0.08), 0.1 * high_m, top)
    top = np.where(within, top, -1).astype(np.float32)
    world.lay(window, top, number, rng.uniform(2, 8), base=np.float32(world.height_at(y, x)), uneven=1.5)


def tyre(world, y, x):
    rng = world.rng
    outer = rng.uniform(0.3, 0.65)
    radius = outer * rng.uniform(0.3, 0.4)
    number = world.number("bottom-object", "debris", 2 * radius)
    window = world.window(y, x, 1.6 * outer)
    if window is None:
        return
    along, across = world.turned(window, y, x, rng.uniform(0, 3.14))
    apart = np.sqrt(along * along + across * across) - (outer - radius)
    ring = radius * 0.7 + np.sqrt(np.clip(radius * radius - apart * apart, 0, None)) + rng.normal(0, 0.25) * along
    top = np.where(np.abs(apart) < radius, ring, -1)
    world.lay(window, top.astype(np.float32), number, rng.uniform(1, 5), uneven=1.5)


def pipe(world, y, x):
    """A pipe, or a cable, which winds more."""
    rng = world.rng
    length = rng.uniform(5, 2 * world.range_m)
    radius = rng.uniform(0.08, 0.35)
    direction = rng.uniform(0, 3.14)
    number = world.number("bottom-object", "cable" if radius < 0.12 else "pipe", 1.4 * radius)
    level = rng.uniform(0, 6)
    winding = rng.uniform(0, 0.12) if radius > 0.12 else 0.25
    for _ in range(int(length / 1.2) + 1):
        direction += rng.normal(0, winding * 0.5)
        y1, x1 = y + 1.2 * np.cos(direction), x + 1.2 * np.sin(direction)
        rng.uniform(0.2, 0.8)  # nothing uses this number, but without it a seed would give another world
        start, end = (y, x, radius * 0.3), (y1, x1, radius * 0.3)
        rod(world, number, start, end, radius, radius, level + rng.normal(0, 0.8))
        y, x = y1, x1


def anchor(world, y, x):
    """A shank with two bent arms, with a chain or without."""
    rng = world.rng
    size = rng.uniform(0.5, 1.4)
    direction = rng.uniform(0, 6.28)
    number = world.number("bottom-object", "debris", 0.5 * size)
    level = rng.uniform(4, 9)
    radius = 0.06 * size + 0.03
    cos, sin = np.cos(direction), np.sin(direction)
    end = y + 1.6 * size * cos, x + 1.6 * size * sin
    rod(world, number, (y, x, radius), (*end, 0.15 * size), radius, radius, level)
    for side in (-1, 1):
        arm = direction + side * 1.9
        elbow = end[0] + 0.5 * size * np.cos(arm), end[1] + 0.5 * size * np.sin(arm)
        rod(world, number, (*end, 0.1), (*elbow, 0.3 * size), radius * 1.3, radius, level)
        arm += side * 0.5
        tip = elbow[0] + 0.35 * size * np.cos(arm), elbow[1] + 0.35 * size * np.sin(arm), 0.45 * size
        rod(world, number, (*elbow, 0.3 * size), tip, radius * 1.6, radius * 0.6, level)
        stock = y + side * 0.5 * size * -sin, x + side * 0.5 * size * cos, radius
        rod(world, number, (y, x, radius), stock, radius, radius, level)
    if rng.random() < 0.5:
        chain(world, number, y, x, direction + 3.14, level - 3)


def chain(world, number, y, x, direction, level):
    rng = world.rng
    for _ in range(rng.integers(4, 14)):
        direction += rng.normal(0, 0.4)
        y1, x1 = y + 0.4 * np.cos(direction), x + 0.4 * np.sin(direction)
        rod(world, number, (y, x, 0.02), (y1, x1, 0.02), 0.05, 0.05, level)
        y, x = y1, x1


def ladder(world, y, x):
    """Two rails with rungs, one end lifted a little."""
    rng = world.rng
    length = rng.uniform(2.5, 9)
    half_m = rng.uniform(0.25, 0.6)
    direction = rng.uniform(0, 3.14)
    number = world.number("raised-structure", "ladder", 0.4)
    level = rng.uniform(4, 9)
    cos, sin = np.cos(direction), np.sin(direction)
    z0, z1 = 0.08, rng.uniform(0.1, 0.5)

    def at(along, across, z):
        return y + along * cos - across * sin, x + along * sin + across * cos, z

    for across in (-half_m, half_m):
        rod(world, number, at(0, across, z0), at(length, across, z1), 0.05, 0.05, level)
    for along in np.arange(0.2, length, max(0.35, 3 * world.cell_m)):
        z = z0 + (z1 - z0) * along / length
        rod(world, number, at(along, -half_m, z), at(along, half_m, z), 0.035, 0.035, level)


def wreck(world, y, x):
    """A hull, upright or keel up, more or less broken, with things around it."""
    rng = world.rng
    length = rng.uniform(3, min(20, 0.55 * world.range_m))
    beam_m = length * rng.uniform(0.13, 0.2)
    high_m = min(length * rng.uniform(0.06, 0.14), 0.6 * world.altitude_m)
    direction = rng.uniform(0, 6.28)
    number = world.number("raised-structure", "wreck", high_m)
    window = world.window(y, x, 0.75 * length)
    if window is None:
        return
    along, across = world.turned(window, y, x, direction)
    t = along / (length / 2)
    power = rng.uniform(1.8, 4)
    taper = np.where(t > 0, np.abs(t) ** power, np.abs(t) ** (power * rng.uniform(1, 3)))
    half = beam_m * np.clip(1 - taper, 0, None) * (np.abs(t) < 1)
    list_ = rng.normal(0, 0.15)
    profile = high_m * (1 + 0.35 * np.clip(t, 0, None) ** 2)
    damage = rng.uniform(0.0, 0.5)
    grid = max(2, int(length / 0.6))
    rough = cubic(rng.standard_normal((grid, grid)).astype(np.float32), along.shape)
    within = np.abs(across) < half
    if rng.random() < 0.3:
        top = profile * np.clip(1 - (across / np.maximum(half, 0.01)) ** 2, 0, None) ** 0.6
    else:
        top = open_hull(world, along, across, half, profile, length, high_m, damage, rough)
    top = top + list_ * across * (np.abs(across) < beam_m)
    top = np.where(within, np.maximum(top, 0.03), -1).astype(np.float32)
    world.lay(window, top, number, rng.uniform(2, 6), base=np.float32(world.height_at(y, x)), uneven=2.0)
    covered = world.thing[window] == number
    world.level[window][covered] += (2 * rough)[covered]
    if rng.random() < 0.4:
        mast = y + 0.5 * length * np.cos(direction + 1), x + 0.5 * length * np.sin(direction + 1), 0.2
        rod(world, number, (y, x, 0.2), mast, 0.1, 0.06, 4)
    debris_around(world, y, x, length, beam_m)


def open_hull(world, along, across, half, profile, length, high_m, damage, rough):
    """The top of an upright hull over its base, a map over its window: side walls, ribs, deckhouses, a broken end; metres."""
    rng = world.rng
    wall_m = max(0.12, 1.6 * world.cell_m)
    edge = half - np.abs(across)
    top = np.where(edge < wall_m, profile * (1 + damage * np.minimum(rough, 0) * 0.8), 0.15 * high_m + 0.05 * high_m * rough)
    spacing = rng.uniform(0.5, 1.6)
    ribs = (np.abs((along + 50) % spacing) < max(0.09, world.row_m)) & (rng.random() < 0.7)
    top = np.where((np.abs(across) < half) & ribs, np.maximum(top, profile * rng.uniform(0.3, 0.8)), top)
    for _ in range(rng.integers(0, 4)):
        middle = rng.uniform(-0.4, 0.4) * length
        house = rng.uniform(0.04, 0.12) * length
        covered = (np.abs(along - middle) < house) & (np.abs(across) < half * rng.uniform(0.5, 0.9))
        top = np.where(covered, profile * rng.uniform(0.8, 1.5) + 0.03 * rough, top)
    if rng.random() < 0.3:
        broken = rng.uniform(-0.7, 0.7) * length / 2
        top = np.where(along > broken + 0.2 * rough, top * 0.12, top)
    return top


def debris_around(world, y, x, length, beam_m):
    rng = world.rng
    for _ in range(rng.integers(0, 7)):
        direction, away = rng.uniform(0, 6.28), rng.uniform(0.5, 0.9) * length / 2 + beam_m
        at = y + away * np.cos(direction), x + away * np.sin(direction)
        if rng.random() >= 0.35:
            rock(world, *at, rng.uniform(0.15, 0.45))
        elif rng.random() < 0.2:
            crate(world, *at)
        else:
            log(world, *at)


def wall(world, y, x):
    """A long wall, slightly bent, with gaps or without."""
    rng = world.rng
    high_m = min(rng.uniform(0.6, 4.0), 0.55 * world.altitude_m)
    number = world.number("raised-structure", "wall", high_m)
    direction = rng.normal(0, 0.25) if rng.random() < 0.7 else rng.uniform(0, 3.14)
    along = (world.y - y) * np.cos(direction) + (world.x - x) * np.sin(direction)
    across = -(world.y - y) * np.sin(direction) + (world.x - x) * np.cos(direction)
    across = across + rng.normal(0, 0.3) * along * along / world.range_m / 4
    knots = np.linspace(along.min(), along.max(), 60)
    across = across + 0.12 * np.interp(along, knots, np.cumsum(rng.normal(0, 0.4, 60))).astype(np.float32)
    half_long = rng.uniform(0.15, 0.6) * world.length_m
    half_wide = rng.uniform(0.2, 0.9)
    knots = np.linspace(along.min(), along.max(), 80)
    profile = np.convolve(rng.normal(0, 1, 84), np.ones(5) / 5, "valid")
    if rng.random() < 0.5:
        profile = profile - 2.5 * (np.convolve(rng.normal(0, 1, 84), np.ones(5) / 5, "valid") > 0.5)
    top = high_m * np.clip(1 + 0.3 * np.interp(along, knots, profile), 0.03, 1.5).astype(np.float32)
    top = top * (1 - 0.08 * np.abs(np.sin(along * rng.uniform(0.5, 2))))
    top = top * np.clip((half_wide - np.abs(across)) / max(world.cell_m, 0.05), 0, 1)
    top[np.abs(along) > half_long] = -1
    top[np.abs(across) > half_wide] = -1
    world.lay((slice(None), slice(None)), top.astype(np.float32), number, rng.uniform(-2, 3), uneven=3)


def ledge(world, y, x):
    """A sharp step in the bottom. It is bottom: its echo can be the first return."""
    rng = world.rng
    high_m = min(rng.uniform(0.4, 2.2), 0.35 * world.altitude_m)
    number = world.number("raised-structure", "ridge", high_m, is_bottom=True)
    direction = rng.normal(0, 0.5)
    along = (world.y - y) * np.cos(direction) + (world.x - x) * np.sin(direction)
    across = (-(world.y - y) * np.sin(direction) + (world.x - x) * np.cos(direction)) * np.sign(x)
    across = across + rng.uniform(0.2, 0.9) * world.field(2.6, finest_m=0.3, coarsest_m=world.range_m * 0.5)
    half_long = rng.uniform(0.1, 0.35) * world.length_m
    fade = np.clip(1.3 - (along / half_long) ** 2, 0, 1)
    back_m = rng.uniform(1.5, 6)
    front = 1 / (1 + np.exp(np.clip(-(across + 0.3) / 0.12, -30, 30)))
    top = high_m * fade * np.where(across < 0, front, np.exp(-across / back_m))
    told = (across > -0.9) & (across < 0.6 * back_m) & (top > 0.12 * high_m) & (top > 0.05)
    world.height += top.astype(np.float32)
    world.thing[told & (across < 1.2)] = number
    world.level[told] += rng.uniform(0, 3)
    world.grain[told] = rng.gamma(1.3, 1 / 1.3, int(told.sum()))


def posts(world, y, x):
    """A few posts in a line."""
    rng = world.rng
    count = rng.integers(1, 6)
    direction = rng.uniform(0, 3.14)
    spacing = rng.uniform(1.5, 5)
    radius = rng.uniform(0.12, 0.35)
    for k in range(count):
        y1, x1 = y + k * spacing * np.cos(direction), x + k * spacing * np.sin(direction)
        if abs(x1) > 0.97 * world.range_m or abs(x1) < 1 or not 0 < y1 < world.length_m:
            continue
        high_m = min(rng.uniform(0.5, 3.5), 0.8 * world.altitude_m)
        number = world.number("raised-structure", "other", high_m)
        window = world.window(y1, x1, radius + 0.3)
        if window is None:
            continue
        along, across = world.turned(window, y1, x1, 0)
        top = np.where(np.hypot(along, across) < max(radius, 0.7 * world.cell_m, 0.6 * world.row_m), high_m, -1)
        world.lay(window, top.astype(np.float32), number, rng.uniform(0, 5), uneven=2)


def mound(world, y, x):
    """A heap of bottom. Its echo can be the first return."""
    rng = world.rng
    scale = min(1, world.range_m / 20)
    long_m, wide_m = scale * rng.uniform(0.8, 3), scale * rng.uniform(0.8, 3)
    high_m = min(min(long_m, wide_m) * rng.uniform(0.25, 0.6), 0.4 * world.altitude_m)
    number = world.number("raised-structure", "other", high_m, is_bottom=True)
    window = world.window(y, x, 2 * max(long_m, wide_m))
    if window is None:
        return
    along, across = world.turned(window, y, x, rng.uniform(0, 3))
    uneven = cubic(rng.standard_normal((9, 9)).astype(np.float32), along.shape)
    apart = (along / long_m) ** 2 + (across / wide_m) ** 2
    top = high_m * np.exp(-apart * 1.2) * (1 + 0.25 * uneven)
    world.height[window] += top.astype(np.float32)
    world.thing[window][top > 0.25 * high_m] = number
    world.level[window] += rng.uniform(-1, 3) * np.exp(-apart)


def body(world, y, x, z, length, number):
    """One fish as sound sees it: a few pieces along it that answer unequally."""
    rng = world.rng
    direction = rng.uniform(0, 3.14)
    along = 0.5 * length * abs(np.cos(direction)) + 0.06 * length
    across = 0.5 * length * abs(np.sin(direction)) + 0.06 * length
    level = rng.uniform(4, 13)
    pieces = 1 if length < 0.3 else int(rng.integers(2, 5))
    for k in range(pieces):
        t = (k + 0.5) / pieces - 0.5
        taper = 1 - 1.2 * abs(t)
        world.hang(
            number,
            y + t * length * np.cos(direction),
            x + t * length * np.sin(direction),
            z + rng.normal(0, 0.02),
            along / pieces * 1.1 + 0.02,
            across / pieces * 1.1 + 0.02,
            0.11 * length * taper,
            level + rng.normal(0, 3),
            0.85,
        )


def fish(world, y, x, altitude_m):
    rng = world.rng
    length = float(np.clip(rng.lognormal(-0.85, 0.4), 0.2, 1.1))
    off = rng.uniform(0.2, 1.0) if rng.random() < 0.5 else rng.uniform(0.5, max(0.6, 0.8 * altitude_m))
    number = world.number("suspended-target", "fish", 0.24 * length, off)
    body(world, y, x, world.height_at(y, x) + off, length, number)


def school(world, y, x, altitude_m):
    """Many fish close together: one thing where they are dense, else a few single ones."""
    rng = world.rng
    off = rng.uniform(0.4, max(0.5, 0.7 * altitude_m))
    spread = rng.uniform(0.6, 2.5)
    count = rng.integers(6, 70)
    dense = count / spread > 14 or rng.random() < 0.3
    length = rng.uniform(0.12, 0.4)
    number = world.number("suspended-target", "school", 0.4 * spread, off) if dense else None
    bottom = world.height_at(y, x)
    if not dense:
        count = min(count, 9)
        spread *= 1.6
    for _ in range(count):
        off_one = max(0.12, off + rng.normal(0, 0.22 * spread))
        one = number if dense else world.number("suspended-target", "fish", 0.24 * length, off_one)
        y1, x1 = y + rng.normal(0, spread), x + rng.normal(0, 0.7 * spread)
        body(world, y1, x1, bottom + off_one, length * rng.uniform(0.8, 1.25), one)


def float_(world, y, x, altitude_m):
    """A float that hangs in mid-water."""
    rng = world.rng
    off = rng.uniform(0.3, max(0.4, 0.7 * altitude_m))
    number = world.number("suspended-target", "other", 0.3, off)
    z = world.height_at(y, x) + off
    radius = rng.uniform(0.12, 0.35)
    world.hang(number, y, x, z, radius, radius, radius, rng.uniform(6, 13), 0.97)
