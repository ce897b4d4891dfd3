#!/usr/bin/python3
"""Renders side-scan captures of an invented water with their truth, by another hand than eval/scene: an outside check of the detector.

    render.py OUT [--count 60] [--empty 15] [--seed 5550123] [--prefix sco]

It writes the captures, labels.json, manifest.csv (their ranges) and scene-notes.json (what each was drawn with). The same seed gives the
same bytes on the same processor with the same versions of the libraries below; captures with letters hang on the fonts too.

Needs Debian's python3-numba, python3-scipy, python3-opencv, python3-pil and fonts-dejavu-core.
"""

import argparse
import json
import os
import sys
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d

import bottoms
import display
import echoes
import labels
import rays
import screen
import things
from world import World

SIZES = (
    (640, 512),
    (600, 500),
    (800, 600),
    (800, 520),
    (1024, 600),
    (1024, 768),
    (1280, 720),
    (1280, 800),
    (1000, 900),
    (1366, 768),
    (1600, 900),
    (1920, 1080),
    (700, 900),
    (640, 640),
    (1152, 864),
)
SIZE_SHARES = np.array([8, 4, 10, 7, 8, 10, 11, 7, 5, 6, 5, 5, 4, 6, 4]) / 100
LARGEST = 1920, 1080  # of a capture, pixels
LEAST = 500
RANGES_M = (8, 10, 12, 15, 18, 20, 25, 30, 35, 40, 50, 60)
RANGE_SHARES = (0.06, 0.1, 0.1, 0.14, 0.08, 0.14, 0.12, 0.1, 0.05, 0.06, 0.03, 0.02)
COMMON = {  # kinds of things and how often each is drawn
    "rock": 0.28,
    "log": 0.1,
    "tree": 0.08,
    "crate": 0.07,
    "tyre": 0.06,
    "pipe": 0.04,
    "anchor": 0.05,
    "ladder": 0.03,
    "posts": 0.04,
    "fish": 0.16,
    "school": 0.06,
    "float_": 0.03,
}
HANGING = ("fish", "school", "float_")


@dataclass
class Frame:
    """A capture's size and the panel in it, pixels. slots are (what, x, y, width, height) of what is around the panel."""

    width: int
    height: int
    x: int
    y: int
    panel_width: int
    panel_height: int
    furnished: bool
    slots: list

    @property
    def size(self):
        """The panel's width and height, as OpenCV wants them."""
        return self.panel_width, self.panel_height

    @property
    def panel(self):
        """The panel's rows and columns in the picture."""
        return slice(self.y, self.y + self.panel_height), slice(self.x, self.x + self.panel_width)

    def scaled(self, scale):
        """Moves the panel to where it is in the picture at another size."""
        x1, y1 = int(round((self.x + self.panel_width) * scale)), int(round((self.y + self.panel_height) * scale))
        self.x, self.y = int(round(self.x * scale)), int(round(self.y * scale))
        self.panel_width, self.panel_height = x1 - self.x, y1 - self.y


def draw_frame(rng):
    furnished = rng.random() < 0.42
    width, height = SIZES[rng.choice(15, p=SIZE_SHARES)]
    if not furnished and rng.random() < 0.6:
        width, height = int(rng.integers(600, 1400)), int(rng.integers(500, 1000))
    frame = Frame(width, height, 0, 0, width, height, furnished, [])
    if furnished:
        draw_slots(rng, frame)
    return frame


def draw_slots(rng, frame):
    """Cuts bars, a chart, a record straight down and a scale off the panel."""
    slots = frame.slots
    if rng.random() < 0.5:
        high = int(rng.integers(22, 64))
        slots.append(("top", 0, 0, frame.width, high))
        frame.y += high
        frame.panel_height -= high
    if rng.random() < 0.45:
        high = int(rng.integers(20, 50))
        slots.append(("bottom", 0, frame.height - high, frame.width, high))
        frame.panel_height -= high
    if rng.random() < 0.45 and frame.width >= 800:
        wide = int(frame.panel_width * rng.uniform(0.16, 0.42))
        what = "chart" if rng.random() < 0.5 else "down"
        if rng.random() < 0.5:
            slots.append((what, frame.x, frame.y, wide, frame.panel_height))
            frame.x += wide
        else:
            slots.append((what, frame.x + frame.panel_width - wide, frame.y, wide, frame.panel_height))
        frame.panel_width -= wide
    elif rng.random() < 0.3:
        high = int(frame.panel_height * rng.uniform(0.15, 0.3))
        slots.append(("down", frame.x, frame.y + frame.panel_height - high, frame.panel_width, high))
        frame.panel_height -= high
    if rng.random() < 0.35:
        slots.append(("scale", frame.x, frame.y, frame.panel_width, 22))
        frame.y += 22
        frame.panel_height -= 22
    if rng.random() < 0.2:
        margin = int(rng.integers(2, 12))
        frame.x += margin
        frame.y += margin
        frame.panel_width -= 2 * margin
        frame.panel_height -= 2 * margin


