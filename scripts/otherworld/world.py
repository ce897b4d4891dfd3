"""A bottom and what is on and over it, before any sound: the maps that everything else is drawn from.

Lengths are metres. y runs along the boat's track, x across it, to starboard; z is height, 0 about where the bottom is below the boat.
"""

import cv2
import numpy as np


def field(rng, shape, beta, row_m, cell_m, finest_m=0.0, coarsest_m=1e9, stretch=1.0, angle=0.0):
    """A random map, rows x cells, of mean 0 and deviation 1, whose power falls as 1 / frequency ** beta between two wavelengths.

    stretch > 1 draws it out along one direction, which angle (radians) turns. It is made larger than asked for and cut, so that it never
    repeats from one edge to the other.
    """
    rows, cells = shape
    high = cv2.getOptimalDFTSize(int(rows * 1.15) + 16)
    wide = cv2.getOptimalDFTSize(int(cells * 1.1) + 16)
    noise = rng.standard_normal((high, wide)).astype(np.float32)
    spectrum = np.fft.rfft2(noise)
    along = np.fft.fftfreq(high, row_m)[:, None]
    across = np.fft.rfftfreq(wide, cell_m)[None]
    cos, sin = np.cos(angle), np.sin(angle)
    first = along * cos + across * sin
    second = (-along * sin + across * cos) * stretch
    frequency = np.sqrt(first**2 + second**2).astype(np.float32)  # per metre
    frequency[0, 0] = 1e9
    gain = np.maximum(frequency, 1 / coarsest_m) ** (-beta / 2)
    if finest_m > 0:
        gain = gain * np.exp(-((frequency * finest_m) ** 2))
    gain[0, 0] = 0
    out = np.fft.irfft2(spectrum * gain, s=(high, wide))[:rows, :cells].astype(np.float32)
    return (out - out.mean()) / (out.std() + 1e-9)


class World:
    """Maps of rows x cells: height (m), level (how strongly bottom answers, dB), grain (a factor on that) and thing (its number or 0).

    plain is the height without things, which these are laid on; bodies are ellipsoids that hang in the water; about says what a number is.
    """

    def __init__(self, rng, length_m, range_m, row_m, cell_m, altitude_m):
        self.rng = rng
        self.length_m = length_m
        self.range_m = range_m
        self.row_m = row_m
        self.cell_m = cell_m
        self.altitude_m = altitude_m
        self.rows = int(length_m / row_m) + 1
        self.cells = 2 * int(range_m * 1.03 / cell_m)
        self.x0 = -self.cells / 2 * cell_m
        self.height = np.zeros((self.rows, self.cells), np.float32)
        self.level = np.zeros((self.rows, self.cells), np.float32)
        self.grain = np.ones((self.rows, self.cells), np.float32)
        self.thing = np.zeros((self.rows, self.cells), np.int32)
        self.plain = None
        self.bodies = []
        self.about = {}
        self.is_bottom = [False]  # by number: whether an echo of it is bottom, as a mound's is
        self.y = (np.arange(self.rows, dtype=np.float32) * row_m)[:, None]
        self.x = (self.x0 + (np.arange(self.cells, dtype=np.float32) + 0.5) * cell_m)[None]

    def field(self, beta, **shape):
        """A random map over the whole bottom."""
        return field(self.rng, self.height.shape, beta, self.row_m, self.cell_m, **shape)

    def number(self, kind_class, kind, height_m=0.0, off_bottom_m=0.0, is_bottom=False):
        """A number for a new thing."""
        new = len(self.is_bottom)
        self.is_bottom.append(is_bottom)
        self.about[new] = {
            "class": kind_class,
            "kind": kind,
            "height_m": round(float(height_m), 2),
            "off_bottom_m": round(float(off_bottom_m), 2),
        }
        return new

    def height_at(self, y, x):
        row = int(np.clip(y / self.row_m, 0, self.rows - 1))
        cell = int(np.clip((x - self.x0) / self.cell_m, 0, self.cells - 1))
        return float(self.height[row, cell])

    def window(self, y, x, reach_m):
        """The rows and cells within a reach of a point, as slices; None where the world has none."""
        row0 = max(0, int((y - reach_m) / self.row_m))
        row1 = min(self.rows, int((y + reach_m) / self.row_m) + 2)
        cell0 = max(0, int((x - reach_m - self.x0) / self.cell_m))
        cell1 = min(self.cells, int((x + reach_m - self.x0) / self.cell_m) + 2)
        if row1 - row0 < 1 or cell1 - cell0 < 1:
            return None
        return slice(row0, row1), slice(cell0, cell1)

    def turned(self, window, y, x, angle):
        """Where a window's cells lie from a point, metres along and across a direction."""
        dy = self.y[window[0]] - y
        dx = self.x[:, window[1]] - x
        cos, sin = np.cos(angle), np.sin(angle)
        return dy * cos + dx * sin, -dy * sin + dx * cos

    def lay(self, window, top, number, level, base=None, uneven=0.0):
        """Lays a surface on a window: top is metres over base or over the plain bottom, 0 or less where there is none; level and uneven,
        how far it varies, are dB."""
        height = self.height[window]
        z = (base if base is not None else self.plain[window]) + top
        covered = (top > 0.0) & (z > height)
        height[covered] = z[covered]
        self.thing[window][covered] = number
        if uneven:
            level = level + uneven * self.patches(height.shape)
        self.level[window][covered] = level[covered] if isinstance(level, np.ndarray) else level
        self.grain[window][covered] = self.rng.gamma(1.2, 1 / 1.2, int(covered.sum()))

    def patches(self, shape):
        """How a surface's strength varies over it: patches of some decimetres, and a grain."""
        size_m = self.rng.uniform(0.08, 0.3)
        high = max(2, int(shape[0] * self.row_m / size_m))
        wide = max(2, int(shape[1] * self.cell_m / size_m))
        coarse = self.rng.standard_normal((min(high, 400), min(wide, 400))).astype(np.float32)
        patches = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)
        return 1.6 * patches + 0.7 * self.rng.standard_normal(shape).astype(np.float32)

    def hang(self, number, y, x, z, along_m, across_m, high_m, level, opacity):
        """Hangs an ellipsoid in the water, by its half axes."""
        along_m = max(along_m, 0.7 * self.row_m)
        self.bodies.append((x, y, z, along_m, max(across_m, 0.02), max(high_m, 0.01), 10 ** (level / 10), opacity, number))
