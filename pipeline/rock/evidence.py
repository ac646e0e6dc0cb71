"""What speaks for and against a lump being rock, measured in the returns on it and around it."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pipeline.rock.lumps import Floats, Labels, LowReturns, Lumps, outline_of
from pipeline.rock.runs import Runs, fitted
from pipeline.settings import RockSettings

SECTORS = 8
CLUTTER_TO_M = 4.0
"""Vegetation up to here can hide a boulder or pass for one."""
ON_CAP_M = 0.3
"""A return this near the fitted cap lies on it: three times the ranging noise on a side as steep as 70 degrees."""


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
    n_ring : ground returns in the ring
    sectors_seen : of eight sectors of the ring, those with ground in them
    ring_rms_m : how far the ground of the ring departs from a plane
    fit_rms_m : how far the returns on the lump depart from a smooth cap
    n_inside : returns inside the outline, below the cap, that are not the last of their pulse
    n_over : the same within 2 m above the cap
    clutter : share of the last returns around that ended in low vegetation
    foot : height just outside the outline as a share of the lump's height
    drop : how much lower the returns just outside are than those just inside, as a share of the height
    open_share : share of the sectors seen just outside whose returns lie below three tenths of the height
    lean_m : how far the ground on the highest side of the ring stands above the plane
    flat_share : share of the lump's returns that a plane, or two leaning together, would hold within 0.1 m
    """

    height_m: Floats
    top_m: Floats
    width_m: Floats
    length_m: Floats
    n_on: Floats
    n_off: Floats
    n_through: Floats
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
    lean_m: Floats
    flat_share: Floats

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Evidence:
        """The evidence of the chosen lumps."""
        return Evidence(**{f.name: getattr(self, f.name)[which] for f in fields(self)})


@dataclass(frozen=True)
class FirstLook:
    """Measures of k lumps from the returns inside their outline alone, all (k,) float64; names as in `Evidence`."""

    n_on: Floats
    n_off: Floats
    n_through: Floats
    cap_rms_m: Floats
    height_m: Floats
    radius_m: Floats
    open_share: Floats


@dataclass(frozen=True)
class _Near:
    """Returns near lumps, one row a pair: lump, return, offset from it, distance beyond the outline, height."""

    lump: Labels
    index: Labels
    d_east: Floats
    d_north: Floats
    scaled: Floats
    beyond_m: Floats
    height: Floats
    is_last: NDArray[np.bool_]


def weigh_lumps(low: LowReturns, lumps: Lumps, /, *, settings: RockSettings) -> tuple[Evidence, Lumps]:
    """Measure every lump against the returns on it and in a ring around it.

    Returns
    -------
    The evidence, and the lumps with the outline of the returns found to lie on a solid surface.
    """
    near = _returns_near(low, lumps, settings.ring_m)
    k = len(lumps)
    plane, in_ring, ring_rms = _ground_plane(near, k)
    above = near.height - fitted(plane, _linear(near), near.lump)
    inside = near.scaled < 1.0
    candidate = inside & near.is_last & (above > settings.disc_ground_m)
    off_cap, cap_rms = _solid_cap(near, above, candidate, k)
    is_on = candidate & (np.abs(off_cap) < ON_CAP_M)
    on = Runs.of(near.lump[is_on], k)
    height = on.max(above[is_on])
    tall = np.maximum(np.nan_to_num(height), 0.1)
    around = near.is_last & ~inside & (near.beyond_m > 0.4) & (above < CLUTTER_TO_M)
    solid = _refined(near, lumps, is_on)
    half = solid.half_axes_m

    def count(which: NDArray[np.bool_]) -> Floats:
        return np.bincount(near.lump[which], minlength=k).astype(np.float64)

    foot, drop, open_share = _edge(near, above, is_on, tall, k)
    evidence = Evidence(
        height_m=height,
        top_m=on.max(near.height[is_on]),
        width_m=2 * half[:, 0],
        length_m=2 * half[:, 1],
        n_on=count(is_on),
        n_off=count(candidate & (off_cap >= ON_CAP_M) & (off_cap < 1.5)),
        n_through=count((near.scaled < 0.8) & near.is_last & (off_cap < -ON_CAP_M)),
        n_ring=count(in_ring),
        sectors_seen=_sectors_seen(near, in_ring, k),
        ring_rms_m=ring_rms,
        fit_rms_m=cap_rms,
        n_inside=count(inside & ~near.is_last & (above > settings.disc_ground_m) & (off_cap < ON_CAP_M)),
        n_over=count(inside & ~near.is_last & (off_cap >= ON_CAP_M) & (off_cap < 2.0)),
        clutter=(count(around & (above > settings.disc_least_m)) + 0.5) / (count(around) + 1.0),
        foot=foot,
        drop=drop,
        open_share=open_share,
        lean_m=_lean(near, above, in_ring, k),
        flat_share=_flat_share(near, above, is_on, solid, k),
    )
    return evidence, solid


