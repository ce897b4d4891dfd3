"""What the bottom is made of: sand, mud, gravel, shells, ripples, scour marks, pits, weed and outcrops, by the words of a kind.

Heights are metres, levels dB; a zone is a map, rows x cells, of how far a place belongs to it, 0 to 1.
"""

import numpy as np

KINDS = (
    "sand",
    "sand shell",
    "mud",
    "mud shell",
    "gravel",
    "gravel mud",
    "ripple",
    "ripple shell",
    "ripple mud",
    "scour",
    "scour shell",
    "pits mud",
    "weed",
    "weed mud",
    "outcrop gravel",
    "outcrop",
    "gravel ripple",
    "gravel shell",
    "scour gravel",
)


def draw_kind(rng):
    """A kind of bottom: its words, each once."""
    kind = str(rng.choice(KINDS)) + (" shell" if rng.random() < 0.25 else "")
    return " ".join(dict.fromkeys(kind.split()))


def lay_bottom(world, kind, calm):
    """Makes the bottom of a world. calm leaves out its steep banks and halves its relief."""
    relief(world, calm)
    echo_strength(world)
    words = kind.split()
    for word, lay in LAYERS.items():
        if word in words:
            lay(world)


def relief(world, calm):
    rng, reach = world.rng, world.range_m
    high = rng.choice([0.02, 0.05, 0.1, 0.2, 0.35]) * (0.5 if calm else 1) * min(1, reach / 25)
    beta = rng.uniform(2.6, 3.8)
    world.height += high * world.field(
        beta,
        finest_m=2.5 * world.cell_m,
        coarsest_m=reach * rng.uniform(0.5, 2),
        stretch=rng.choice([1, 1, 2, 4]),
        angle=rng.uniform(0, 3.14),
    )
    world.height += world.x * np.tan(np.radians(rng.normal(0, 1.2))) + world.y * np.tan(np.radians(rng.normal(0, 0.3)))
    if not calm and rng.random() < 0.25:
        bank(world)


