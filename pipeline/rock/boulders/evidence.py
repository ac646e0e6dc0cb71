"""What speaks for and against a lump being rock, measured in the returns on it and around it."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.runs import Runs, fitted
from pipeline.rock.boulders.batches import batches_of, joined
from pipeline.rock.boulders.caps import BOUGH_OVER_M, Caps, Near, look_at_caps, refined, returns_near
from pipeline.rock.boulders.discs import DISC_LEAST_M
from pipeline.rock.boulders.low_returns import Floats, Labels, LowReturns
from pipeline.rock.boulders.lumps import Lumps

RING_M = 2.5
"""Width of the ring around a lump in which the ground is measured: narrower, too few returns reach the ground under
trees; wider, the ground is no plane any more (our choice)."""
SECTORS = 8
"""Parts of equal angle that a lump's surroundings are divided into, to ask on how many sides the ground was seen."""


@dataclass(frozen=True)
class Evidence:
    """Measures of k lumps, all (k,) float64.

    Attributes
    ----------
    height_m : highest return above the plane of the ground around
    top_m : elevation of that return
    width_m, length_m : short and long axis of the outline
    n_on : last returns on the lump
    n_off : last returns inside the outline up to 1.5 m above the cap
    n_through : last returns well inside the outline that ended below the cap
    core : share of the last returns in the inner half of the outline that ended below the cap
    core_rms_m : how far the last returns in the inner half, and a little beyond, depart from a plane, each flight line
        for itself: rock has one hard surface there, boughs have a layer of them
    solid_inside : share of the last returns well inside the refined outline that are higher than half the lump
    low_beside : share of the last returns just outside it that are lower than four tenths of the lump
    full : mean height of the returns on the lump as a share of its height
    n_ring : ground returns in the ring
    sectors_seen : of eight sectors of the ring, those with ground in them
    ring_rms_m : how far the ground of the ring departs from a plane
    fit_rms_m : how far the returns on the lump depart from a smooth cap
    n_inside : returns inside the outline, below the cap, that are not the last of their pulse
    n_over : returns up to 2 m above the cap that are not the last of their pulse
    clutter : share of the last returns around that ended in low vegetation
    foot : height just outside the outline as a share of the lump's height
    drop : how much lower the returns just outside are than those just inside, as a share of the height
    open_share : share of the sectors seen just outside whose returns lie below three tenths of the height
    ridge : height just outside as a share of the lump's, on the lower of two opposite sides, where that is greatest:
        near 1 on a wall or a ridge, which goes on beyond the outline
    bank : the same share over the three neighbouring sectors where it is greatest: near 1 where a slope comes down to
        the lump
    brightness : logarithm of how bright the returns on the lump are beside the ground
    lean_m : how far the ground on the highest side of the ring stands above the plane
    flat_share : share of the lump's returns that a plane, or two leaning together, would hold within 0.1 m
    grain_m : how much the height changes from one return on the lump to the next
    dome : how far the cap falls from its middle to the outline, as a share of the height
    high : last returns inside the outline from 1.5 m above the cap, as a share of those on it
    n_lines : flight lines with at least three returns on the lump
    line_step_m : how far apart in height those flight lines lay it; 0 where there is but one
    """

    height_m: Floats
    top_m: Floats
    width_m: Floats
    length_m: Floats
    n_on: Floats
    n_off: Floats
    n_through: Floats
    core: Floats
    core_rms_m: Floats
    solid_inside: Floats
    low_beside: Floats
    full: Floats
    n_ring: Floats
    sectors_seen: Floats
    ring_rms_m: Floats
    fit_rms_m: Floats
    n_inside: Floats
    n_over: Floats
    clutter: Floats
    foot: Floats
    drop: Floats
    open_share: Floats
    ridge: Floats
    bank: Floats
    brightness: Floats
    lean_m: Floats
    flat_share: Floats
    grain_m: Floats
    dome: Floats
    high: Floats
    n_lines: Floats
    line_step_m: Floats

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Evidence:
        """The evidence of the chosen lumps."""
        return Evidence(**{f.name: getattr(self, f.name)[which] for f in fields(self)})


def weigh_lumps(low: LowReturns, lumps: Lumps, /) -> tuple[Evidence, Lumps]:
    """Measure every lump against the returns on it and in a ring around it.

    Returns
    -------
    The evidence, and the lumps with the outline of the returns found to lie on a solid surface.
    """
    parts = [_weigh_batch(low, batch) for batch in batches_of(lumps)]
    return joined([evidence for evidence, _ in parts]), joined([solid for _, solid in parts])


