"""What single ground returns say of a bump or hollow: how high it is by those that lie on it, and how many there are.

And how sure it is by that, by its shape, and by how far it is closed.

The surface between returns is stretched, so one stray return, far below the ground or on a plant, makes a hollow or a
bump as smooth as a true one. Heights are therefore taken here from cells that hold a ground return, and not from the
farthest of them: what is left once the two farthest are taken away does not rest on one pulse.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pipeline.landform.shapes.bumps import Bumps
from pipeline.landform.shapes.closed import closed_m
from pipeline.landform.shapes.surroundings import LEAST_UNEVENNESS_M
from pipeline.lattice.grid import Grid, Heights, Mask

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Carried:
    """What ground returns say of n bumps (or hollows), one array a column.

    Attributes
    ----------
    height_m : (n,) float64
        Height above, or depth below, the ground round about, by the returns on the bump; 0 where they show none.
    n_cells : (n,) int64
        Cells with a ground return that stand out at least half as far: no fewer returns, of as many pulses.
    half_width_m : (n,) float64
        Width of the bump half way up.
    around_m : (n,) float64
        How uneven the ground round about is: standard deviation from an evenly bent surface.
    closed_m : (n,) float64
        How much of it is closed (`pipeline.landform.shapes.closed`); 0 for a bend of a slope.
    """

    height_m: Floats
    n_cells: NDArray[np.int64]
    half_width_m: Floats
    around_m: Floats
    closed_m: Floats

    def where(self, chosen: Mask, /) -> Carried:
        """What is said of the chosen ones."""
        return Carried(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})


def carried(bumps: Bumps, bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, upward: bool) -> Carried:
    """What ground returns say of bumps or, not `upward`, of hollows.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
        A cell holds a ground return where the nearest is no more than half a cell from its centre.
    """
    sign = 1.0 if upward else -1.0
    holds = ground_support <= grid.cell_m / 2
    rows = [
        _of_one(place, radius_m, sign, bare_earth, holds, grid)
        for place, radius_m in zip(bumps.places, bumps.radius_m, strict=True)
    ]
    height, cells, width, around = np.array(rows, np.float64).reshape(-1, 4).T
    closed = closed_m(bumps.places, bumps.radius_m, bare_earth, grid, upward=upward)
    return Carried(height, cells.astype(np.int64), width, around, closed)


RING_RADII = 1.8
"""The ground round about is a ring from the foot of the bump to this many of its radii, carried on under the bump by a
polynomial of the second degree: a plane takes a bump on a spur for higher and one in a valley for lower than it is
(our choice)."""
MIDDLE_SHARE = 0.2
"""Share of the radius within which the surface counts as the middle of the bump (our choice)."""
TOP_SHARE = 0.6
"""Share of the radius within which its highest returns are looked for: the place is known to a part of it (our
choice)."""
NOT_ONE_PULSE = 3
"""The height is that of the third highest return: two may be stray, as an echo often comes in twos (our choice)."""
LEAST_RING_CELLS = 12
"""Known cells the ring must have: twice the terms of the polynomial."""


def _of_one(
    place: Floats, radius_m: float, sign: float, bare_earth: Heights, holds: Mask, grid: Grid
) -> tuple[float, float, float, float]:
    """Height, cells that carry it, width half way up and unevenness round about of the bump at a place."""
    (east, north), reach_m = place, RING_RADII * radius_m
    rows, cols = grid.window_around((east - reach_m, north - reach_m, east + reach_m, north + reach_m))
    east_at, north_at = grid.centres()
    x, y = (east_at[cols] - east) / radius_m, (north_at[rows] - north) / radius_m
    away = radius_m * np.hypot(x, y[:, None])
    known = np.isfinite(bare_earth[rows, cols])
    ring = known & (away >= radius_m) & (away <= reach_m)
    if ring.sum() < LEAST_RING_CELLS:
        return 0.0, 0.0, 0.0, LEAST_UNEVENNESS_M
    heights = sign * bare_earth[rows, cols].astype(np.float64)
    base = heights[ring].mean()
    bent = np.stack(np.broadcast_arrays(1.0, x, y[:, None], x**2, x * y[:, None], y[:, None] ** 2), axis=-1)
    weights = np.linalg.lstsq(bent[ring], heights[ring] - base, rcond=None)[0]
    above = heights - base - bent @ weights
    around_m = max(float(above[ring].std()), LEAST_UNEVENNESS_M)
    middle = above[known & (away <= MIDDLE_SHARE * radius_m)]
    held = np.sort(above[known & holds[rows, cols] & (away <= TOP_SHARE * radius_m)])
    if len(held) < NOT_ONE_PULSE or not len(middle):
        return 0.0, 0.0, 0.0, around_m
    height_m = max(min(float(held[-NOT_ONE_PULSE]), float(middle.mean())), 0.0)
    inside = known & (away <= radius_m) & (above >= height_m / 2)
    width_m = 2 * np.sqrt(inside.sum() * grid.cell_m**2 / np.pi)
    n_cells = float((inside & holds[rows, cols]).sum()) if height_m else 0.0
    return height_m, n_cells, width_m if height_m else 0.0, around_m


MANY_CELLS = 10
"""Cells with a ground return that leave no doubt that something is there: more add nothing (our choice)."""
LEAST_CLOSED_M, MOST_CLOSED_M = 0.1, 1.0
"""Metres that are closed below which a bump is as open as a bend of a slope, the noise of the ground; and above which
more adds nothing, the height the norm asks of a knoll and a depression (our choice)."""


def terms(bumps: Bumps, returns: Carried, /) -> Floats:
    """(n, 7) what the log odds of a knoll or hollow weigh.

    In this order: 1; the logarithms of the height in metres, of the cells that carry it over `MANY_CELLS`, of its
    width half way up, and of its contrast with the usual unevenness; the share of the shape explained; and the
    logarithm of the metres that are closed. Logarithms, because the second return adds more certainty than the
    twentieth.
    """
    height_m = np.maximum(np.minimum(bumps.height_m, returns.height_m), 0.1)
    return np.column_stack(
        [
            np.ones(len(height_m)),
            np.log(np.minimum(height_m, 3.0)),
            np.log(np.clip(returns.n_cells, 1, MANY_CELLS) / MANY_CELLS),
            np.log(np.clip(returns.half_width_m, 1, 8) / 4),
            np.log(np.clip(bumps.contrast, 1, 10) / 4),
            bumps.likeness,
            np.log(np.clip(returns.closed_m, LEAST_CLOSED_M, MOST_CLOSED_M)),
        ]
    )


LEAST_LIKELIHOOD = 0.3
"""Likelihood, had the ground been seen well, from which a knoll or hollow is drawn: of what is less likely two in three
would be looked for in vain (our choice)."""


def worth_drawing(bumps: Bumps, returns: Carried, log_odds: Sequence[float], /) -> Mask:
    """(n,) bool: as likely as what is drawn must be; `log_odds` are 7 weights of `terms`."""
    return np.asarray(likelihood(bumps, returns, np.full(len(bumps.height_m), WELL_SEEN), log_odds) >= LEAST_LIKELIHOOD)


WELL_SEEN = 0.9
"""How well the ground must be seen for nothing to be taken off the likelihood; below, it falls in proportion (our
choice: with 0.95, 121 knolls planted in real ground were stated with 0.92 on average, and all were true)."""


def likelihood(bumps: Bumps, returns: Carried, seen: Floats, log_odds: Sequence[float], /) -> Floats:
    """(n,) 0..1: how likely a mapper draws the same knoll or hollow.

    Parameters
    ----------
    seen : (n,) 0..1
        How well the ground was seen there, from `pipeline.terrain.seen.how_well_seen`.
    log_odds : 7 weights of `terms`
    """
    sure = 1 / (1 + np.exp(-(terms(bumps, returns) @ np.array(log_odds))))
    return np.asarray(sure * np.minimum(seen / WELL_SEEN, 1))


def height_shown_m(bumps: Bumps, returns: Carried, /) -> Floats:
    """(n,) metres: the height that shape and returns agree on, or what is closed where that is more."""
    return np.maximum(np.minimum(bumps.height_m, returns.height_m), returns.closed_m)


def _how_closed(closed_m: float) -> str:
    return f"closed by {closed_m:.1f} m" if closed_m >= LEAST_CLOSED_M else "open on one side"


def describe(bumps: Bumps, returns: Carried, adjective: str, /) -> list[str]:
    """(n,) texts: one sentence of evidence for each."""
    return [
        f"{height:.1f} m {adjective}, {2 * radius:.0f} m across, by {n} ground returns or more in its "
        f"{'upper' if adjective == 'high' else 'lower'} half; {_how_closed(closed)}, {contrast:.1f} times the usual "
        f"unevenness, {100 * likeness:.0f} % of the shape explained"
        for height, closed, radius, n, contrast, likeness in zip(
            height_shown_m(bumps, returns),
            returns.closed_m,
            bumps.radius_m,
            returns.n_cells,
            bumps.contrast,
            bumps.likeness,
            strict=True,
        )
    ]
