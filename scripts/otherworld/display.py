"""How a record is shown: its tones, its size on the screen and its colours."""

import cv2
import numpy as np

PALETTES = ("grey", "copper", "inferno", "magma", "viridis", "cividis", "plasma", "bone", "green", "inv", "sepia2", "hot")
PALETTE_SHARES = (0.3, 0.24, 0.08, 0.05, 0.05, 0.03, 0.03, 0.06, 0.04, 0.03, 0.05, 0.04)
SCIENTIFIC = {
    "inferno": cv2.COLORMAP_INFERNO,
    "magma": cv2.COLORMAP_MAGMA,
    "viridis": cv2.COLORMAP_VIRIDIS,
    "cividis": cv2.COLORMAP_CIVIDIS,
    "plasma": cv2.COLORMAP_PLASMA,
}
RESIZES = {
    "area": cv2.INTER_AREA,
    "linear": cv2.INTER_LINEAR,
    "cubic": cv2.INTER_CUBIC,
    "nearest": cv2.INTER_NEAREST,
    "lanczos": cv2.INTER_LANCZOS4,
}
RESIZE_SHARES = (0.3, 0.3, 0.2, 0.13, 0.07)


def draw_palette(rng):
    """A table of 256 x 3 bytes (blue, green, red) and its name; "inv" shows strong echoes dark."""
    name = str(rng.choice(PALETTES, p=PALETTE_SHARES))
    grey = np.arange(256) / 255.0
    if name in SCIENTIFIC:
        return cv2.applyColorMap(np.arange(256, dtype=np.uint8)[:, None], SCIENTIFIC[name])[:, 0], name
    red, green, blue = colours(rng, name, grey)
    return np.clip(np.stack([blue, green, red], 1) * 255 + 0.5, 0, 255).astype(np.uint8), name


def colours(rng, name, grey):
    """Red, green and blue, 0 to 1, of a palette of our own."""
    if name == "grey":
        return grey, grey, grey
    if name == "inv":
        return 1 - grey, 1 - grey, 1 - grey
    if name == "copper":
        red = np.clip(grey * rng.uniform(1.2, 1.9), 0, 1)
        green = np.clip(grey ** rng.uniform(0.9, 1.3) * rng.uniform(0.65, 0.9), 0, 1)
        return red, green, np.clip((grey - rng.uniform(0, 0.6)) * rng.uniform(0.3, 1), 0, 1)
    if name == "hot":
        return np.clip(2.4 * grey, 0, 1), np.clip(2.2 * grey - 0.7, 0, 1), np.clip(3.5 * grey - 2.5, 0, 1)
    if name == "bone":
        return grey**1.25, grey**1.05, np.clip(grey**0.8 + 0.04 * (grey > 0), 0, 1)
    if name == "green":
        return np.clip(1.6 * grey - 0.6, 0, 1), grey**0.9, np.clip(1.2 * grey - 0.5, 0, 1)
    return (
        np.clip(1.1 * grey + 0.03, 0, 1),
        np.clip(0.95 * grey**1.1 + 0.02, 0, 1),
        np.clip(0.75 * grey**1.35 + 0.02, 0, 1),
    )


def tones(rng, record, counts):
    """A record (rows x columns) as tones of about 0 to 1. Those of plain bottom come from where counts holds."""
    median = np.median(record[counts][::5]) if counts.any() else np.median(record)
    power = rng.uniform(0.28, 0.6)
    middle = rng.uniform(0.2, 0.55)
    if rng.random() < 0.3:
        span_db = rng.uniform(25, 42)
        out = 1 + 10 * np.log10(np.maximum(record / median, 1e-9)) / span_db
        out = out - (1 - middle)
    else:
        out = middle * (record / median) ** power - rng.choice([0, 0.02, 0.08])
        if rng.random() < 0.3 and middle < 0.4:
            out = np.tanh(out * 1.1)
    varies = out[counts].std() / (abs(out[counts].mean()) + 1e-6)
    most = rng.uniform(0.38, 0.8)
    if varies > most:  # nobody sets a display so that plain bottom flickers
        if rng.random() < 0.5:
            out = middle + (out - middle) * most / varies
        else:
            out = middle * (np.maximum(out, 1e-4) / middle) ** (most / varies)
    return np.clip(out, -0.05, 1.6 if rng.random() < 0.5 else 1).astype(np.float32)


def resized(rng, shown, size):
    """Tones at a size (width, height), and by which rule; now and then softened or sharpened."""
    rule = str(rng.choice(list(RESIZES), p=RESIZE_SHARES))
    shown = cv2.resize(shown, size, interpolation=RESIZES[rule])
    if rng.random() < 0.35:
        shown = cv2.GaussianBlur(shown, (0, 0), rng.uniform(0.4, 1.1))
    elif rng.random() < 0.15:
        shown = shown + 0.5 * (shown - cv2.GaussianBlur(shown, (0, 0), 1))
    return shown, rule


def resized_numbers(numbers, size):
    return cv2.resize(numbers.astype(np.float32), size, interpolation=cv2.INTER_NEAREST).astype(np.int32)