def _weigh_batch(low: LowReturns, lumps: Lumps, /) -> tuple[Evidence, Lumps]:
    near = returns_near(low, lumps, RING_M)
    k = len(lumps)
    plane, in_ring, ring_rms = _ground_plane(near, k)
    above = near.height - fitted(plane, _linear(near), near.lump)
    caps = look_at_caps(near, above, lumps)
    on = Runs.of(near.lump[caps.is_on], k)
    solid = refined(near, lumps, caps.is_on)
    half = solid.half_axes_m
    foot, drop, sides = _edge(near, above, caps, k)
    open_share, ridge, bank = _sides(sides)
    clutter = _clutter(near, above, k)
    n_lines, line_step = _lines(near, caps, k)
    solid_inside, low_beside = _island(near, above, caps, solid, lumps)
    evidence = Evidence(
        height_m=caps.height_m,
        top_m=on.max(near.height[caps.is_on]),
        width_m=2 * half[:, 0],
        length_m=2 * half[:, 1],
        n_on=caps.n_on,
        n_off=caps.n_off,
        n_through=caps.n_through,
        core=caps.core,
        core_rms_m=_core_rms(near, above, caps, k),
        solid_inside=solid_inside,
        low_beside=low_beside,
        full=caps.full,
        n_ring=near.count(in_ring, k),
        sectors_seen=_sectors_seen(near, in_ring, k),
        ring_rms_m=ring_rms,
        fit_rms_m=caps.rms_m,
        n_inside=caps.n_inside,
        n_over=caps.n_over,
        clutter=clutter,
        foot=foot,
        drop=drop,
        open_share=open_share,
        ridge=ridge,
        bank=bank,
        brightness=_brightness(low.brightness[near.index[caps.is_on]], near.lump[caps.is_on], k),
        lean_m=_lean(near, above, in_ring, k),
        flat_share=_flat_share(near, above, caps.is_on, solid, k),
        grain_m=caps.grain_m,
        dome=caps.dome,
        high=caps.high,
        n_lines=n_lines,
        line_step_m=line_step,
    )
    return evidence, solid


def _ground_plane(near: Near, k: int) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Plane of the ground around each lump, which returns lie on it, and their rms distance from it.

    Last returns well above the plane (bushes, grass) lose their weight step by step, those below keep it.
    """
    use = near.is_last & (near.beyond_m > 0.3)
    runs, height = Runs.of(near.lump[use], k), near.height[use]
    terms = _linear(near).compress(use, axis=1)
    lowest = runs.max(-height)
    start = np.clip(height + np.nan_to_num(lowest)[runs.label], 0, None)
    weight = 1 / (1 + (start / 1.5) ** 2)
    plane = np.zeros((k, 3))
    for scale_m in (0.6, 0.35, 0.25, 0.2, 0.2):
        plane = runs.fit(terms, height, weight, ridge=0.05)
        off = height - fitted(plane, terms, runs.label)
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    is_ground = np.zeros(len(near.lump), bool)
    is_ground[use] = np.abs(off) < 0.35
    square = runs.mean(np.minimum(np.abs(off), 1.0) ** 2 * weight) / np.maximum(runs.mean(weight), 1e-6)
    return plane, is_ground, np.sqrt(np.nan_to_num(square, nan=1.0))


def _linear(near: Near) -> Floats:
    """(3, n) terms of a plane."""
    return np.stack((np.ones(len(near.lump)), near.d_east, near.d_north))


def _sectors_seen(near: Near, which: NDArray[np.bool_], k: int) -> Floats:
    """How many of eight sectors hold a chosen return."""
    n = np.bincount(_sector(near, which), minlength=k * SECTORS)
    seen: Floats = (n > 0).reshape(k, SECTORS).sum(axis=1).astype(np.float64)
    return seen


def _sector(near: Near, which: NDArray[np.bool_]) -> Labels:
    """Sector, counted over all lumps, of each chosen return."""
    turn = np.arctan2(near.d_north[which], near.d_east[which]) / (2 * np.pi) + 0.5
    return near.lump[which] * SECTORS + np.minimum((turn * SECTORS).astype(np.int64), SECTORS - 1)


def _edge(near: Near, above: Floats, caps: Caps, k: int) -> tuple[Floats, Floats, Floats]:
    """Foot and drop of each lump, how hard its edge is; and (k, 8) the mean share of its height in each sector outside.

    Sectors in which nothing was seen are NaN.
    """
    tall = np.maximum(np.nan_to_num(caps.height_m), 0.1)
    share = above / tall[near.lump]
    outside = near.is_last & (share < 1.5)
    at_foot = outside & (near.beyond_m > 0.25) & (near.beyond_m < 0.9)
    foot = Runs.of(near.lump[at_foot], k).mean(np.clip(share[at_foot], 0, None))
    rim = caps.is_on & (near.scaled > 0.55)
    drop = Runs.of(near.lump[rim], k).mean(share[rim]) - foot
    close = outside & (near.beyond_m > 0.2) & (near.beyond_m < 1.2)
    sector = _sector(near, close)
    n = np.bincount(sector, minlength=k * SECTORS)
    total = np.bincount(sector, weights=share[close], minlength=k * SECTORS)
    sides = np.divide(total, n, out=np.full(k * SECTORS, np.nan), where=n > 0)
    return foot, drop, sides.reshape(k, SECTORS)


OPEN_BELOW = 0.3
"""Share of a lump's height below which the returns of a sector just outside lie on open ground (our choice)."""


