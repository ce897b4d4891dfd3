"""The labels of the things in a picture: where each one's highlight and shadow lie, and whether a person would surely see it.

Pixels throughout; a thing's pixels are its rows and columns, and a box is a dict of x, y, w and h.
"""

import cv2
import numpy as np
from scipy.ndimage import find_objects


def of_things(grey, lit, dark, water, about, overlays, corner):
    """Labels of the things in a panel.

    grey is the panel's picture, brighter = stronger; lit and dark number what answers and what is hidden, 0 = nothing; water is above 0 in
    the water column. overlays are the boxes (x0, y0, x1, y1) of what is drawn over the panel, corner is where in the picture it lies.
    """
    look = Look(grey, (lit > 0) | (dark > 0), water)
    lit_windows, dark_windows = find_objects(lit), find_objects(dark)
    labels = []
    for i in (v for k in sorted(about) for v in (2 * k - 1, 2 * k)):
        thing = about[(i + 1) // 2]
        whole = thing["kind"] == "school"  # all of its specks are it
        highlight = pixels(lit, i, lit_windows, whole)
        if highlight is None:
            continue
        shadow = pixels(dark, i, dark_windows, whole)
        labels.append(label(look, thing, highlight, shadow, overlays, corner))
    return labels


def pixels(numbers, i, windows, whole):
    """The pixels of a number, without crumbs far smaller than its largest piece unless whole; None where there is none."""
    window = windows[i - 1] if i - 1 < len(windows) else None
    if window is None:
        return None
    mask = numbers[window] == i
    count, pieces = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    if count > 2 and not whole:
        sizes = np.bincount(pieces.ravel())[1:]
        kept = np.nonzero((sizes >= 0.08 * sizes.max()) & (sizes >= 3))[0] + 1
        if len(kept):
            mask = np.isin(pieces, kept)
    rows, columns = np.nonzero(mask)
    return window[0].start + rows, window[1].start + columns


def box(at):
    rows, columns = at
    return {"x": int(columns.min()), "y": int(rows.min()), "w": int(np.ptp(columns) + 1), "h": int(np.ptp(rows) + 1)}


def thickness(at, around):
    """The largest distance of a pixel from the edge of what it belongs to."""
    mask = np.zeros((around["h"] + 2, around["w"] + 2), np.uint8)
    mask[at[0] - around["y"] + 1, at[1] - around["x"] + 1] = 1
    return float(cv2.distanceTransform(mask, cv2.DIST_L2, 3).max())


class Look:
    """A panel as an eye takes it in: smoothed as far as what is looked at is thick, against what is around it."""

    def __init__(self, grey, things, water):
        self.grey = grey
        self.things = things
        self.water = water
        self.smoothed = {}

    def smooth(self, by):
        by = round(float(np.clip(by, 0, 3)) * 2) / 2
        if by not in self.smoothed:
            self.smoothed[by] = self.grey if by == 0 else cv2.GaussianBlur(self.grey, (0, 0), by)
        return self.smoothed[by]

    def surroundings(self, at, around, grey):
        """What lies around a thing and is none, of the same of water and bottom; None where there is too little of it."""
        height, width = self.grey.shape
        reach = int(min(16 + 0.35 * max(around["w"], around["h"]), 60))
        rows = slice(max(0, around["y"] - reach), min(height, around["y"] + around["h"] + reach))
        columns = slice(max(0, around["x"] - reach), min(width, around["x"] + around["w"] + reach))
        in_water = np.median(self.water[at]) > 0.5
        values = grey[rows, columns][(~self.things[rows, columns]) & ((self.water[rows, columns] > 0) == in_water)]
        return values if len(values) > 30 else None

    def highlight(self, at, around):
        """How much brighter than its surroundings, in grey levels and in their deviations, and the share of them that its brightest pixel
        outshines when all is smoothed."""
        thick = thickness(at, around)
        grey = self.smooth((thick - 1) / 2.5)
        others = self.surroundings(at, around, grey)
        if others is None:
            return 0.0, 0.0, 0.0
        brighter = grey[at].mean() - others.mean()
        smoother = self.smooth(max(0.7, thick / 1.2))
        outshone = (self.surroundings(at, around, smoother) < smoother[at].max()).mean()
        return brighter, brighter / (others.std() + 3), float(outshone)

    def shadow(self, at, around):
        """How much darker than its surroundings, in grey levels and in their deviations."""
        grey = self.smooth((thickness(at, around) - 1) / 2.5)
        others = self.surroundings(at, around, grey)
        if others is None:
            return 0.0, 0.0
        darker = others.mean() - grey[at].mean()
        return darker, darker / (others.std() + 3)


def label(look, thing, lit, dark, overlays, corner):
    """The label of a thing, with "contrast", its highlight's and its shadow's in deviations of what is around them."""
    highlight, shadow = box(lit), None if dark is None else box(dark)
    bright = look.highlight(lit, highlight)
    deep = (0.0, 0.0) if shadow is None else look.shadow(dark, shadow)
    counts = len(lit[0]), 0 if dark is None else len(dark[0])
    sure, shadow_seen = seen(highlight, shadow, counts, bright, deep)
    if any(covers(o, highlight) for o in overlays):
        sure = False
    if shadow and not sure and counts[1] < 8:
        shadow = None
    if shadow and not (shadow_seen or (deep[1] > 0.3 and deep[0] > 5)):
        shadow = None
    out = {
        "class": thing["class"],
        "kind": thing["kind"],
        "highlight": moved(highlight, corner),
        "shadow": moved(shadow, corner),
        "height_m": thing["height_m"],
        "off_bottom_m": thing["off_bottom_m"],
        "sure": sure,
        "contrast": [round(float(bright[1]), 2), round(float(deep[1]), 2)],
    }
    if thing["class"] == "suspended-target":
        out["gap_px"] = gap(highlight, shadow)
    return out


def seen(highlight, shadow, counts, bright, deep):
    """Whether a thing is surely visible, and whether its shadow is, by rules that hold for what a person sees at a second look.

    counts are the pixels of highlight and shadow, bright and deep what Look says of them.
    """
    (lit, dark), (brighter, contrast, outshone), (darker, depth) = counts, bright, deep
    longest, narrowest = max(highlight["w"], highlight["h"]), min(highlight["w"], highlight["h"])
    large = longest >= 5 and narrowest >= 3 and lit >= 12
    lit_seen = large and contrast > 0.95 and brighter > 14 and contrast * np.sqrt(lit) > 4.5 and outshone > 0.95
    contrasts = contrast > 1.5 or (contrast > 0.5 and depth > 0.5)
    long_one = lit >= 150 and longest >= 60 and contrasts and brighter > 12 and outshone > 0.98
    strong = large and contrast > 2.1 and brighter > 24 and lit >= 20 and outshone > 0.985
    shadow_seen, strong_shadow = False, False
    if shadow:
        shadow_seen = dark >= 16 and min(shadow["w"], shadow["h"]) >= 3 and depth > 0.6 and darker > 10 and depth * np.sqrt(dark) > 4.5
        is_deep = depth > 1.8 or (depth > 1.1 and contrast > 0.3)
        strong_shadow = shadow_seen and is_deep and darker > 18 and dark >= (30 if depth > 2.4 else 60)
    sure = (
        (lit_seen and shadow_seen and contrast + depth > 2)
        or (large and shadow_seen and contrast > 1 and depth > 2 and brighter > 6)
        or strong
        or long_one
        or (strong_shadow and outshone > 0.8 and narrowest >= 2)
    )
    return bool(sure), shadow_seen


def covers(overlay, around):
    x0, y0, x1, y1 = overlay
    return x0 < around["x"] + around["w"] and x1 > around["x"] and y0 < around["y"] + around["h"] and y1 > around["y"]


def moved(around, corner):
    return around and {**around, "x": around["x"] + corner[0], "y": around["y"] + corner[1]}


def gap(highlight, shadow):
    """Columns between a highlight and its shadow, None where either isn't seen."""
    if not shadow:
        return None
    return int(max(highlight["x"] - shadow["x"] - shadow["w"], shadow["x"] - highlight["x"] - highlight["w"], 0))
