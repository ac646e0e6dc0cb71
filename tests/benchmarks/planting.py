"""Planted truth: boulders, bushes, stumps, log piles and cliff steps of known place and size put into a real cloud.

No open point cloud with mapped boulders or cliffs was found, so known ones are put into real tiles: every pulse
that the object would have stopped is traced again as seven rays within its footprint, the returns below are taken
away and what the receiver would have recorded from the object is put in their place, with ranging noise. Echoes
closer together than the range resolution melt into one, as they do in a real receiver, which blurs the edges of
boulders and makes low bushes come back as single returns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.returns.cloud import Cloud
from tests.benchmarks.rock_shapes import (
    FOLIAGE,
    FOLIAGE_FLICKER,
    Planted,
    brightness_of,
    draw_object,
    stopping_per_m,
)

Floats = NDArray[np.float64]

FOOTPRINT_M = 0.35
"""Diameter of a pulse on the ground: 0.25 to 0.5 mrad from 700 to 1400 m, as is common practice (no source)."""
RANGE_RESOLUTION_M = 0.8
"""Two echoes closer than this are recorded as one; half of a 5 ns pulse in air is 0.75 m (arithmetic)."""
LEAST_ENERGY = 2 / 7
"""Share of a pulse that an echo needs to be recorded: two of the seven rays that are traced (our choice)."""
RANGING_NOISE_M = 0.03
"""Standard deviation of a recorded height (common practice, no source)."""
SPLIT_REACH_M = 8.0
"""Returns of one pulse lie closer together in plan than this: 30 m of tree at 15 degrees off nadir."""
STEP_M = 0.05
"""Rays are followed downwards in steps of this."""
TAPER_M_PER_M = 2.2
"""Length over which a cliff step tapers off a metre: a flank of 25 degrees."""


def tilt_of(cloud: Cloud) -> tuple[Floats, Floats]:
    """(n,) metres east and north a pulse moves per metre upwards: the median of each flight line's split pulses."""
    east, north = np.zeros(len(cloud)), np.zeros(len(cloud))
    if not cloud.has_pulses:
        return east, north
    order = np.lexsort((cloud.return_number, cloud.gps_time, cloud.flight_line))
    first, second = order[:-1], order[1:]
    same = (cloud.gps_time[first] == cloud.gps_time[second]) & (cloud.flight_line[first] == cloud.flight_line[second])
    rise = cloud.height[first] - cloud.height[second]
    same &= rise > 2.0
    for line in np.unique(cloud.flight_line):
        of_line = same & (cloud.flight_line[first] == line)
        if of_line.sum() > 20:
            i, j = first[of_line], second[of_line]
            east[cloud.flight_line == line] = np.median((cloud.east[i] - cloud.east[j]) / rise[of_line])
            north[cloud.flight_line == line] = np.median((cloud.north[i] - cloud.north[j]) / rise[of_line])
    return east, north


def plant(
    cloud: Cloud,
    height_above_m: Floats,
    things: list[Planted],
    rng: np.random.Generator,
    /,
    *,
    apart_m: float = RANGE_RESOLUTION_M,
) -> Cloud:
    """The cloud as it would be if the objects stood there; returns of touched pulses move to the end.

    Echoes closer together than `apart_m` are recorded as one.
    """
    tilt_e, tilt_n = tilt_of(cloud)
    above = np.asarray(height_above_m, np.float64)
    lasts = np.flatnonzero(cloud.is_last & np.isfinite(above) & (above < 6))
    tree = cKDTree(cloud.en[lasts])
    pulse = _pulse_of(cloud)
    gone = np.zeros(len(cloud), bool)
    made: list[Cloud] = []
    for thing in things:
        near = lasts[tree.query_ball_point((thing.east, thing.north), thing.reach_m + 1.0)]
        near = np.sort(near[~gone[near]])
        stop = trace(thing, cloud, above, near, tilt_e, tilt_n, rng)
        bright, flicker = brightness_of(thing), FOLIAGE_FLICKER if thing.kind in FOLIAGE else 0.0
        hit = np.flatnonzero((stop > above[near][:, None] + 0.02).sum(axis=1) >= 2)
        for i in hit:
            last = near[i]
            siblings = pulse.members(last)
            # Some surveys round their times, so that pulses metres apart share one.
            apart = np.hypot(cloud.east[siblings] - cloud.east[last], cloud.north[siblings] - cloud.north[last])
            siblings = siblings[(apart < SPLIT_REACH_M) & ~gone[siblings]]
            echoes = _echoes(stop[i], rng, apart_m)
            kept = siblings[(above[siblings] > echoes[0] + apart_m) & (siblings != last)]
            gone[siblings] = True
            shown = bright * float(np.exp(rng.normal(0, flicker)))
            made.append(_remade(cloud, kept, last, echoes, above[last], tilt_e[last], tilt_n[last], shown))
    return Cloud.join([cloud.take(~gone), *made])