@dataclass
class View:
    """What of the swath a panel shows: from left to right in ranges, -1 the port edge, 1 the starboard edge."""

    kind: str  # full, side, crop, or farcrop, which lacks the nadir
    by_ground: bool  # slant-corrected
    range_m: float
    altitude_m: float
    left: float = -1.0
    right: float = 1.0

    @property
    def side(self):
        """The one side shown of a view that shows one."""
        return "starboard" if self.right > 0.01 else "port"


def draw_view(rng):
    kind = rng.choice(["full", "side", "crop", "farcrop"], p=[0.66, 0.17, 0.12, 0.05])
    by_ground = bool(kind in ("full", "side") and rng.random() < 0.06)
    range_m = float(rng.choice(RANGES_M, p=RANGE_SHARES))
    water = rng.choice([rng.uniform(0.05, 0.15), rng.uniform(0.1, 0.3), rng.uniform(0.25, 0.5)], p=[0.3, 0.5, 0.2])
    altitude_m = min(float(np.clip(water * range_m, 1.8, 15)), 0.56 * range_m)
    view = View(str(kind), by_ground, range_m, altitude_m)
    if kind == "side":
        view.left, view.right = (0.0, 1.0) if rng.random() < 0.5 else (-1.0, 0.0)
    elif kind == "crop":
        left, right = -rng.uniform(0.3, 1), rng.uniform(0.3, 1)
        view.left, view.right = (-1, right) if rng.random() < 0.5 else (left, 1)
    elif kind == "farcrop":
        nearest = rng.uniform(0.2, 0.5)
        view.left, view.right = (-1.0, -nearest) if rng.random() < 0.5 else (nearest, 1.0)
    return view


@dataclass
class Course:
    """The boat's course: a number a ping of yaw (radians), way made (1 = even), y (metres), and, once the bottom is there, height over the
    world's 0 and how far it is off the line, metres. Pings go from the oldest."""

    steps: rays.Steps
    cells: int  # of the map on each side
    pings: int
    yaw: np.ndarray
    way: np.ndarray
    y: np.ndarray
    length_m: float
    height: np.ndarray = None
    sway: np.ndarray = None


def draw_course(rng, frame, view):
    across = float(np.exp(rng.uniform(np.log(0.5), np.log(2.3))))  # pixels a bin
    along = float(np.exp(rng.uniform(np.log(0.55), np.log(2.3))))  # pixels a ping
    if rng.random() < 0.25:
        along = across
    bins = int(np.clip(frame.panel_width / ((view.right - view.left) * across), 220, 820))
    pings = int(np.clip(frame.panel_height / along, 220, 900))
    bin_m = view.range_m / bins
    cell_m = bin_m * 0.8
    row_m = bin_m * float(np.exp(rng.uniform(np.log(0.6), np.log(2.2))))
    yaw = np.radians(echoes.wander(rng, pings, rng.uniform(15, 120), rng.choice([0.2, 0.6, 1.5, 3.0])))
    yaw = np.clip(yaw + np.radians(rng.normal(0, 0.5)), -0.12, 0.12)
    way = np.clip(1 + echoes.wander(rng, pings, rng.uniform(30, 150), rng.choice([0.02, 0.1, 0.25])), 0.35, 1.9)
    margin = 0.13 * view.range_m
    y = margin + np.cumsum(way) * row_m
    steps = rays.Steps(cell_m, row_m, bin_m, bins)
    return Course(steps, int(view.range_m * 1.02 / cell_m), pings, yaw, way, y, y[-1] + margin)


