"""Captures and their truth as arrays: pictures stretched to a common size beside maps of what each pixel shows."""

import concurrent.futures
import json
import os
import zlib

import cv2
import numpy as np

from net import BOTTOM_PORT, BOTTOM_STARBOARD, FURNITURE, OUTSIDE, WATER_PORT, WATER_STARBOARD

# Larger than what the network sees, so that a framing drawn from it is still sharp.
ROWS, COLS = 360, 640
UNKNOWN = 255  # no say in the loss


def profile(points, rows):
    """A polyline of [row, x or null] read at every row; NaN where it is not known."""
    out = np.full(rows, np.nan, np.float32)
    at = np.arange(rows) + 0.5
    run = []

    def flush():
        if len(run) >= 2:
            r, x = np.array([p[0] for p in run], float), np.array([p[1] for p in run], float)
            inside = (at >= r[0] - 1) & (at <= r[-1] + 1)
            out[inside] = np.interp(at[inside], r, x)

    for p in points or []:
        if p[1] is None:
            flush()
            run = []
        elif run and p[0] - run[-1][0] > 24:
            flush()
            run = [p]
        else:
            run.append(p)
    flush()
    return out


def filled(v):
    """NaN rows take the nearest known row's value; all NaN stays."""
    ok = np.flatnonzero(~np.isnan(v))
    if len(ok) == 0:
        return v
    return np.interp(np.arange(len(v)), ok, v[ok]).astype(np.float32)


def class_map(label, height, width, rows=ROWS, cols=COLS):
    """The map of one capture, rows x cols, from its truth in pixels of a capture of height x width."""
    sy, sx = rows / height, cols / width
    out, inside = record_map(label, height, width, rows, cols)
    if not label.get("quad"):
        for p in label.get("panels") or []:
            if p.get("own"):
                own, within = record_map({"by": label.get("by"), "panel": p["box"], **p["own"]}, height, width, rows, cols)
                out[within == 1] = own[within == 1]
    paint_copies(out, label, sx, sy)
    paint_furniture(out, inside, label, sx, sy)
    return out


def record_map(label, height, width, rows, cols):
    """The map of one record, rows x cols, and which cells its panel covers: UNKNOWN there where neither nadir nor side is told."""
    sy, sx = rows / height, cols / width
    out = np.full((rows, cols), OUTSIDE, np.uint8)
    inside = np.zeros((rows, cols), np.uint8)
    if label.get("quad"):
        cv2.fillPoly(inside, [np.round(np.array(label["quad"], np.float32) * [sx, sy]).astype(np.int32)], 1)
    else:
        for b in [label["panel"]] if label.get("panel") else []:
            y0, y1 = round(b["y"] * sy), round((b["y"] + b["h"]) * sy)
            x0, x1 = round(b["x"] * sx), round((b["x"] + b["w"]) * sx)
            inside[y0:y1, x0:x1] = 1
    fr = label.get("first_return") or {}

    def read(points):
        v = filled(profile(points, height))
        at = np.clip(((np.arange(rows) + 0.5) / sy).astype(int), 0, height - 1)
        return v[at] * sx

    nadir, port, star = read(label.get("nadir")), read(fr.get("port")), read(fr.get("starboard"))
    side = label.get("side")
    x = np.arange(cols)[None, :] + 0.5
    n = nadir[:, None]
    if np.isnan(nadir).all():
        if side not in ("port", "starboard"):
            out[inside == 1] = UNKNOWN
            return out, inside
        n = np.full((rows, 1), cols + 1e3 if side == "port" else -1e3)
    left = x < n
    # a record that does not fill its panel yet: what it has not drawn is screen
    seen = [p[0] for p in label.get("nadir") or [] if p[1] is not None]
    if seen and label.get("by") == "scene" and not label.get("quad"):
        at = (np.arange(rows) + 0.5) / sy
        inside[(at < min(seen) - 3) | (at > max(seen) + 4)] = 0
    water_p, water_s = np.zeros_like(left), np.zeros_like(left)
    if not np.isnan(port).all():
        water_p = left & (x > port[:, None])
    if not np.isnan(star).all():
        water_s = ~left & (x < star[:, None])
    m = np.where(left, np.where(water_p, WATER_PORT, BOTTOM_PORT), np.where(water_s, WATER_STARBOARD, BOTTOM_STARBOARD))
    out[inside == 1] = m[inside == 1]
    return out, inside