def trace(
    thing: Planted,
    cloud: Cloud,
    above: Floats,
    near: NDArray[np.intp],
    tilt_e: Floats,
    tilt_n: Floats,
    rng: np.random.Generator,
) -> Floats:
    """(m, 7) height above ground at which each ray of each pulse ends."""
    turn = np.append(np.arange(6) * np.pi / 3, 0)
    off = np.append(np.full(6, 0.35 * FOOTPRINT_M), 0)
    end = np.repeat(above[near][:, None], 7, axis=1)
    stop = end.copy()
    alive = np.ones_like(end, bool)
    budget = rng.exponential(1.0, end.shape)
    for height in np.arange(thing.height_m + 0.1, 0.0, -STEP_M):
        d_east = cloud.east[near][:, None] + off * np.cos(turn) + tilt_e[near][:, None] * (height - end) - thing.east
        d_north = cloud.north[near][:, None] + off * np.sin(turn) + tilt_n[near][:, None] * (height - end) - thing.north
        budget = budget - stopping_per_m(thing, d_east, d_north, np.full_like(end, height)) * STEP_M
        ends = alive & (budget < 0) & (height > end)
        stop[ends] = height
        alive &= ~ends
    return stop


def _echoes(stop: Floats, rng: np.random.Generator, apart_m: float) -> list[float]:
    """Heights a receiver records of rays that ended at `stop`, highest first."""
    order = np.sort(stop)[::-1]
    groups: list[list[float]] = []
    for height in order:
        if groups and groups[-1][0] - height < apart_m:
            groups[-1].append(float(height))
        else:
            groups.append([float(height)])
    strong = [group for group in groups if len(group) / len(order) >= LEAST_ENERGY] or [max(groups, key=len)]
    return [float(np.mean(group)) + float(rng.normal(0, RANGING_NOISE_M)) for group in strong]


@dataclass(frozen=True)
class _Pulses:
    order: NDArray[np.intp]
    start: NDArray[np.int64]
    of_return: NDArray[np.int64]

    def members(self, i: int) -> NDArray[np.intp]:
        """Returns of the pulse that return `i` belongs to."""
        p = self.of_return[i]
        return self.order[self.start[p] : self.start[p + 1]]


def _pulse_of(cloud: Cloud) -> _Pulses:
    """Returns grouped by pulse; every return its own pulse where the survey has no times."""
    if not cloud.has_pulses:
        n = len(cloud)
        return _Pulses(np.arange(n), np.arange(n + 1), np.arange(n))
    order = np.lexsort((cloud.return_number, cloud.gps_time, cloud.flight_line))
    new = np.ones(len(order), bool)
    new[1:] = (np.diff(cloud.gps_time[order]) != 0) | (np.diff(cloud.flight_line[order].astype(np.int64)) != 0)
    of_return = np.empty(len(order), np.int64)
    of_return[order] = np.cumsum(new) - 1
    return _Pulses(order, np.append(np.flatnonzero(new), len(order)), of_return)


