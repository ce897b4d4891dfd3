"""An invented screen round a panel and what is written over the panel: plain bars, scales, a grid for a chart, a record straight down."""

import os

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import gaussian_filter1d

from display import draw_palette
from echoes import wander

FONTS = "/usr/share/fonts/truetype/dejavu"  # Debian's fonts-dejavu-core
FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf", "DejaVuSerif.ttf")


def typefaces():
    """The font files that letters are drawn with."""
    faces = [os.path.join(FONTS, f) for f in FACES]
    for face in faces:
        if not os.path.exists(face):
            raise FileNotFoundError(f"no font {face}: install fonts-dejavu-core")
    return faces


class Screen:
    """Draws on a picture of rows x columns x 3 bytes. shown says what of the survey a screen tells: see render.Shown."""

    def __init__(self, rng, picture, shown, faces):
        self.rng = rng
        self.image = Image.fromarray(picture)
        self.draw = ImageDraw.Draw(self.image)
        self.shown = shown
        self.faces = faces

    def picture(self):
        return np.array(self.image)

    def font(self, size):
        return ImageFont.truetype(self.faces[int(self.rng.integers(0, len(self.faces)))], int(size))

    def colour(self, low, high):
        return tuple(int(v) for v in self.rng.integers(low, high, 3))

    # Around the panel.

    def furnish(self, slots):
        """Fills the screen and its slots: (what, x, y, width, height) each."""
        rng = self.rng
        ground = self.colour(0, 60) if rng.random() < 0.75 else self.colour(170, 240)
        letters = self.colour(170, 256) if sum(ground) < 300 else self.colour(0, 80)
        self.draw.rectangle([0, 0, self.image.width, self.image.height], fill=ground)
        for what, *place in slots:
            if what in ("top", "bottom"):
                self.bar(*place, ground, letters)
            elif what == "scale":
                self.scale(*place, letters)
            elif what == "chart":
                self.chart(*place, letters)
            elif what == "down":
                self.straight_down(*place, letters)

    def bar(self, x, y, width, height, ground, letters):
        """A bar of numbers."""
        rng, shown = self.rng, self.shown
        self.draw.rectangle([x, y, x + width, y + height], fill=tuple(min(255, v + 8) for v in ground))
        font = self.font(max(11, height * rng.uniform(0.35, 0.62)))
        items = [
            f"{shown.depth_m:.1f} m",
            f"{shown.speed_kn:.1f} kn",
            f"{rng.uniform(4, 28):.1f} C",
            f"{int(rng.integers(0, 24)):02d}:{int(rng.integers(0, 60)):02d}",
            f"hdg {int(rng.integers(0, 360)):03d}",
            f"{int(shown.range_m)} m / side",
            f"gain {int(rng.integers(1, 90))}",
            f"{rng.uniform(44, 62):.4f} N",
            f"line {rng.integers(1, 40)}",
            f"{int(rng.choice([260, 330, 470, 640, 900]))} kHz",
        ]
        rng.shuffle(items)
        at = x + 8
        for item in items[: int(rng.integers(2, 8))]:
            wide = self.draw.textlength(item, font=font)
            if at + wide > x + width - 5:
                break
            self.draw.text((at, y + height * 0.18), item, font=font, fill=letters)
            at += wide + rng.uniform(14, 70)

    def marks_of_range(self, steps, most):
        """Distances from the nadir, in ranges, that a scale of at most so many marks shows."""
        shown = self.shown
        step = next(s for s in steps if shown.range_m * (shown.right - shown.left) / s <= most)
        return step, np.ceil(shown.left * shown.range_m / step) * step

    def scale(self, x, y, width, height, letters):
        """A scale of distance above the panel."""
        shown = self.shown
        font = self.font(12)
        step, first = self.marks_of_range((1, 2, 5, 10, 20), 13)
        for metres in np.arange(first, shown.right * shown.range_m + 0.01, step):
            at = x + (metres / shown.range_m - shown.left) / (shown.right - shown.left) * width
            self.draw.line([at, y + 16, at, y + height], fill=letters)
            text = f"{abs(metres):g}"
            left = np.clip(at - self.draw.textlength(text, font=font) / 2, x, x + width - 20)
            self.draw.text((left, y + 1), text, font=font, fill=letters)

    def chart(self, x, y, width, height, letters):
        """A grid with the boat's track."""
        rng = self.rng
        ground = self.colour(90, 235) if rng.random() < 0.6 else self.colour(15, 70)
        self.draw.rectangle([x + 1, y + 1, x + width - 2, y + height - 2], fill=ground)
        grid = tuple(int(v * 0.85) for v in ground)
        spacing = int(rng.integers(40, 110))
        for at in range(x, x + width, spacing):
            self.draw.line([at, y, at, y + height], fill=grid)
        for at in range(y, y + height, spacing):
            self.draw.line([x, at, x + width, at], fill=grid)
        points = 60
        aside = x + width * (0.5 + 0.35 * np.clip(wander(rng, points, 10, 0.5), -1, 1))
        track = np.stack([aside, y + height * np.linspace(0.9, 0.15, points)], 1)
        self.draw.line([tuple(p) for p in track], fill=self.colour(0, 255), width=2)
        end = track[-1]
        self.draw.polygon([(end[0], end[1] - 9), (end[0] - 6, end[1] + 7), (end[0] + 6, end[1] + 7)], fill=letters)
        if rng.random() < 0.6:
            self.draw.text((x + 8, y + 6), f"{self.shown.depth_m:.1f}", font=self.font(26), fill=letters)

    def straight_down(self, x, y, width, height, letters):
        """A record of the water straight below the boat, the last ping at the right."""
        rng, altitude_m = self.rng, self.shown.altitude_m
        course = gaussian_filter1d(self.shown.heights_m, 3)
        wide = max(width, 2)
        bottom = np.interp(np.linspace(0, len(course) - 1, wide), np.arange(len(course)), course)
        bottom = bottom + 0.012 * altitude_m * gaussian_filter1d(rng.standard_normal(wide), 1.2)
        depth = np.linspace(0, 1.7 * altitude_m, height)[:, None]
        fading = 0.75 * np.exp(-np.clip(depth - bottom[None], 0, None) / (0.18 * altitude_m))
        echo = fading * (depth > bottom[None]) + 0.6 * (depth < 0.03 * altitude_m)
        echo = echo * rng.gamma(3, 1 / 3, echo.shape) + 0.05 * rng.exponential(1, echo.shape)
        palette = self.shown.palette if rng.random() < 0.5 else draw_palette(rng)[0]
        block = palette[np.clip(echo * 255, 0, 255).astype(np.uint8)]
        self.image.paste(Image.fromarray(np.ascontiguousarray(block)), (x, y))
        font = self.font(12)
        for m in range(1, 5):
            at = y + height * m / 5
            self.draw.text((x + 3, at - 7), f"{1.7 * altitude_m * m / 5:.0f}", font=font, fill=(230, 230, 230))
            self.draw.line([x, at, x, at], fill=letters)

    # Over the panel.

    def write_over(self, x, y, width, height):
        """Writes over the panel at a box; returns the boxes (x0, y0, x1, y1) of what was written."""
        rng, shown = self.rng, self.shown
        choices = [[255, 255, 255], [235, 220, 120], [120, 235, 235], [90, 240, 120], [20, 20, 20]]
        colour = tuple(int(v) for v in rng.choice(choices))
        boxes = []
        if rng.random() < 0.5:
            left = x + rng.choice([6, int(width * 0.6)])
            text = f"{shown.depth_m:.1f}" + rng.choice([" m", "m", ""])
            boxes.append(self.text(left, y + 6, text, rng.uniform(18, 46), colour, x + width))
        if rng.random() < 0.3:
            boxes.append(self.text(x + 8, y + height - 28, f"{shown.speed_kn:.1f} kn", rng.uniform(13, 20), colour, x + width))
        if rng.random() < 0.45:
            boxes += self.ticks(x, y, width, height, colour)
        if rng.random() < 0.12:
            for share in (0.25, 0.5, 0.75):
                self.draw.line([x, y + share * height, x + width, y + share * height], fill=tuple(int(v * 0.5) for v in colour))
        return boxes

    def text(self, left, top, text, size, colour, right):
        """Writes a text that ends before right, on a ground or on none; returns its box."""
        font = self.font(size)
        box = self.draw.textbbox((left, top), text, font=font)
        if box[2] > right - 2:
            left -= box[2] - (right - 2)
            box = self.draw.textbbox((left, top), text, font=font)
        around = box[0] - 3, box[1] - 3, box[2] + 3, box[3] + 3
        if self.rng.random() < 0.3:
            self.draw.rectangle(around, fill=(0, 0, 0) if sum(colour) > 200 else (220, 220, 220))
        self.draw.text((left, top), text, font=font, fill=colour)
        return around

    def ticks(self, x, y, width, height, colour):
        """Ticks of distance along the panel's upper or lower edge."""
        shown = self.shown
        step, first = self.marks_of_range((2, 5, 10, 20), 9)
        top = y + (2 if self.rng.random() < 0.5 else height - 18)
        boxes = []
        for metres in np.arange(first, shown.right * shown.range_m, step):
            if abs(metres) < 0.1:
                continue
            at = x + (metres / shown.range_m - shown.left) / (shown.right - shown.left) * width
            self.draw.line([at, top, at, top + 8], fill=colour)
            boxes.append(self.text(at + 2, top - 1, f"{abs(metres):g}", 12, colour, x + width))
        return boxes


def scaled(picture, scale):
    """A picture at another size."""
    size = int(round(picture.shape[1] * scale)), int(round(picture.shape[0] * scale))
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