def _refined(near: _Near, lumps: Lumps, is_on: NDArray[np.bool_]) -> Lumps:
    """The lumps with the moments of the returns that lie on their caps; unchanged where there is none."""
    east, north, shape = outline_of(near.lump[is_on], near.d_east[is_on], near.d_north[is_on], len(lumps))
    return Lumps(lumps.east + east, lumps.north + north, shape, lumps.open_share)


def look_at(low: LowReturns, lumps: Lumps, /, *, settings: RockSettings) -> FirstLook:
    """Measure the returns inside the outline of every lump, which is quick, over the opened ground."""
    near = _returns_near(low, lumps, 0.0)
    k = len(lumps)
    above = low.above_m[near.index]
    candidate = (near.scaled < 1.0) & near.is_last & (above > settings.disc_ground_m)
    off_cap, cap_rms = _solid_cap(near, above, candidate, k)
    is_on = candidate & (np.abs(off_cap) < ON_CAP_M)

    def count(which: NDArray[np.bool_]) -> Floats:
        return np.bincount(near.lump[which], minlength=k).astype(np.float64)

    return FirstLook(
        n_on=count(is_on),
        n_off=count(candidate & (off_cap >= ON_CAP_M) & (off_cap < 1.5)),
        n_through=count((near.scaled < 0.8) & near.is_last & (off_cap < -ON_CAP_M)),
        cap_rms_m=cap_rms,
        height_m=np.nan_to_num(Runs.of(near.lump[is_on], k).max(above[is_on])),
        radius_m=lumps.half_axes_m[:, 0],
        open_share=lumps.open_share,
    )


def _returns_near(low: LowReturns, lumps: Lumps, ring_m: float) -> _Near:
    """Every pair of a lump and a return inside its outline or up to `ring_m` beyond."""
    radius = lumps.half_axes_m[:, 1] + ring_m
    found = low.tree.query_ball_point(np.column_stack((lumps.east, lumps.north)), radius, return_sorted=True)
    n = np.array([len(one) for one in found], np.int64)
    index = np.concatenate([np.asarray(one, np.int64) for one in found]) if len(found) else np.empty(0, np.int64)
    lump = np.repeat(np.arange(len(lumps)), n)
    d_east, d_north = low.east[index] - lumps.east[lump], low.north[index] - lumps.north[lump]
    inverse = np.linalg.inv(lumps.shape_m2)
    of_east, of_both, of_north = (np.ascontiguousarray(inverse[:, i, j])[lump] for i, j in ((0, 0), (0, 1), (1, 1)))
    scaled = np.sqrt(of_east * d_east**2 + 2 * of_both * d_east * d_north + of_north * d_north**2)
    distance = np.hypot(d_east, d_north)
    beyond = distance * (1 - 1 / np.maximum(scaled, 1e-6))
    return _Near(lump, index, d_east, d_north, scaled, beyond, low.height[index], low.is_last[index])