def _sides(sides: Floats, /) -> tuple[Floats, Floats, Floats]:
    """Open share, ridge and bank of each lump, from the mean share of its height in each sector outside."""
    seen = np.isfinite(sides)
    open_share = (sides < OPEN_BELOW).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    height = np.where(seen, sides, 0.0).clip(0.0, 1.5)
    half = SECTORS // 2
    ridge = np.minimum(height[:, :half], height[:, half:]).max(axis=1)
    three = height + np.roll(height, 1, axis=1) + np.roll(height, -1, axis=1)
    bank: Floats = three.max(axis=1) / 3
    return open_share, ridge, bank


USUAL_BRIGHTNESS, BRIGHTNESS_PRIOR = -0.35, 1.0
"""Brightness of a lump of which nothing is known, between rock and boughs, and how many returns that counts as (our
choice)."""
LEAST_BRIGHTNESS, MOST_BRIGHTNESS = -2.0, 0.7
"""Limits of what one return may say: darker or brighter ones glitter, or met something else (our choice)."""


def _brightness(brightness: NDArray[np.float32], lump: Labels, k: int, /) -> Floats:
    """Mean brightness of the returns on each lump whose brightness is known, drawn a little to the usual one."""
    known = np.isfinite(brightness)
    shown = np.clip(brightness[known], LEAST_BRIGHTNESS, MOST_BRIGHTNESS)
    n, total = np.bincount(lump[known], minlength=k), np.bincount(lump[known], weights=shown, minlength=k)
    mean: Floats = (total + BRIGHTNESS_PRIOR * USUAL_BRIGHTNESS) / (n + BRIGHTNESS_PRIOR)
    return mean


CLUTTER_TO_M = 4.0
"""Height up to which vegetation around a lump counts: what is higher neither hides a boulder nor passes for one (our
choice)."""


def _clutter(near: Near, above: Floats, k: int) -> Floats:
    """How much vegetation stands around each lump."""
    around = (near.scaled >= 1.0) & (near.beyond_m > 0.4) & (above < CLUTTER_TO_M) & near.is_last
    return (near.count(around & (above > DISC_LEAST_M), k) + 0.5) / (near.count(around, k) + 1.0)


LEAST_OF_LINE = 3
"""Returns on a lump that a flight line needs for its mean height to count (our choice)."""


def _lines(near: Near, caps: Caps, k: int) -> tuple[Floats, Floats]:
    """How many flight lines saw each lump, and how far apart they lay it: rock stays where it is, boughs sway."""
    lines, number = np.unique(near.flight_line[caps.is_on], return_inverse=True)
    cell = near.lump[caps.is_on] * len(lines) + number
    n = np.bincount(cell, minlength=k * len(lines)).reshape(k, len(lines))
    total = np.bincount(cell, weights=caps.off_m[caps.is_on], minlength=k * len(lines)).reshape(k, len(lines))
    seen = n >= LEAST_OF_LINE
    mean = total / np.maximum(n, 1)
    n_lines = seen.sum(axis=1).astype(np.float64)
    apart = np.where(seen, mean, -np.inf).max(axis=1, initial=-np.inf)
    apart -= np.where(seen, mean, np.inf).min(axis=1, initial=np.inf)
    return n_lines, np.where(n_lines > 1, apart, 0.0)


INSIDE_TO, BESIDE_FROM, BESIDE_TO = 0.75, 1.15, 1.8
"""Well inside the refined outline, and just outside it: shares of its distance from the middle (our choice)."""
BESIDE_M = 0.35
"""Half a footprint and what flight lines are apart: nearer the outline a return may have met the side (our choice)."""
HALF_UP, LOW_SHARE = 0.5, 0.4
"""Shares of the lump's height above which a return is of its top, and below which it is of what stands around."""


