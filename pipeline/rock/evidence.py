"""What speaks for and against a lump being rock, measured in the returns on it and around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.rock.lumps import Floats, Labels, LowReturns, Lumps
from pipeline.settings import RockSettings

SECTORS = 8


@dataclass(frozen=True)
class Evidence:
    """Measures of k lumps, all (k,) float64.

    Attributes
    ----------
    height_m : highest return above the plane of the ground around
    top_m : elevation of that return
    width_m, length_m : short and long axis of the outline
    n_on : last returns on the lump
    n_through : last returns inside the outline that ended near the ground
    n_ring : ground returns in the ring
    sectors_seen : of eight sectors of the ring, those with ground in them
    ring_rms_m : how far the ground of the ring departs from a plane
    fit_rms_m : how far the returns on the lump depart from a smooth cap
    n_inside : returns that are not the last of their pulse, at the height of the lump
    n_over : returns within 2 m over the top
    clutter : share of the last returns around that ended in low vegetation
    foot : height just outside the outline as a share of the lump's height
    """

    height_m: Floats
    top_m: Floats
    width_m: Floats
    length_m: Floats
    n_on: Floats
    n_through: Floats
    n_ring: Floats
    sectors_seen: Floats
    ring_rms_m: Floats
    fit_rms_m: Floats
    n_inside: Floats
    n_over: Floats
    clutter: Floats
    foot: Floats


@dataclass(frozen=True)
class _Near:
    """Returns near lumps, one row a pair: lump, offset from it, distance beyond the outline, height."""

    lump: Labels
    d_east: Floats
    d_north: Floats
    scaled: Floats
    beyond_m: Floats
    height: Floats
    is_last: NDArray[np.bool_]


def weigh_lumps(low: LowReturns, lumps: Lumps, /, *, settings: RockSettings) -> Evidence:
    """Measure every lump against the returns on it and in a ring around it."""
    near = _returns_near(low, lumps, settings.ring_m)
    k = len(lumps)
    plane, in_ring, ring_rms = _ground_plane(near, k)
    above = near.height - _plane_at(plane, near)
    inside = near.scaled < 1.0
    is_on = inside & near.is_last & (above > 0.5 * lumps.level_m[near.lump])
    height = _max_of(above[is_on], near.lump[is_on], k)
    fit_on = is_on & (above > 0.35 * height[near.lump])
    tall = height[near.lump]
    low_cut = np.minimum(0.3 * tall, 0.4)
    around = near.is_last & ~inside & (near.beyond_m > 0.4) & (above < 4.0)
    at_foot = near.is_last & (near.beyond_m > 0.25) & (near.beyond_m < 0.9) & (above < 1.5 * tall)
    half = lumps.half_axes_m

    def count(which: NDArray[np.bool_]) -> Floats:
        return np.bincount(near.lump[which], minlength=k).astype(np.float64)

    return Evidence(
        height_m=height,
        top_m=_max_of(near.height[is_on], near.lump[is_on], k),
        width_m=2 * half[:, 0],
        length_m=2 * half[:, 1],
        n_on=count(is_on),
        n_through=count((near.scaled < 0.8) & near.is_last & (above < low_cut)),
        n_ring=count(in_ring),
        sectors_seen=_sectors(near, in_ring, k),
        ring_rms_m=ring_rms,
        fit_rms_m=_cap_rms(near, above, fit_on, k),
        n_inside=count(inside & ~near.is_last & (above > 0.3) & (above < tall + 0.3)),
        n_over=count(inside & (above > tall + 0.05) & (above < tall + 2.0)),
        clutter=(count(around & (above > 0.4)) + 0.5) / (count(around) + 1.0),
        foot=_mean_of(np.clip(above[at_foot], 0, None), near.lump[at_foot], k) / np.maximum(height, 0.1),
    )


def _returns_near(low: LowReturns, lumps: Lumps, ring_m: float) -> _Near:
    """Every pair of a lump and a return inside its outline or up to `ring_m` beyond."""
    radius = lumps.half_axes_m[:, 1] + ring_m
    tree = cKDTree(np.column_stack((low.east, low.north)), balanced_tree=False, compact_nodes=False)
    found = tree.query_ball_point(np.column_stack((lumps.east, lumps.north)), radius, return_sorted=True)
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
    return _Near(lump, d_east, d_north, scaled, beyond, low.height[index], low.is_last[index])


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
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    solved[:, 0] += mean
    return solved


def _plane_at(plane: Floats, near: _Near) -> Floats:
    p = plane[near.lump]
    flat: Floats = p[:, 0] + p[:, 1] * near.d_east + p[:, 2] * near.d_north
    return flat


def _cap_rms(near: _Near, above: Floats, on: NDArray[np.bool_], k: int) -> Floats:
    """Rms distance of the returns on each lump from a fitted quadratic cap, corrected for the freedom of the fit."""
    lump, e, n = near.lump[on], near.d_east[on], near.d_north[on]
    terms = np.column_stack((np.ones(len(e)), e, n, e * e, e * n, n * n))
    cap = _solve(terms, above[on], np.ones(len(e)), lump, k)
    square = (above[on] - np.einsum("ij,ij->i", terms, cap[lump])) ** 2
    freedom = np.maximum(np.bincount(lump, minlength=k) - 4.0, 1.0)
    rms: Floats = np.sqrt(np.bincount(lump, weights=square, minlength=k) / freedom)
    return rms


def _sectors(near: _Near, which: NDArray[np.bool_], k: int) -> Floats:
    """How many of eight sectors hold a chosen return."""
    turn = np.arctan2(near.d_north[which], near.d_east[which]) / (2 * np.pi) + 0.5
    sector = np.minimum((turn * SECTORS).astype(np.int64), SECTORS - 1)
    seen = np.zeros((k, SECTORS))
    seen[near.lump[which], sector] = 1
    return seen.sum(axis=1)


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