def _remade(
    cloud: Cloud,
    kept: NDArray[np.intp],
    last: int,
    echoes: list[float],
    ended: float,
    tilt_e: float,
    tilt_n: float,
    bright: float,
) -> Cloud:
    """The returns of one pulse: those kept from above the object, then its echoes, so bright beside the ground.

    Echoes share what the last return had.
    """
    index = np.append(kept, np.full(len(echoes), last)).astype(np.intp)
    pulse = cloud.take(index)
    up = np.append(np.zeros(len(kept)), np.asarray(echoes) - ended)
    n = len(index)
    has_numbers = bool(cloud.n_returns[last] > 0)
    share = np.append(np.ones(len(kept)), np.full(len(echoes), bright / len(echoes)))
    intensity = np.clip(np.round(pulse.intensity * share), np.minimum(pulse.intensity, 1), 65535).astype(np.uint16)
    return replace(
        pulse,
        east=pulse.east + tilt_e * up,
        north=pulse.north + tilt_n * up,
        height=pulse.height + up,
        intensity=intensity,
        return_number=np.arange(1, n + 1).astype(np.uint8) if has_numbers else pulse.return_number,
        n_returns=np.full(n, n, np.uint8) if has_numbers else pulse.n_returns,
    )


def scatter(
    cloud: Cloud, rng: np.random.Generator, /, *, counts: dict[str, int], spacing_m: float = 9.0, margin_m: float = 8.0
) -> list[Planted]:
    """Objects of the kinds asked for, at random places of the cloud no closer together than `spacing_m`."""
    west, east = cloud.east.min() + margin_m, cloud.east.max() - margin_m
    south, north = cloud.north.min() + margin_m, cloud.north.max() - margin_m
    tree = cKDTree(cloud.en)
    kinds = [kind for kind, n in counts.items() for _ in range(n)]
    rng.shuffle(kinds)
    things: list[Planted] = []
    for kind in kinds:
        for _ in range(200):
            place = np.array([rng.uniform(west, east), rng.uniform(south, north)])
            free = all(np.hypot(place[0] - t.east, place[1] - t.north) > spacing_m for t in things)
            if free and len(tree.query_ball_point(place, 2.0)) > 4:
                things.append(draw_object(kind, rng, float(place[0]), float(place[1])))
                break
    return things


def reaching_per_m2(cloud: Cloud, height_above_m: Floats, things: list[Planted], /) -> Floats:
    """(k,) last returns from within 0.4 m of the ground, per m2, before planting, where each object will stand.

    Counted over the outline of the object and 0.5 m around it, at least over a circle of 1.5 m.
    """
    above = np.asarray(height_above_m)
    tree = cKDTree(cloud.en[cloud.is_last & (np.abs(above) < 0.4)])
    places = np.array([(thing.east, thing.north) for thing in things]).reshape(-1, 2)
    radius = np.array([max(thing.width_m, thing.length_m, 2.0) / 2 + 0.5 for thing in things])
    return np.asarray(tree.query_ball_point(places, radius, return_length=True)) / (np.pi * radius**2)


def raise_step(
    cloud: Cloud, start: tuple[float, float], end: tuple[float, float], /, *, height_m: float, fade_m: float = 25.0
) -> Cloud:
    """The cloud with a cliff step from `start` to `end`: everything on the left is lifted, fading out behind.

    The face is 0.3 m deep in plan. Towards its ends the step tapers off at 25 degrees, so that its flanks are slopes.
    """
    along = np.array(end) - np.array(start)
    length = float(np.hypot(*along))
    along = along / length
    d = cloud.en - np.array(start)
    s = d @ along
    left = d @ np.array([-along[1], along[0]])
    taper = np.clip(np.minimum(s, length - s) / (height_m * TAPER_M_PER_M), 0, 1)
    rise = np.clip(left / 0.3 + 0.5, 0, 1) * np.clip(1 - left / fade_m, 0, 1)
    return replace(cloud, height=cloud.height + height_m * taper * rise)
