"""The returns of lumps, and the smooth cap that those on something solid lie on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.runs import Runs, fitted
from pipeline.rock.boulders.discs import DISC_GROUND_M
from pipeline.rock.boulders.low_returns import Floats, Labels, LowReturns
from pipeline.rock.boulders.lumps import Lumps, outline_of


@dataclass(frozen=True)
class Near:
    """Pairs of a lump and a return near it, (n,) each, sorted by lump.

    Attributes
    ----------
    lump, index : number of the lump and of the return
    d_east, d_north : metres from the middle of the lump to the return
    scaled : distance from the middle as a share of the outline's radius: below 1 the return lies inside
    beyond_m : metres beyond the outline; below 0 inside
    height, is_last, flight_line : of the return
    """

    lump: Labels
    index: Labels
    d_east: Floats
    d_north: Floats
    scaled: Floats
    beyond_m: Floats
    height: Floats
    is_last: NDArray[np.bool_]
    flight_line: NDArray[np.uint16]

    def count(self, which: NDArray[np.bool_], k: int, /) -> Floats:
        """(k,) how many of the chosen returns each lump has."""
        return np.bincount(self.lump[which], minlength=k).astype(np.float64)


def returns_near(low: LowReturns, discs: Lumps, ring_m: float, /) -> Near:
    """Every pair of a lump with a round outline and a return inside that or up to `ring_m` beyond."""
    radius = discs.half_axes_m[:, 1]
    n, index = low.buckets.within(discs.east, discs.north, radius + ring_m)
    lump, edge_m = np.repeat(np.arange(len(discs)), n), np.repeat(radius, n)
    d_east = low.east[index] - np.repeat(discs.east, n)
    d_north = low.north[index] - np.repeat(discs.north, n)
    distance = np.sqrt(d_east**2 + d_north**2)
    height, is_last, flight_line = low.height[index], low.is_last[index], low.flight_line[index]
    return Near(lump, index, d_east, d_north, distance / edge_m, distance - edge_m, height, is_last, flight_line)


@dataclass(frozen=True)
class Caps:
    """What lies on the cap of each of k lumps and beside it.

    Attributes
    ----------
    is_on, off_m : (n,) which of the returns near lie on the cap, and how far each is above it (inf outside the outline)
    height_m : (k,) highest return on the cap; NaN where there is none
    n_on : (k,) last returns on the cap
    n_off : (k,) last returns inside the outline up to 1.5 m above the cap
    high : (k,) last returns farther above the cap, as a share of those on it
    n_through : (k,) last returns well inside the outline that ended below the cap
    core : (k,) of the last returns in the inner half of the outline, up to the height of boughs over the cap, the share
        that ended below the cap
    full : (k,) mean height of the returns on the cap as a share of the height
    n_inside : (k,) returns inside the outline, below the cap, that are not the last of their pulse
    n_over : (k,) returns up to 2 m above the cap that are not the last of their pulse
    rms_m : (k,) how far the returns on the lump depart from the cap
    grain_m : (k,) how much the height changes from one return on the cap to the next
    dome : (k,) how far the cap falls from its middle to the outline, as a share of the height
    tilt : (k,) how far the cap rises across half the outline, as a share of the height
    """

    is_on: NDArray[np.bool_]
    off_m: Floats
    height_m: Floats
    n_on: Floats
    n_off: Floats
    high: Floats
    n_through: Floats
    core: Floats
    full: Floats
    n_inside: Floats
    n_over: Floats
    rms_m: Floats
    grain_m: Floats
    dome: Floats
    tilt: Floats


ON_CAP_M = 0.3
"""A return this near the fitted cap lies on it: three times what ranging noise makes of a side of 70 degrees."""
WELL_INSIDE_SHARE = 0.8
"""Only within this share of the outline's radius a last return below the cap counts as having gone through the lump:
nearer the edge it may have passed beside it."""
CORE_SHARE = 0.5
"""Share of the outline's radius within which nothing can have passed beside a boulder, even where lines lie 0.3 m
apart: what ended below the cap there went through it."""
BOUGH_OVER_M = 1.5
"""Last returns up to so far above a cap are of boughs close over it, those above of crowns (our choice)."""
SPLIT_OVER_M = 2.0
"""Returns up to so far above a cap that are not the last of their pulse count as split by what grows on it (our
choice)."""


def look_at_caps(near: Near, above: Floats, lumps: Lumps, /) -> Caps:
    """The caps of lumps, from the returns near them and their height above the ground."""
    k = len(lumps)
    inside = near.scaled < 1.0
    is_low = above <= DISC_GROUND_M
    candidate = inside & near.is_last & ~is_low
    off, rms, cap = _solid_cap(near, above, candidate, k)
    is_on = candidate & (np.abs(off) < ON_CAP_M)
    height = Runs.of(near.lump[is_on], k).max(above[is_on])
    part = inside & ~near.is_last
    in_core = (near.scaled < CORE_SHARE) & near.is_last & (off < BOUGH_OVER_M)
    n_on = near.count(is_on, k)
    dome, tilt = _dome(cap, lumps, np.maximum(np.nan_to_num(height), 0.1))
    return Caps(
        is_on=is_on,
        off_m=off,
        height_m=height,
        n_on=n_on,
        n_off=near.count(candidate & (off >= ON_CAP_M) & (off < BOUGH_OVER_M), k),
        high=near.count(candidate & (off >= BOUGH_OVER_M), k) / np.maximum(n_on, 1),
        n_through=near.count((near.scaled < WELL_INSIDE_SHARE) & near.is_last & (off < -ON_CAP_M), k),
        core=near.count(in_core & (off < -ON_CAP_M), k) / np.maximum(near.count(in_core, k), 1),
        full=np.nan_to_num(Runs.of(near.lump[is_on], k).mean(above[is_on]) / np.maximum(height, 0.1)),
        n_inside=near.count(part & ~is_low & (off < ON_CAP_M), k),
        n_over=near.count(part & (off >= ON_CAP_M) & (off < SPLIT_OVER_M), k),
        rms_m=rms,
        grain_m=_grain(near, above, is_on, k),
        dome=dome,
        tilt=tilt,
    )


def _solid_cap(near: Near, above: Floats, candidate: NDArray[np.bool_], k: int) -> tuple[Floats, Floats, Floats]:
    """Height of the returns inside an outline over a quadratic cap fitted to the candidates, rms of those, the cap.

    Returns above the cap (twigs over a boulder) lose their weight step by step, those below keep it.
    """
    inside = near.scaled < 1.0
    terms, of_inside = _quadratic(near.d_east[inside], near.d_north[inside]), candidate[inside]
    runs, height, on_cap = Runs.of(near.lump[candidate], k), above[candidate], terms.compress(of_inside, axis=1)
    weight = np.ones(len(height))
    for scale_m in (0.8, 0.5, 0.3, 0.25):
        cap = runs.fit(on_cap, height, weight, ridge=0.02)
        off = height - fitted(cap, on_cap, runs.label)
        weight = 1 / (1 + (np.clip(off, 0, None) / scale_m) ** 4)
    freedom = np.maximum(runs.sum(weight) - 3.0, 1.0)
    rms: Floats = np.sqrt(runs.sum(weight * off**2) / freedom)
    over = np.full(len(above), np.inf)
    over[inside] = above[inside] - fitted(cap, terms, near.lump[inside])
    return over, rms, cap


def _quadratic(e: Floats, n: Floats) -> Floats:
    """(6, n) terms of a quadratic."""
    return np.stack((np.ones(len(e)), e, n, e * e, e * n, n * n))


def _dome(cap: Floats, lumps: Lumps, tall: Floats) -> tuple[Floats, Floats]:
    """Dome and tilt of each cap: rock is humped, boughs and grass sag as often as they rise."""
    reach_m2 = np.prod(lumps.half_axes_m, axis=1)
    dome = -(cap[:, 3] + cap[:, 5]) / 2 * reach_m2 / tall
    return dome, np.hypot(cap[:, 1], cap[:, 2]) * np.sqrt(reach_m2) / tall


STRIP_M = 0.4
"""Width of the strips in which the returns on a lump are looked at one after the other: about as far apart as returns
lie at 6 a square metre."""
BLUR_M = 0.2
"""Added to the distance of two returns before their change in height is divided by its root: beams that all but
overlap still differ, by what the width of a beam blurs (our choice)."""
MAX_STRIPS = 64
"""Strips a lump can be cut into: they span 26 m, twice the widest outline; what lies farther falls into the last."""
MAX_STEP_MM = 2**15
"""Places along a strip are sorted by whole millimetres, of which so many are told apart: 33 m."""


def _grain(near: Near, above: Floats, is_on: NDArray[np.bool_], k: int) -> Floats:
    """How much the height changes, in metres, from one return on a cap to the next, along strips both ways.

    Boughs that form an even surface on the whole still jump from one return to the next; rock has steps, but few. The
    change is divided by the root of the distance (and `BLUR_M`), so that pulse density hardly matters.
    """
    lump, height = near.lump[is_on], above[is_on]
    places = near.d_east[is_on], near.d_north[is_on]
    found = np.zeros(k)
    for across, along in (places, places[::-1]):
        number = np.floor(across / STRIP_M).astype(np.int64) + MAX_STRIPS // 2
        strip = lump * MAX_STRIPS + np.clip(number, 0, MAX_STRIPS - 1)
        step_mm = np.clip((along * 1000).astype(np.int64) + MAX_STEP_MM // 2, 0, MAX_STEP_MM - 1)
        order = np.argsort(strip * MAX_STEP_MM + step_mm, kind="stable")
        is_next = np.diff(strip[order]) == 0
        apart = np.hypot(np.diff(across[order]), np.diff(along[order]))[is_next]
        change = np.abs(np.diff(height[order]))[is_next] / np.sqrt(BLUR_M + apart)
        found += Runs.of(lump[order][1:][is_next], k).mean(np.minimum(change, 1.0)) / 2
    return found


def refined(near: Near, lumps: Lumps, is_on: NDArray[np.bool_], /) -> Lumps:
    """The lumps with the moments of the returns that lie on their caps; unchanged where there is none."""
    east, north, shape = outline_of(near.lump[is_on], near.d_east[is_on], near.d_north[is_on], len(lumps))
    return Lumps(lumps.east + east, lumps.north + north, shape, lumps.open_share)