def _island(near: Near, above: Floats, caps: Caps, solid: Lumps, lumps: Lumps) -> tuple[Floats, Floats]:
    """How whole each lump is inside its refined outline, and how alone it stands.

    Discs are tried at a few radii only; what a disc of the wrong one says of its edge is not true of the rock.
    """
    k = len(solid)
    d_east = near.d_east - (solid.east - lumps.east)[near.lump]
    d_north = near.d_north - (solid.north - lumps.north)[near.lump]
    inverse = np.linalg.inv(solid.shape_m2)
    (a, b), (_, c) = inverse[:, 0].T, inverse[:, 1].T
    scaled = np.sqrt(a[near.lump] * d_east**2 + 2 * b[near.lump] * d_east * d_north + c[near.lump] * d_north**2)
    from_edge = (scaled - 1) * solid.half_axes_m.mean(axis=1)[near.lump]
    share = above / np.maximum(np.nan_to_num(caps.height_m), 0.1)[near.lump]
    counted = near.is_last & (share < 1.5)
    inside = counted & (scaled < INSIDE_TO)
    beside = (
        counted & (scaled > BESIDE_FROM) & (from_edge > BESIDE_M) & ((scaled < BESIDE_TO) | (from_edge < 2 * BESIDE_M))
    )
    of_top = near.count(inside & (share > HALF_UP), k) + 1
    is_low = near.count(beside & (share < LOW_SHARE), k) + 1
    return of_top / (near.count(inside, k) + 2), is_low / (near.count(beside, k) + 2)


def _step_of_line(lump: Labels, line: NDArray[np.uint16], off: Floats) -> Floats:
    """(n,) how far the flight line of each return lies above the others of its lump; less where it has few returns."""
    lines, number = np.unique(line, return_inverse=True)
    cell = lump * max(len(lines), 1) + number
    n = np.bincount(cell)
    total = np.bincount(cell, weights=off)
    step: Floats = (total / (n + 1.0))[cell]
    return step


CORE_TO = 0.6
"""Share of the outline's radius within which a boulder's top is a plane to within a hand (our choice)."""
CORE_PRIOR, CORE_PRIOR_M = 2.0, 0.2
"""Returns counted in addition, this far from the plane: three returns lie on a plane whatever they came from."""


def _core_rms(near: Near, above: Floats, caps: Caps, k: int) -> Floats:
    """How far the last returns near the middle depart from a plane; twigs over it lose their weight step by step."""
    use = (near.scaled < CORE_TO) & near.is_last & (caps.off_m < BOUGH_OVER_M)
    runs, height, terms = Runs.of(near.lump[use], k), above[use], _linear(near)[:, use]
    weight = np.ones(len(height))
    for scale_m in (0.5, 0.3, 0.3):
        off = height - fitted(runs.fit(terms, height, weight, ridge=0.05), terms, runs.label)
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    off = off - _step_of_line(runs.label, near.flight_line[use], off)
    count = np.maximum(runs.sum(weight) - 3.0, 0.0) + CORE_PRIOR
    return np.sqrt((runs.sum(weight * off**2) + CORE_PRIOR * CORE_PRIOR_M**2) / count)


def _lean(near: Near, above: Floats, in_ring: NDArray[np.bool_], k: int) -> Floats:
    """Highest mean of a sector's ground above the plane."""
    sector = _sector(near, in_ring)
    n = np.bincount(sector, minlength=k * SECTORS)
    mean = np.bincount(sector, weights=above[in_ring], minlength=k * SECTORS) / np.maximum(n, 1)
    highest: Floats = mean.reshape(k, SECTORS).max(axis=1)
    return highest


def _flat_share(near: Near, above: Floats, is_on: NDArray[np.bool_], solid: Lumps, k: int) -> Floats:
    """Share of the returns on each lump within 0.1 m of a saddle roof or flat top along its long axis.

    A roof rises and falls with the distance from the ridge, |across|; rock rounds off instead.
    """
    runs, height = Runs.of(near.lump[is_on], k), above[is_on]
    axis = np.linalg.eigh(solid.shape_m2)[1][:, :, 1]
    axis_e, axis_n = axis[:, 0][runs.label], axis[:, 1][runs.label]
    e, n = near.d_east[is_on], near.d_north[is_on]
    terms = np.stack((np.ones(len(e)), np.abs(e * axis_n - n * axis_e), e * axis_e + n * axis_n))
    weight = np.ones(len(e))
    for _ in range(3):
        roof = runs.fit(terms, height, weight, ridge=0.02)
        off = np.abs(height - fitted(roof, terms, runs.label))
        weight = 1 / (1 + (off / 0.15) ** 4)
    return runs.mean((off < 0.1).astype(np.float64))