def heave(rng, course, world, view):
    """Sets how high the boat runs over a world, and clear of its bottom."""
    pings, altitude_m = course.pings, view.altitude_m
    height = altitude_m + echoes.wander(rng, pings, rng.uniform(60, 250), altitude_m * rng.choice([0.02, 0.06, 0.15]))
    height = height + echoes.wander(rng, pings, rng.uniform(5, 16), rng.choice([0, 0.01, 0.03]))
    course.sway = echoes.wander(rng, pings, 100, 0.1)
    middle = world.cells // 2
    below = gaussian_filter1d(world.height[:, middle - 3 : middle + 3].mean(1), 25)
    below = np.interp(course.y, np.arange(world.rows) * world.row_m, below)
    course.height = gaussian_filter1d(np.maximum(height, below + max(0.35 * altitude_m, 1.5)), 1)


class Places:
    """Draws places that a view shows."""

    def __init__(self, rng, view, course, length_m):
        self.rng = rng
        self.view = view
        self.first_y = course.y[0] + 0.02 * length_m
        self.last_y = course.y[-1] - 0.02 * length_m

    def draw(self):
        """y and x, metres."""
        for _ in range(60):
            side = self.rng.choice([-1, 1])
            x = side * self.rng.uniform(0.08, 0.93)
            if self.view.left < x < self.view.right:
                break
        return self.rng.uniform(self.first_y, self.last_y), x * self.view.range_m


def fill(rng, world, view, course):
    """Lays things on the bottom and hangs some over it."""
    places = Places(rng, view, course, course.length_m)
    count = int(np.clip(rng.poisson(rng.choice([2, 3, 5, 8])), 1, 14))
    if rng.random() < 0.1:
        things.mound(world, *places.draw())
    if rng.random() < 0.12:
        things.ledge(world, *places.draw())
    world.plain = world.height.copy()
    large = [draw for draw, chance in ((things.wreck, 0.2), (things.wall, 0.12)) if rng.random() < chance]
    for draw in large:
        y, x = places.draw()
        x = np.sign(x) * max(abs(x), 0.35 * view.range_m, view.altitude_m * 0.8)
        draw(world, y, x)
    if rng.random() < 0.13:
        rock_field(rng, world, view, *places.draw())
    shares = np.array(list(COMMON.values()))
    for _ in range(count):
        kind = rng.choice(list(COMMON), p=shares / shares.sum())
        common(rng, world, view, kind, *places.draw())


def rock_field(rng, world, view, y, x):
    spread = rng.uniform(0.1, 0.25) * view.range_m
    for _ in range(int(rng.integers(8, 45))):
        at = y + rng.normal(0, spread), x + rng.normal(0, 0.6 * spread)
        size = float(np.clip(rng.lognormal(-1.2, 0.5), 0.12, 1.2)) * (view.range_m / 20) ** 0.5
        things.rock(world, *at, min(size, 0.3 * view.altitude_m))


def common(rng, world, view, kind, y, x):
    """Draws a thing of a kind; of fish, up to three."""
    draw = getattr(things, kind)
    if kind == "rock":
        size = float(np.clip(rng.lognormal(-1.0, 0.5), 0.15, 1.6)) * (view.range_m / 20) ** 0.6
        draw(world, y, x, min(size, 0.3 * view.altitude_m))
        return
    if kind not in HANGING:
        draw(world, y, x)
        return
    if rng.random() < 0.5:
        x = np.sign(x) * min(abs(x), rng.uniform(0.15, 0.5) * view.range_m)
    for k in range(int(rng.integers(1, 4)) if kind == "fish" else 1):
        one_y = float(np.clip(y + rng.normal(0, 1.5) * (k > 0), 0, world.length_m))
        draw(world, one_y, x + rng.normal(0, 1.5) * (k > 0), min(view.altitude_m, 8))


