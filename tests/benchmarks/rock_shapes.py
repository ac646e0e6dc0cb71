"""What is planted to fit and judge the rock of the draft: shapes of boulders, and of what is taken for them.

Boulders come in families, for no one shape stands for all: rounded lumps, blocks with flat faces and edges, slabs,
blocks half in the ground, slender and leaning ones. Everything else is clutter: what a forest floor has that stands up.
Sizes are such as occur in forests (our choice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Planted:
    """One object: its kind, place, size and the seed of its shape."""

    kind: str
    east: float
    north: float
    height_m: float
    width_m: float
    length_m: float
    angle_rad: float
    seed: int
    form: str = "lump"

    @property
    def reach_m(self) -> float:
        """Radius within which a pulse may meet the object."""
        return 0.75 * max(self.width_m, self.length_m) + 0.5


BOULDER_FORMS = {"lump": 0.3, "block": 0.25, "slab": 0.15, "half buried": 0.15, "slender": 0.15}
"""Families of boulders, and how often each is planted."""
HIGHEST_M, WIDEST_M = 5.5, 7.0
"""Highest and widest boulder that is planted: what is larger is drawn to its shape, or is a crag."""
WIDTH_OF_FORM = {
    "lump": (1.0, 2.2),
    "block": (0.8, 1.6),
    "slab": (1.6, 3.2),
    "half buried": (1.2, 2.6),
    "slender": (0.6, 1.0),
}
"""Least and greatest width of each family as a multiple of the height; the length is 1 to 1.5 times the width."""
CLUTTER = {
    "bush": ((0.8, 2.5), (0.8, 3.0), (1.0, 1.4)),
    "young spruce": ((0.8, 3.5), (0.7, 2.4), (1.0, 1.0)),
    "stump": ((0.3, 1.4), (0.3, 0.9), (1.0, 1.0)),
    "root plate": ((1.0, 2.6), (0.3, 0.7), (3.0, 6.0)),
    "log": ((0.3, 0.7), (0.3, 0.6), (12.0, 30.0)),
    "log pile": ((1.0, 2.5), (1.5, 3.0), (1.5, 4.0)),
    "brush pile": ((0.8, 2.0), (1.8, 4.0), (1.0, 1.6)),
    "ant hill": ((0.4, 1.1), (0.9, 2.2), (1.0, 1.1)),
    "hut": ((2.0, 3.2), (2.2, 4.0), (1.0, 1.5)),
}
"""What is no boulder: least and greatest height and width in metres, and length as a multiple of the width."""


def draw_object(kind: str, rng: np.random.Generator, east: float, north: float) -> Planted:
    """An object of a kind, its size and the seed of its shape drawn."""
    angle, seed = float(rng.uniform(0, np.pi)), int(rng.integers(2**31))
    if kind == "boulder":
        form = str(rng.choice(list(BOULDER_FORMS), p=list(BOULDER_FORMS.values())))
        height = float(np.exp(rng.uniform(np.log(0.6), np.log(HIGHEST_M))))
        width = min(height * float(rng.uniform(*WIDTH_OF_FORM[form])), WIDEST_M)
        return Planted(kind, east, north, height, width, width * float(rng.uniform(1.0, 1.5)), angle, seed, form)
    height, width, ratio = (float(rng.uniform(*limits)) for limits in CLUTTER[kind])
    return Planted(kind, east, north, height, width, width * ratio, angle, seed)


FOLIAGE = ("bush", "young spruce", "brush pile")
"""Kinds that beams go into; all others stop them at their surface."""
ROCK_BRIGHTNESS, WOOD_BRIGHTNESS, FOLIAGE_BRIGHTNESS = (0.45, 1.3), (0.5, 1.2), (0.3, 0.9)
"""Least and greatest intensity beside that of the ground. Foliage gave 0.5 to 0.9 of it in five real tiles, and less
in made ones; no survey was found that tells how bright its rocks are, so they are planted darker and brighter than the
ground (our choice)."""
FOLIAGE_FLICKER = 0.2
"""Spread of the logarithm of the intensity from one return of foliage to the next (as in five real tiles)."""


def brightness_of(thing: Planted) -> float:
    """Intensity of the returns of an object beside that of the ground, drawn with the seed of its shape."""
    limits = FOLIAGE_BRIGHTNESS if thing.kind in FOLIAGE else WOOD_BRIGHTNESS
    least, most = ROCK_BRIGHTNESS if thing.kind == "boulder" else limits
    return float(np.exp(np.random.default_rng([thing.seed, 1]).uniform(np.log(least), np.log(most))))


def stopping_per_m(thing: Planted, d_east: Floats, d_north: Floats, height: Floats) -> Floats:
    """How strongly a ray is stopped at places relative to the object: per metre of way, infinite in solids."""
    cos, sin = np.cos(thing.angle_rad), np.sin(thing.angle_rad)
    along = (d_east * cos + d_north * sin) / (thing.length_m / 2)
    across = (-d_east * sin + d_north * cos) / (thing.width_m / 2)
    rng = np.random.default_rng(thing.seed)
    if thing.kind in FOLIAGE:
        return _foliage(thing, rng, along, across, d_east, d_north, height)
    surface = _SURFACES[thing.kind](thing, rng, along, across)
    return np.where(height < surface, np.inf, 0.0)


def _boulder(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    """The surface of a boulder of any family."""
    if thing.form == "lump":
        return _lump(thing, rng, along, across)
    return _polyhedron(thing, rng, along, across)


def _polyhedron(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    """A convex block of flat faces: a top, tilted more in a slab, some faces that cut its corners, and its sides.

    The block reaches down to a depth that the family gives: one half buried shows only what is above its shoulders.
    """
    tilt = {"slab": 0.35, "slender": 0.25, "half buried": 0.3}.get(thing.form, 0.15)
    turn, lean = rng.uniform(0, 2 * np.pi), rng.uniform(0, tilt)
    top = 1 + lean * (along * np.cos(turn) + across * np.sin(turn))
    n_cuts = int(rng.integers(2, 6))
    for way in rng.uniform(0, 2 * np.pi, n_cuts):
        fall = rng.uniform(0.5, 1.6)
        from_m = rng.uniform(0.1, 0.7)
        top = np.minimum(top, 1 + lean - fall * (along * np.cos(way) + across * np.sin(way) - from_m))
    n_sides = int(rng.integers(4, 8))
    ways = (np.arange(n_sides) + rng.uniform(-0.35, 0.35, n_sides)) * 2 * np.pi / n_sides + turn
    # How far a side leans back: few are upright, those of a block half buried round off more.
    back = rng.uniform(0.05, 0.7 if thing.form == "half buried" else 0.4, n_sides)
    for way, slope, foot in zip(ways, back, rng.uniform(0.8, 1.05, n_sides), strict=True):
        top = np.minimum(top, (foot - (along * np.cos(way) + across * np.sin(way))) / slope)
    rough = 1 + 0.03 * np.sin(7 * along + turn) * np.sin(6 * across + lean)
    return thing.height_m * np.minimum(np.clip(top, 0, None), 1.0) * rough


def _lump(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    """A lump between a rounded cone and a block, most near an ellipsoid, uneven in outline and top, some tilted."""
    power = float(np.exp(rng.uniform(np.log(1.7), np.log(5.0))))
    turn, wave = np.arctan2(across, along), rng.uniform(0, 2 * np.pi, 3)
    outline = (
        1 + 0.08 * np.cos(2 * turn + wave[0]) + 0.06 * np.cos(3 * turn + wave[1]) + 0.04 * np.cos(5 * turn + wave[2])
    )
    radius = np.hypot(along, across) / outline
    cap = np.clip(1 - radius**power, 0, None) ** (1 / power)
    tilt = 1 + rng.uniform(0, 0.25) * (along * np.cos(wave[0]) + across * np.sin(wave[0]))
    rough = 1 + 0.04 * np.sin(7 * along + wave[1]) * np.sin(6 * across + wave[2])
    return np.where(radius < 1, thing.height_m * cap * np.minimum(tilt, 1.0) * np.minimum(rough, 1.0), 0)


def _stump(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    flare = np.where(np.hypot(along, across) < 1.5, 0.15, 0.0)
    return np.where(np.hypot(along, across) < 1, thing.height_m + rng.uniform(-0.05, 0.05), flare)


def _ant_hill(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    """A cone with a rounded top."""
    cone = np.clip(1 - np.hypot(along, across), 0, None) ** rng.uniform(0.7, 1.0)
    return np.asarray(thing.height_m * cone, np.float64)


def _log(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    """A trunk, thinner towards one end."""
    thick = 1 - rng.uniform(0, 0.4) * (along + 1) / 2
    round_top = thing.height_m - thing.width_m / 2 * (1 - np.sqrt(np.clip(1 - (across / thick) ** 2, 0, 1)))
    return np.where((np.abs(across) < thick) & (np.abs(along) < 1), round_top * thick, 0)


def _root_plate(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    ragged = 1 - 0.2 * np.abs(np.sin(5 * along + rng.uniform(0, 6)))
    plate = thing.height_m * np.sqrt(np.clip(1 - along**2, 0, None)) * ragged
    return np.where(np.abs(across) < 1, plate, 0)


def _log_pile(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    rows = 0.08 * np.abs(np.sin(np.pi * along * thing.length_m / 2 / 0.35 + rng.uniform(0, 3)))
    slope = np.clip((1 - np.abs(along)) * thing.length_m / 2 / (0.6 * thing.height_m), 0, 1)
    return np.where((np.abs(across) < 1) & (np.abs(along) < 1), thing.height_m * slope - rows, 0)


def _hut(thing: Planted, rng: np.random.Generator, along: Floats, across: Floats) -> Floats:
    eaves = thing.height_m * rng.uniform(0.6, 0.9)
    roof = eaves + (thing.height_m - eaves) * (1 - np.abs(across))
    return np.where((np.abs(across) < 1) & (np.abs(along) < 1), roof, 0)


_SURFACES = {
    "boulder": _boulder,
    "stump": _stump,
    "root plate": _root_plate,
    "log": _log,
    "log pile": _log_pile,
    "ant hill": _ant_hill,
    "hut": _hut,
}


def _foliage(
    thing: Planted,
    rng: np.random.Generator,
    along: Floats,
    across: Floats,
    d_east: Floats,
    d_north: Floats,
    height: Floats,
) -> Floats:
    """Dense evergreen foliage: 2 to 8 m2 of leaf per m3, in clumps of 0.25 m, thinning out over the outermost tenth.

    A bush is round, a young spruce a cone that stands on the ground. A pile of brush is flatter and up to twice as
    dense, and its top is as uneven as its boughs.

    A ray is stopped at half the leaf area it meets (spherical leaf angles: G = 0.5, Nilson 1971).
    """
    leaf_per_m = rng.uniform(4.0, 16.0) if thing.kind == "brush pile" else rng.uniform(2.0, 8.0)
    middle = thing.height_m * 0.45
    radius = np.sqrt(along**2 + across**2 + ((height - middle) / (thing.height_m - middle)) ** 2)
    if thing.kind == "brush pile":
        ragged = 1 - 0.35 * np.abs(np.sin(3 * along + leaf_per_m) * np.sin(2.5 * across))
        radius = np.maximum(np.hypot(along, across), height / (thing.height_m * ragged))
    if thing.kind == "young spruce":
        radius = np.hypot(along, across) / np.maximum(1 - height / thing.height_m, 1e-6)
    lumps = rng.integers(1, 2**31, 3)
    cell = [np.floor(value / 0.25).astype(np.int64) for value in (d_east + 50, d_north + 50, height + 50)]
    mixed = (cell[0] * 73856093) ^ (cell[1] * 19349663) ^ (cell[2] * 83492791) ^ int(lumps[0])
    dice = ((mixed * 2654435761) % 2**32) / 2**32
    clump = np.where(dice < 0.35, 0.1, 1.5)
    return np.where(radius < 1, 0.5 * leaf_per_m * clump * np.clip((1 - radius) / 0.1, 0, 1), 0.0)
