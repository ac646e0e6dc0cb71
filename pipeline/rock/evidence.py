"""What speaks for and against a lump being rock, measured in the returns on it and around it."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pipeline.rock.lumps import Floats, Labels, LowReturns, Lumps, outline_of
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
    above = near.height - _plane_at(plane, near)
    inside = near.scaled < 1.0
    candidate = inside & near.is_last & (above > settings.disc_ground_m)
    off_cap, cap_rms = _solid_cap(near, above, candidate, k)
    is_on = candidate & (np.abs(off_cap) < ON_CAP_M)
    height = _max_of(above[is_on], near.lump[is_on], k)
    tall = np.maximum(np.nan_to_num(height), 0.1)
    around = near.is_last & ~inside & (near.beyond_m > 0.4) & (above < CLUTTER_TO_M)
    solid = _refined(near, lumps, is_on)
    half = solid.half_axes_m

    def count(which: NDArray[np.bool_]) -> Floats:
        return np.bincount(near.lump[which], minlength=k).astype(np.float64)

    foot, drop, open_share = _edge(near, above, is_on, tall, k)
    evidence = Evidence(
        height_m=height,
        top_m=_max_of(near.height[is_on], near.lump[is_on], k),
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
        height_m=np.nan_to_num(_max_of(above[is_on], near.lump[is_on], k)),
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
    inverse = np.linalg.inv(lumps.shape_m2)[lump]
    scaled = np.sqrt(
        inverse[:, 0, 0] * d_east**2 + 2 * inverse[:, 0, 1] * d_east * d_north + inverse[:, 1, 1] * d_north**2
    )
    distance = np.hypot(d_east, d_north)
    beyond = distance * (1 - 1 / np.maximum(scaled, 1e-6))
    return _Near(lump, index, d_east, d_north, scaled, beyond, low.height[index], low.is_last[index])


def _ground_plane(near: _Near, k: int) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Plane of the ground around each lump, which returns lie on it, and their rms distance from it.

    Last returns well above the plane (bushes, grass) lose their weight step by step, those below keep it.
    """
    use = near.is_last & (near.beyond_m > 0.3)
    lump, height = near.lump[use], near.height[use]
    terms = np.column_stack((np.ones(use.sum()), near.d_east[use], near.d_north[use]))
    lowest = _max_of(-height, lump, k)
    start = np.clip(height + np.nan_to_num(lowest)[lump], 0, None)
    weight = 1 / (1 + (start / 1.5) ** 2)
    plane = np.zeros((k, 3))
    for scale_m in (0.6, 0.35, 0.25, 0.2, 0.2):
        plane = _solve(terms, height, weight, lump, k)
        off = height - np.einsum("ij,ij->i", terms, plane[lump])
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    is_ground = np.zeros(len(near.lump), bool)
    is_ground[use] = np.abs(off) < 0.35
    square = _mean_of(np.minimum(np.abs(off), 1.0) ** 2 * weight, lump, k) / np.maximum(_mean_of(weight, lump, k), 1e-6)
    return plane, is_ground, np.sqrt(np.nan_to_num(square, nan=1.0))


def _solve(terms: Floats, values: Floats, weight: Floats, lump: Labels, k: int, ridge: float = 0.05) -> Floats:
    """Weighted least squares of each lump; a light ridge on all but the mean keeps few returns from tilting it."""
    n = terms.shape[1]
    mean = np.bincount(lump, weights=values * weight, minlength=k) / np.maximum(
        np.bincount(lump, weights=weight, minlength=k), 1e-9
    )
    left = values - mean[lump]
    normal = np.empty((k, n, n))
    right = np.empty((k, n))
    for i in range(n):
        right[:, i] = np.bincount(lump, weights=terms[:, i] * left * weight, minlength=k)
        for j in range(i, n):
            normal[:, i, j] = normal[:, j, i] = np.bincount(
                lump, weights=terms[:, i] * terms[:, j] * weight, minlength=k
            )
    normal += np.eye(n) * ridge
    solved: Floats = np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], np.float64)
    solved[:, 0] += mean
    return solved


def _plane_at(plane: Floats, near: _Near) -> Floats:
    p = plane[near.lump]
    flat: Floats = p[:, 0] + p[:, 1] * near.d_east + p[:, 2] * near.d_north
    return flat


def _solid_cap(near: _Near, above: Floats, candidate: NDArray[np.bool_], k: int) -> tuple[Floats, Floats]:
    """Height of every return over a quadratic cap fitted to each lump, and the rms of those on it.

    Returns above the cap (twigs over a boulder) lose their weight step by step, those below keep it.
    """
    terms = np.column_stack((np.ones(len(above)), _quadratic(near)))
    lump = near.lump[candidate]
    weight = np.ones(len(lump))
    for scale_m in (0.8, 0.5, 0.3, 0.25):
        cap = _solve(terms[candidate], above[candidate], weight, lump, k, ridge=0.02)
        off = above[candidate] - np.einsum("ij,ij->i", terms[candidate], cap[lump])
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    freedom = np.maximum(np.bincount(lump, weights=weight, minlength=k) - 3.0, 1.0)
    rms: Floats = np.sqrt(np.bincount(lump, weights=weight * off**2, minlength=k) / freedom)
    return above - np.einsum("ij,ij->i", terms, cap[near.lump]), rms


def _quadratic(near: _Near) -> Floats:
    e, n = near.d_east, near.d_north
    return np.column_stack((e, n, e * e, e * n, n * n))


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
    foot = _mean_of(np.clip(share[at_foot], 0, None), near.lump[at_foot], k)
    rim = is_on & (near.scaled > 0.55)
    drop = _mean_of(share[rim], near.lump[rim], k) - foot
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
    lump = near.lump[is_on]
    axis = np.linalg.eigh(solid.shape_m2)[1][:, :, 1][lump]
    e, n = near.d_east[is_on], near.d_north[is_on]
    across = np.abs(e * axis[:, 1] - n * axis[:, 0])
    along = e * axis[:, 0] + n * axis[:, 1]
    terms = np.column_stack((np.ones(len(e)), across, along))
    weight = np.ones(len(e))
    for _ in range(3):
        roof = _solve(terms, above[is_on], weight, lump, k, ridge=0.02)
        off = np.abs(above[is_on] - np.einsum("ij,ij->i", terms, roof[lump]))
        weight = 1 / (1 + (off / 0.15) ** 4)
    return _mean_of((off < 0.1).astype(np.float64), lump, k)


def _max_of(values: Floats, lump: Labels, k: int) -> Floats:
    """Largest value of each lump; NaN where it has none."""
    best = np.full(k, -np.inf)
    np.maximum.at(best, lump, values)
    return np.where(np.isinf(best), np.nan, best)


def _mean_of(values: Floats, lump: Labels, k: int) -> Floats:
    """Mean value of each lump; 0 where it has none."""
    n = np.bincount(lump, minlength=k)
    mean: Floats = np.bincount(lump, weights=values, minlength=k) / np.maximum(n, 1)
    return mean