def sound(world, course, sonar):
    """The echoes of both sides, port and starboard."""
    steps = course.steps
    strength = (10 ** (world.level / 10) * np.clip(world.grain, 0.02, 60)).astype(np.float32)
    thing = world.thing.astype(np.float32)
    bodies = rays.stacked(world.bodies)
    is_bottom = np.array(world.is_bottom)
    skew = np.tan(course.yaw)
    track = rays.Course(course.height, course.y, skew)
    away = ((np.arange(course.cells) + 0.5) * steps.cell).astype(np.float32)
    out = {}
    for name, side in (("port", -1), ("starboard", 1)):
        x = side * away[None] + course.sway[:, None]
        y = course.y[:, None] + side * away[None] * skew[:, None]
        columns = ((x - world.x0) / steps.cell - 0.5).astype(np.float32)
        rows = (y / steps.row).astype(np.float32)

        def read(values, how=cv2.INTER_LINEAR):
            return cv2.remap(values, columns, rows, how, borderMode=cv2.BORDER_REPLICATE)

        numbers = read(thing, cv2.INTER_NEAREST).astype(np.int32)
        out[name] = rays.cast(read(world.height), read(strength), numbers, is_bottom, track, side, steps, sonar.beam, bodies)
    return out


def lowered(world, view):
    """Moves a bottom so that it is at 0 below the boat, and keeps it from rising too far or falling away."""
    world.height -= np.median(world.height[:, world.cells // 2])
    world.height = np.clip(world.height, -3 * view.altitude_m, 0.72 * view.altitude_m)


@dataclass
class Record:
    """A survey's record, pings x bins of both sides, the newest ping on top, and its truth: what lies where, and where water is."""

    echoes: np.ndarray
    lit: np.ndarray
    dark: np.ndarray
    water: np.ndarray
    nearest: dict  # slant range of bottom by side, a number a ping from the oldest; 0 where the record is slant-corrected
    depth_m: float
    trouble: echoes.Trouble
    snr: float


def record(rng, world, view, course, sonar):
    steps = course.steps
    cast = sound(world, course, sonar)
    falloff = echoes.draw_falloff(rng, sonar, steps, course.cells, view.altitude_m, view.range_m)
    trouble = echoes.draw_trouble(rng, course.pings)
    plain, lit, dark = {}, {}, {}
    for name, side in cast.items():
        if world.about:
            plain[name], lit[name], dark[name] = echoes.truth(side, sonar, steps, falloff.noise, int(name == "port"))
        else:
            plain[name] = echoes.blur_along(side.all, sonar.footprint, steps)
            lit[name] = dark[name] = np.zeros(side.all.shape, np.int32)
    receiver = echoes.Receiver(rng, steps, falloff, trouble, view.altitude_m, view.range_m)
    both = {name: receiver.record(plain[name], plain[other]) for name, other in (("port", "starboard"), ("starboard", "port"))}
    for side in both.values():
        receiver.lose(side)
    nearest = {name: np.minimum(side.nearest, 1e6) for name, side in cast.items()}
    water = {name: receiver.slant[None] < nearest[name][:, None] for name in cast}
    depth_m = min(cast["port"].nearest[-1], cast["starboard"].nearest[-1])
    if view.by_ground:
        for name in both:
            columns, rows = echoes.ground_columns(nearest[name], receiver.slant, view.range_m, steps.bin)
            both[name] = echoes.correct(both[name], columns, rows)
            lit[name], dark[name] = (echoes.correct(v, columns, rows, between=False) for v in (lit[name], dark[name]))
            water[name] = np.zeros_like(water[name])
            nearest[name] = np.zeros(course.pings)
    first, last = shown_bins(view, steps)
    maps = (joined(sides)[:, first:last] for sides in (both, lit, dark, water))
    return Record(*(np.ascontiguousarray(m) for m in maps), nearest, depth_m, trouble, falloff.snr)


def joined(sides):
    """Both sides beside each other as a display has them."""
    return np.hstack([sides["port"][:, ::-1], sides["starboard"]])[::-1]


def shown_bins(view, steps):
    """The bins of both sides, counted from the port edge, that a view shows."""
    return int(round(steps.bins + view.left * steps.bins)), int(round(steps.bins + view.right * steps.bins))


@dataclass
class Shown:
    """What a screen tells of a survey."""

    range_m: float
    left: float
    right: float
    depth_m: float
    altitude_m: float
    heights_m: np.ndarray
    speed_kn: float
    palette: np.ndarray


def make(seed, empty, faces):
    """A capture: its picture, its bytes where it is a JPEG, its label and its notes."""
    rng = np.random.default_rng(seed)
    frame = draw_frame(rng)
    view = draw_view(rng)
    course = draw_course(rng, frame, view)
    steps = course.steps
    world = World(rng, course.length_m, view.range_m, steps.row, steps.cell, view.altitude_m)
    kind = bottoms.draw_kind(rng)
    bottoms.lay_bottom(world, kind, empty)
    lowered(world, view)
    heave(rng, course, world, view)
    if not empty:
        fill(rng, world, view, course)
    sonar = echoes.draw_sonar(rng)
    heard = record(rng, world, view, course, sonar)
    counts = (~heard.water) & (~heard.trouble.lost[::-1][:, None])
    panel, resize = display.resized(rng, display.tones(rng, heard.echoes, counts), frame.size)
    maps = [display.resized_numbers(m, frame.size) for m in (heard.lit, heard.dark, heard.water)]
    palette, palette_name = display.draw_palette(rng)
    speed_kn = float(rng.uniform(1, 4.5))
    shown = Shown(
        view.range_m, view.left, view.right, heard.depth_m, view.altitude_m, course.height, speed_kn, palette
    )
    picture, over = compose(rng, frame, palette[np.clip(panel * 255, 0, 255).astype(np.uint8)], shown, faces)
    picture, maps, over, scale = resize_capture(rng, frame, picture, maps, over)
    quality = int(rng.integers(60, 96)) if rng.random() < 0.65 else 0
    data = None
    if quality:
        _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        picture = cv2.imdecode(data, 1)
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
    inverted = palette_name == "inv"
    if inverted:
        grey = 255 - grey
    corner = frame.x, frame.y
    over = [(x0 - frame.x, y0 - frame.y, x1 - frame.x, y1 - frame.y) for x0, y0, x1, y1 in over]
    marks = labels.of_things(grey[frame.panel], *maps, world.about, over, corner)
    label = {**lines(frame, view, course, heard), "marks": marks}
    first, last = shown_bins(view, steps)
    across, along = frame.panel_width / (last - first), frame.panel_height / course.pings
    notes = {
        "seed": seed,
        "view": view.kind,
        "bottom": kind,
        "palette": palette_name,
        "resize": resize,
        "scale": [round(across * scale, 2), round(along * scale, 2)],
        "jpeg": quality,
        "h0": round(view.altitude_m, 2),
        "m_per_px": [round(steps.bin / across, 4), round(steps.row / along, 4)],
        "ground": view.by_ground,
        "furniture": frame.furnished,
        "inverted": inverted,
        "beam_deg": round(float(np.degrees(sonar.opening)), 2),
        "looks": float(heard.trouble.looks),
        "snr_db": round(10 * np.log10(heard.snr), 1),
        "lost": heard.trouble.lost_as,
    }
    return picture, data, label, notes


def compose(rng, frame, panel, shown, faces):
    """The whole screen with a panel's picture in it, and the boxes (x0, y0, x1, y1) of what is written over that."""
    picture = np.zeros((frame.height, frame.width, 3), np.uint8)
    over = []
    if frame.furnished:
        around = screen.Screen(rng, picture, shown, faces)
        around.furnish(frame.slots)
        picture = around.picture()
    picture[frame.panel] = panel
    if frame.furnished:
        above = screen.Screen(rng, picture, shown, faces)
        over = above.write_over(frame.x, frame.y, frame.panel_width, frame.panel_height)
        picture = above.picture()
    return picture, over


def resize_capture(rng, frame, picture, maps, over):
    """Now and then the whole capture at another size, with all that is told of it; returns the scale too."""
    if rng.random() >= 0.25:
        return picture, maps, over, 1.0
    scale = rng.uniform(0.75, 1.35)
    if min(frame.width, frame.height) * scale < LEAST:
        scale = LEAST / min(frame.width, frame.height)
    if frame.width * scale > LARGEST[0] or frame.height * scale > LARGEST[1]:
        scale = min(LARGEST[0] / frame.width, LARGEST[1] / frame.height)
    picture = screen.scaled(picture, scale)
    frame.scaled(scale)
    maps = [display.resized_numbers(m, frame.size) for m in maps]
    return picture, maps, [tuple(v * scale for v in box) for box in over], scale


def lines(frame, view, course, heard):
    """The label of a capture but for its marks: panel, nadir and first return every 8 rows, and which rows are lost."""
    steps = course.steps
    first, last = shown_bins(view, steps)
    across, along = frame.panel_width / (last - first), frame.panel_height / course.pings
    nadir = (steps.bins - first) * across + frame.x
    right = frame.x + frame.panel_width
    rows = list(range(frame.y, frame.y + frame.panel_height, 8))
    trouble = heard.trouble
    out = {"by": "scene", "range_m": view.range_m}
    out["panel"] = {"x": frame.x, "y": frame.y, "w": frame.panel_width, "h": frame.panel_height}
    out["nadir"] = [[y, round(nadir, 1)] for y in rows] if frame.x - 0.01 <= nadir <= right + 0.01 else []
    if view.kind in ("side", "farcrop"):
        out["side"] = view.side
    out["first_return"] = {}
    for name, side in (("port", -1), ("starboard", 1)):
        out["first_return"][name] = line = []
        for y in rows:
            ping = course.pings - 1 - int(np.clip((y + 0.5 - frame.y) / along, 0, course.pings - 1))
            if trouble.lost[ping] and trouble.lost_as != "repeat":
                continue
            x = nadir + side * heard.nearest[name][ping] / steps.bin * across
            if frame.x <= x <= right:
                line.append([y, round(float(x), 1)])
    if view.kind == "side":
        out["first_return"]["port" if view.side == "starboard" else "starboard"] = []
    if trouble.lost_as != "repeat" and trouble.lost.any():
        edges = np.diff(np.r_[0, trouble.lost[::-1].astype(int), 0])
        stretches = zip(np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0])
        out["lost_rows"] = [[int(frame.y + a * along), int(np.ceil(frame.y + b * along))] for a, b in stretches]
    return out


def write(out, captures, notes):
    """Writes labels.json, a line a capture, the manifest and the notes."""
    with open(os.path.join(out, "labels.json"), "w") as f:
        body = ",\n".join(json.dumps(c, separators=(",", ":")) for c in captures)
        f.write('{"schema":1,"captures":[\n' + body + "\n]}\n")
    with open(os.path.join(out, "manifest.csv"), "w") as f:
        f.write("capture,range\n" + "".join(f"{c['capture']},{c['range_m']:g} m\n" for c in captures))
    with open(os.path.join(out, "scene-notes.json"), "w") as f:
        json.dump(notes, f, indent=0)


def render(out, count, empty, seed, prefix, faces):
    """Renders captures into a folder, so many of them of bottom without things."""
    os.makedirs(out, exist_ok=True)
    rng = np.random.default_rng(seed)
    is_empty = np.zeros(count, bool)
    is_empty[rng.permutation(count)[:empty]] = True
    seeds = rng.integers(1, 2**40, count)
    captures, notes = [], []
    for k in range(count):
        picture, data, label, note = make(int(seeds[k]), bool(is_empty[k]), faces)
        name = f"{prefix}{k:03d}." + ("png" if data is None else "jpg")
        path = os.path.join(out, name)
        if data is None:
            cv2.imwrite(path, picture)
        else:
            data.tofile(path)
        note["contrasts"] = [m.pop("contrast") for m in label["marks"]]
        captures.append({"capture": name, **label})
        notes.append({**note, "capture": name, "empty": bool(is_empty[k])})
        if sys.stderr.isatty():
            print(f"\r{k + 1} of {count} captures rendered", end="\n" if k + 1 == count else "", file=sys.stderr, flush=True)
    write(out, captures, notes)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("out", help="folder of the captures")
    parser.add_argument("--count", type=int, default=60, help="captures (default 60)")
    parser.add_argument("--empty", type=int, default=15, help="how many of them hold no thing (default 15)")
    parser.add_argument("--seed", type=int, default=5550123)
    parser.add_argument("--prefix", default="sco", help="what names of captures begin with")
    args = parser.parse_args()
    if args.count < 1 or not 0 <= args.empty <= args.count or args.seed < 0:
        parser.error("at least one capture, no more empty ones than captures, and no negative seed")
    cv2.setNumThreads(1)
    try:
        render(args.out, args.count, args.empty, args.seed, args.prefix, screen.typefaces())
    except OSError as e:
        sys.exit(f"render: {e}")
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