def _ground_plane(near: _Near, k: int) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Plane of the ground around each lump, which returns lie on it, and their rms distance from it.

    Last returns well above the plane (bushes, grass) lose their weight step by step, those below keep it.
    """
    use = near.is_last & (near.beyond_m > 0.3)
    runs, height = Runs.of(near.lump[use], k), near.height[use]
    terms = _linear(near)[:, use]
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


def _solid_cap(near: _Near, above: Floats, candidate: NDArray[np.bool_], k: int) -> tuple[Floats, Floats]:
    """Height of every return inside an outline over a quadratic cap fitted to the candidates, and the rms of those.

    Returns above the cap (twigs over a boulder) lose their weight step by step, those below keep it.
    """
    inside = near.scaled < 1.0
    terms, of_inside = _quadratic(near.d_east[inside], near.d_north[inside]), candidate[inside]
    runs, height, on_cap = Runs.of(near.lump[candidate], k), above[candidate], terms[:, of_inside]
    weight = np.ones(len(height))
    for scale_m in (0.8, 0.5, 0.3, 0.25):
        cap = runs.fit(on_cap, height, weight, ridge=0.02)
        off = height - fitted(cap, on_cap, runs.label)
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    freedom = np.maximum(runs.sum(weight) - 3.0, 1.0)
    rms: Floats = np.sqrt(runs.sum(weight * off**2) / freedom)
    over = np.full(len(above), np.inf)
    over[inside] = above[inside] - fitted(cap, terms, near.lump[inside])
    return over, rms


def _linear(near: _Near) -> Floats:
    """(3, n) terms of a plane."""
    return np.stack((np.ones(len(near.lump)), near.d_east, near.d_north))


def _quadratic(e: Floats, n: Floats) -> Floats:
    """(6, n) terms of a quadratic."""
    return np.stack((np.ones(len(e)), e, n, e * e, e * n, n * n))


def _sectors_seen(near: _Near, which: NDArray[np.bool_], k: int) -> Floats:
    """How many of eight sectors hold a chosen return."""
    n = np.bincount(_sector(near, which), minlength=k * SECTORS)
    seen: Floats = (n > 0).reshape(k, SECTORS).sum(axis=1).astype(np.float64)
    return seen


def _sector(near: _Near, which: NDArray[np.bool_]) -> Labels:
    """Sector, counted over all lumps, of each chosen return."""
    turn = np.arctan2(near.d_north[which], near.d_east[which]) / (2 * np.pi) + 0.5
    return near.lump[which] * SECTORS + np.minimum((turn * SECTORS).astype(np.int64), SECTORS - 1)


def _edge(near: _Near, above: Floats, is_on: NDArray[np.bool_], tall: Floats, k: int) -> tuple[Floats, Floats, Floats]:
    """Foot, drop and open share of each lump: how hard its edge is."""
    share = above / tall[near.lump]
    outside = near.is_last & (share < 1.5)
    at_foot = outside & (near.beyond_m > 0.25) & (near.beyond_m < 0.9)
    foot = Runs.of(near.lump[at_foot], k).mean(np.clip(share[at_foot], 0, None))
    rim = is_on & (near.scaled > 0.55)
    drop = Runs.of(near.lump[rim], k).mean(share[rim]) - foot
    close = outside & (near.beyond_m > 0.2) & (near.beyond_m < 1.2)
    sector = _sector(near, close)
    n = np.bincount(sector, minlength=k * SECTORS)
    total = np.bincount(sector, weights=share[close], minlength=k * SECTORS)
    seen = (n > 0).reshape(k, SECTORS)
    is_open = (total < 0.3 * np.maximum(n, 1)).reshape(k, SECTORS) & seen
    return foot, drop, is_open.sum(axis=1) / np.maximum(seen.sum(axis=1), 1)


def _lean(near: _Near, above: Floats, in_ring: NDArray[np.bool_], k: int) -> Floats:
    """Highest mean of a sector's ground above the plane."""
    sector = _sector(near, in_ring)
    n = np.bincount(sector, minlength=k * SECTORS)
    mean = np.bincount(sector, weights=above[in_ring], minlength=k * SECTORS) / np.maximum(n, 1)
    highest: Floats = mean.reshape(k, SECTORS).max(axis=1)
    return highest


def _flat_share(near: _Near, above: Floats, is_on: NDArray[np.bool_], solid: Lumps, k: int) -> Floats:
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
