"""What kind of watercourse a course is: its size, and whether people dug it."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.water.running.sections import (
    APART_M,
    OFFSETS_M,
    STEP_M,
    Numbers,
    Sections,
    mean_over_smooth_m,
    over_smooth_m,
)

SMALL_TIMES, LARGE_TIMES = 10.0, 100.0
"""How many times the ground that a stream needs to begin must drain to it until it runs all year (305), and until it is
2 m wide (304): 20 ha and 2 km2 in a moderate climate. The width of streams grows with about the root of the ground
(Leopold & Maddock 1953); where it passes 2 m is our choice."""
WIDE_M = 2.0
"""Width of open water, in metres, from which a watercourse is 304 (ISOM 2017-2: should be at least 2 m wide)."""
SEEN_M = 1.0
"""Width of open water, in metres, from which it counts as seen: two places of a cross-section. Our choice."""
WATER_MAX_RATIO = 0.35
"""Share of the pulses beside it that come back from a bed with open water. Our choice, as for ponds."""
BESIDE_M = (5.0, 8.0)
"""Distance from the line, in metres, at which the pulses are counted that the bed is compared with. Our choice."""
LEAST_PULSES = 0.5
"""Pulses a cell beside the bed from which missing ones tell of water. Our choice."""
STRAIGHT_OVER_M = 60.0
"""Length of course, in metres, over which it is judged whether it is straight: streams wind within some twenty of their
widths (Leopold & Wolman 1960). Our choice."""
STRAIGHT_MAX_OFF_M = 0.9
"""Mean distance in metres, from the straight line between the ends of such a stretch, up to which it is straight: half
a cell of the lattice that water is led over. Our choice."""
VALLEY_AT_M = (12.0, 20.0)
"""Distance from the line, in metres, at which the sides of a valley stand higher than the bank of a ditch. Our
choice."""
VALLEY_MIN_RISE_M = 1.5
"""How much higher, in metres, than the bank the lower side of a valley stands there. A straight bed in a valley is a
gully; one without a valley was dug. Our choice."""


def open_water_m(sections: Sections, /) -> Numbers:
    """(n,) width of open water in metres around the bed, over `incision.SMOOTH_M`: pulses that met nothing."""
    near = np.abs(OFFSETS_M) <= BESIDE_M[1]
    aside = np.abs(OFFSETS_M[near])
    aimed = mean_over_smooth_m(sections.aimed[:, near], sections)
    usual = aimed[:, aside >= BESIDE_M[0]].mean(axis=1)
    few = (aimed < WATER_MAX_RATIO * usual[:, None]) & (usual >= LEAST_PULSES)[:, None] & (aside <= BESIDE_M[0])
    return over_smooth_m(_run_at(few, sections.bed - np.argmax(near)) * STEP_M, sections)


def _run_at(rows: NDArray[np.bool_], at: NDArray[np.intp]) -> NDArray[np.float64]:
    """(n,) length of the longest run of each row that holds a place or one beside it; 0 where there is none."""
    columns = np.arange(rows.shape[1])
    before = np.maximum.accumulate(np.where(rows, -1, columns), axis=1)
    after = np.minimum.accumulate(np.where(rows, len(columns), columns)[:, ::-1], axis=1)[:, ::-1]
    length = np.where(rows, after - before - 1, 0)
    near = np.clip(at[:, None] + np.array([-1, 0, 1]), 0, len(columns) - 1)
    return np.asarray(np.take_along_axis(length, near, axis=1).max(axis=1), np.float64)


def is_straight(line: LineString, along_m: Numbers, /) -> NDArray[np.bool_]:
    """(n,) around which places of a line it is straight over `STRAIGHT_OVER_M`, or as far as it reaches."""
    half = STRAIGHT_OVER_M / 2
    steps = np.linspace(-half, half, 13)
    start = np.clip(along_m, min(half, line.length / 2), max(line.length - half, line.length / 2))
    at = np.clip(start[:, None] + steps, 0, line.length)
    places = shapely.get_coordinates(shapely.line_interpolate_point(line, at.ravel())).reshape(*at.shape, 2)
    chord = places[:, -1] - places[:, 0]
    length = np.maximum(np.hypot(*chord.T), 1e-9)
    away = places - places[:, :1]
    off = np.abs(away[..., 0] * chord[:, None, 1] - away[..., 1] * chord[:, None, 0]) / length[:, None]
    straight: NDArray[np.bool_] = off.mean(axis=1) <= STRAIGHT_MAX_OFF_M
    return straight


def has_valley(sections: Sections, /) -> NDArray[np.bool_]:
    """(n,) around which cross-sections both sides rise on beyond the bank, over `incision.SMOOTH_M`."""
    away = (np.abs(OFFSETS_M) >= VALLEY_AT_M[0]) & (np.abs(OFFSETS_M) <= VALLEY_AT_M[1])
    rise = [np.nan_to_num(sections.rise_m[:, away & half].mean(axis=1)) for half in (OFFSETS_M < 0, OFFSETS_M > 0)]
    return over_smooth_m(np.minimum(*rise), sections) >= VALLEY_MIN_RISE_M


def symbols_of(
    drained_m2: Numbers, water_m: Numbers, dug: NDArray[np.bool_], /, *, begins_m2: float
) -> NDArray[np.str_]:
    """(n,) number of the symbol at each cross-section: 304 for wide water, 305 for what runs all year, 306 else.

    What was dug is 306 unless water as wide as a stream was seen in it. Size never shrinks downstream.
    """
    wide = (water_m >= WIDE_M) | (drained_m2 >= LARGE_TIMES * begins_m2) & ~dug
    small = (water_m >= SEEN_M) | (drained_m2 >= SMALL_TIMES * begins_m2) & ~dug
    return np.where(wide, "304", np.where(small, "305", "306"))


def runs_of(kind: NDArray[np.str_] | NDArray[np.int64], least_m: float, /) -> list[tuple[int, int]]:
    """Stretches of one kind as first and last place (exclusive); one shorter than `least_m` joins its neighbour."""
    edges = [0, *(np.flatnonzero(kind[1:] != kind[:-1]) + 1).tolist(), len(kind)]
    runs: list[tuple[int, int]] = []
    for start, stop in itertools.pairwise(edges):
        before = runs[-1] if runs else None
        joins = before and (
            min(stop - start, before[1] - before[0]) * APART_M < least_m or kind[before[0]] == kind[start]
        )
        if before and joins:
            runs[-1] = (before[0], stop)
        else:
            runs.append((start, stop))
    return runs