def paint_copies(out, label, sx, sy):
    """Further panels show the same record once more, unless it is told what they show of their own. Panels part: along what is not the picture's border a rim stays outside."""
    main = label.get("panel")
    boxes = [main] if main and not label.get("quad") else []
    if not main:
        return

    def span(b):
        return round(b["y"] * sy), round((b["y"] + b["h"]) * sy), round(b["x"] * sx), round((b["x"] + b["w"]) * sx)

    y0, y1, x0, x1 = span(main)
    record = out[y0:y1, x0:x1].copy()
    for p in label.get("panels") or []:
        b = p["box"]
        v0, v1, u0, u1 = span(b)
        if v1 - v0 < 4 or u1 - u0 < 4 or record.size == 0:
            continue
        if label.get("quad"):
            out[v0:v1, u0:u1] = UNKNOWN  # tilted like the first, and where exactly is not told
            continue
        if not p.get("own"):
            copy = cv2.resize(record, (u1 - u0, v1 - v0), interpolation=cv2.INTER_NEAREST)
            part = out[v0:v1, u0:u1]
            part[:] = copy[: part.shape[0], : part.shape[1]]
        boxes.append(b)
    rows, cols = out.shape
    for b in boxes:
        v0, v1, u0, u1 = span(b)
        if v0 > 2:
            out[v0 : v0 + 2, u0:u1] = OUTSIDE
        if v1 < rows - 2:
            out[v1 - 2 : v1, u0:u1] = OUTSIDE
        if u0 > 2:
            out[v0:v1, u0 : u0 + 2] = OUTSIDE
        if u1 < cols - 2:
            out[v0:v1, u1 - 2 : u1] = OUTSIDE


def paint_furniture(out, inside, label, sx, sy):
    for f in label.get("furniture") or []:
        b = f["box"]
        y0, y1 = round(b["y"] * sy), round((b["y"] + b["h"]) * sy)
        x0, x1 = round(b["x"] * sx), round((b["x"] + b["w"]) * sx)
        if y1 - y0 < 2 or x1 - x0 < 2 or (label.get("quad") and f["kind"] == "line"):
            continue  # thinner than a cell: the map can't show it
        part = out[y0:y1, x0:x1]
        part[inside[y0:y1, x0:x1] == 1] = FURNITURE


def load(job):
    folder, label = job
    img = cv2.imread(os.path.join(folder, label["capture"]), cv2.IMREAD_COLOR)
    if img is None:
        return None
    if label.get("dark_is_strong"):
        img = 255 - img  # the fit knows how a picture is drawn only by what it does to it itself
    h, w = img.shape[:2]
    small = cv2.resize(img, (COLS, ROWS), interpolation=cv2.INTER_AREA if w > COLS else cv2.INTER_LINEAR)
    return cv2.cvtColor(small, cv2.COLOR_BGR2RGB), class_map(label, h, w)


def labelled(folder, labels, only=None):
    """Pictures and maps of every capture in a labels file: (n x ROWS x COLS x 3, n x ROWS x COLS), 8 bits."""
    with open(labels) as f:
        captures = [c for c in json.load(f)["captures"] if only is None or only(c)]
    with concurrent.futures.ProcessPoolExecutor() as pool:
        done = [d for d in pool.map(load, [(folder, c) for c in captures], chunksize=8) if d is not None]
    return np.stack([d[0] for d in done]), np.stack([d[1] for d in done])


# as detect/frame/tiles_test.go tells by eye: the fit knows how a picture is drawn only by what it does to it itself
DARK_IS_STRONG = {
    "left_20240429102455H_sample_3_tile_10",
    "left_20240429102455H_sample_3_tile_9",
    "left_20240429102455H_sample_2_tile_5",
    "left_20240429102455H_sample_2_tile_9",
    "left_20240429102644H_tile_1",
}


def load_tile(path):
    """A tile of bottom whose name tells its side; what lies near the nadir may be water, so nothing is said of that."""
    img = cv2.imread(path, cv2.IMREAD_COLOR)
    port = os.path.basename(path).startswith("left_")
    out = np.full((ROWS, COLS), BOTTOM_PORT if port else BOTTOM_STARBOARD, np.uint8)
    if port:
        out[:, -COLS // 3 :] = UNKNOWN
    else:
        out[:, : COLS // 3] = UNKNOWN
    drawn = np.flatnonzero(img.any(axis=(1, 2)))  # a tile at the record's end is padded with black rows
    out[int(np.ceil((drawn[-1] + 1) * ROWS / img.shape[0])) :] = OUTSIDE
    if os.path.basename(path).rsplit(".", 1)[0] in DARK_IS_STRONG:
        img = 255 - img
    return cv2.cvtColor(cv2.resize(img, (COLS, ROWS), interpolation=cv2.INTER_LINEAR), cv2.COLOR_BGR2RGB), out


def tiles(folder):
    """The first half, by name, of the 135 tiles of the open set."""
    done = [load_tile(os.path.join(folder, n)) for n in sorted(os.listdir(folder))[:68]]
    return np.stack([d[0] for d in done]), np.stack([d[1] for d in done])


def load_other(path):
    img = cv2.imread(path, cv2.IMREAD_COLOR)
    if img is None:
        return None
    return cv2.cvtColor(cv2.resize(img, (COLS, ROWS), interpolation=cv2.INTER_AREA), cv2.COLOR_BGR2RGB)


def held_out(name):
    """Every eighth package's pictures are kept out of the fit, to set the odds at which a picture is refused by them."""
    return zlib.crc32(name.split("__")[0].encode()) % 8 == 0


def others(folder):
    """Pictures that hold no side-scan, less those held out."""
    paths = sorted(os.path.join(d, n) for d, _, names in os.walk(folder) for n in names if not held_out(n))
    with concurrent.futures.ProcessPoolExecutor() as pool:
        return np.stack([p for p in pool.map(load_other, paths, chunksize=16) if p is not None])