def bank(world):
    """The bottom rises along one side."""
    rng, reach = world.rng, world.range_m
    side = rng.choice([-1, 1])
    from_m = rng.uniform(0.35, 0.8) * reach
    edge = from_m + 0.08 * reach * world.field(3, coarsest_m=reach)[:, world.cells // 2][:, None]
    world.height += np.clip(side * world.x - edge, 0, None) * np.tan(np.radians(rng.uniform(4, 22)))


def echo_strength(world):
    rng, reach = world.rng, world.range_m
    world.level += rng.uniform(0.4, 1.8) * world.field(
        rng.uniform(0.8, 2.4), coarsest_m=reach, stretch=rng.choice([1, 1, 1.5, 3]), angle=rng.uniform(0, 3.14)
    )
    world.level += rng.uniform(0.3, 1.8) * world.field(rng.uniform(2.5, 3.5), coarsest_m=2 * reach)
    world.level += rng.uniform(0.2, 1.2) * rng.standard_normal(world.level.shape).astype(np.float32)


def zone(world, share, beta=3.0):
    """A share of the bottom in patches with soft edges."""
    rng = world.rng
    patches = world.field(beta, finest_m=0.1, coarsest_m=world.range_m * rng.uniform(0.4, 1.5))
    from_value = np.quantile(patches[::7, ::7], 1 - share)
    return np.clip((patches - from_value) / rng.uniform(0.05, 0.4), 0, 1)


def specks(world, where, shape, chance, excess_db):
    """Bright grains in a zone: gamma distributed, and at a chance some dB over that."""
    rng = world.rng
    grain = rng.gamma(shape, 1 / shape, world.level.shape).astype(np.float32)
    bright = rng.random(world.level.shape) < chance
    grain[bright] *= 10 ** (rng.exponential(excess_db, int(bright.sum())) / 10)
    world.grain += (grain - 1) * where


def mud(world):
    rng = world.rng
    where = zone(world, rng.uniform(0.2, 0.6))
    world.level -= where * rng.uniform(3, 8)
    world.grain = 1 + (world.grain - 1) * (1 - where)


def gravel(world):
    rng = world.rng
    where = zone(world, rng.uniform(0.25, 0.9), rng.uniform(2, 3))
    world.level += where * rng.uniform(2, 5)
    world.height += where * rng.uniform(0.01, 0.05) * world.field(1.2, finest_m=1.2 * world.cell_m, coarsest_m=1.5)
    specks(world, where, rng.uniform(0.5, 1.6), rng.uniform(0.001, 0.01), rng.uniform(5, 9))


def shells(world):
    rng = world.rng
    specks(world, np.ones_like(world.level), rng.uniform(1, 3), rng.uniform(0.0005, 0.006), rng.uniform(6, 11))


def ripples(world):
    rng = world.rng
    where = zone(world, rng.uniform(0.3, 0.95))
    wave_m = rng.uniform(0.25, 1.0) if rng.random() < 0.6 else rng.uniform(1, 3.5)
    wave_m = max(wave_m, 5 * world.cell_m, 4 * world.row_m)
    high = wave_m / rng.uniform(14, 32)
    angle = rng.uniform(0, 3.14)
    phase = 2 * np.pi / wave_m * (world.y * np.sin(angle) + world.x * np.cos(angle)) + rng.uniform(0.6, 3.2) * world.field(
        3.6, finest_m=1.5 * wave_m, coarsest_m=world.range_m * 0.8
    )
    crest = np.cos(phase)
    uneven = np.clip(0.65 + 0.35 * world.field(2.5, finest_m=wave_m), 0.05, 1.6)
    world.height += where * high * uneven * (crest + rng.uniform(0, 0.3) * np.cos(2 * phase))
    world.level += where * crest * rng.uniform(0, 1.5)


def scour(world):
    """Long shallow furrows, slightly bent."""
    rng, reach = world.rng, world.range_m
    for _ in range(rng.integers(2, 9)):
        y, x = rng.uniform(0, world.length_m), rng.uniform(-reach, reach)
        angle = rng.normal(0, 0.5) + rng.choice([0, 0, 1.57])
        along = (world.y - y) * np.cos(angle) + (world.x - x) * np.sin(angle)
        across = -(world.y - y) * np.sin(angle) + (world.x - x) * np.cos(angle)
        bend = rng.normal(0, 1) / (3 * reach)
        across = across + bend * along * along + 0.1 * np.sin(along / rng.uniform(1, 4))
        half_m = rng.uniform(3, reach)
        wide_m = rng.uniform(0.12, 0.6)
        furrow = np.exp(-((across / wide_m) ** 2)) * np.clip(1.2 - (along / half_m) ** 2, 0, 1)
        world.height -= rng.uniform(0.03, 0.12) * furrow
        world.level += furrow * rng.uniform(-3, 3)


def pits(world):
    rng, reach = world.rng, world.range_m
    for _ in range(rng.integers(5, 40)):
        y, x = rng.uniform(0, world.length_m), rng.uniform(-reach, reach)
        radius = rng.uniform(0.2, 0.9)
        window = world.window(y, x, 3 * radius)
        if window is None:
            continue
        along, across = world.turned(window, y, x, 0)
        world.height[window] -= rng.uniform(0.05, 0.25) * radius * np.exp(-(along * along + across * across) / radius**2)


def weed(world):
    rng = world.rng
    where = zone(world, rng.uniform(0.05, 0.35), rng.uniform(2, 2.8))
    tufts = np.clip(world.field(1.3, finest_m=1.5 * world.cell_m, coarsest_m=1.0), -1, 3)
    world.height += where * np.clip(tufts + 0.5, 0, None) * rng.uniform(0.03, 0.12)
    world.level += where * (tufts * rng.uniform(1, 3) + rng.uniform(-2, 3))
    world.grain += where * (rng.gamma(1, 1, world.level.shape).astype(np.float32) - 1)


def outcrop(world):
    """Low layered rock: rough bands, no single thing."""
    rng = world.rng
    where = zone(world, rng.uniform(0.1, 0.3), 2.6)
    bands = world.field(2.2, stretch=5, angle=rng.uniform(0, 3.14), finest_m=2 * world.cell_m, coarsest_m=6)
    world.height += where * 0.06 * np.round(bands * 1.5)
    world.level += where * (3 + 2 * bands)


LAYERS = {  # in the order in which they come over each other
    "mud": mud,
    "gravel": gravel,
    "shell": shells,
    "ripple": ripples,
    "scour": scour,
    "pits": pits,
    "weed": weed,
    "outcrop": outcrop,
}
