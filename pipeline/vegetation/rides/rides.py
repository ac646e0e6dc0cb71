"""Rides: straight openings through forest, a few metres wide, found from where pulses come through untouched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, box

from pipeline.features import make_features
from pipeline.lattice.grid import Bounds, EastNorth, Grid, Heights
from pipeline.lattice.windows import highest_around
from pipeline.outlines.squares import squares_over
from pipeline.vegetation.rides.contrast import DIRECTIONS, REACH_M, SIDE_M, strip_contrast
from pipeline.vegetation.rides.counts import Counts
from pipeline.vegetation.rides.follow import MIN_EVIDENCE, Ride, follow
from pipeline.vegetation.rides.variant import ride_symbol
from pipeline.vegetation.running.runnability import Limits

SAME_TURN_DEG = 20.0
"""A place on a ride already found whose direction turns off by less belongs to it: four of the directions tried (our
choice)."""

NEAR_M = 1024.0
"""Side in metres of the squares whose candidates are followed one after the other: with what rides reach beyond it,
such a square fits into the parts that `Counts` keeps in memory (our choice)."""


@dataclass(frozen=True)
class Candidates:
    """Places through which a ride may run.

    Attributes
    ----------
    place : (n, 2) east, north
    angle : (n,) direction, radians counter-clockwise from east
    strength : (n,) contrast of a strip in that direction with its clearer side
    """

    place: EastNorth
    angle: NDArray[np.float64]
    strength: NDArray[np.float64]

    @classmethod
    def join(cls, parts: Sequence[Candidates], /) -> Candidates:
        """Those of several fields, the strongest first, then from north to south and west to east."""
        place = np.concatenate([np.empty((0, 2)), *(part.place for part in parts)])
        angle = np.concatenate([np.empty(0), *(part.angle for part in parts)])
        strength = np.concatenate([np.empty(0), *(part.strength for part in parts)])
        order = np.lexsort((place[:, 0], -place[:, 1], -strength))
        return cls(place[order], angle[order], strength[order])


def ride_candidates(
    clear: Heights, pulses: Heights, grid: Grid, where: Bounds, /, *, min_contrast: float
) -> Candidates:
    """The places of strongest `strip_contrast`.

    Parameters
    ----------
    clear, pulses : (rows, cols) pulses that met no plant, and all pulses
    where : those on this ground; west and south edge are part of it, east and north edge are not
    min_contrast : share of the pulses by which a ride lets through more than its clearer side
    """
    easts, norths = grid.centres()
    near = int(SIDE_M / grid.cell_m)
    found = []
    for square in squares_over(grid, where, margin_m=REACH_M + SIDE_M):
        strength, direction = strip_contrast(square.around(clear), square.around(pulses), cell_m=grid.cell_m)
        is_peak = (strength == highest_around(strength, near)) & (strength >= min_contrast)
        row, col = np.nonzero(is_peak[square.inner])
        place = np.column_stack((easts[square.own[1]][col], norths[square.own[0]][row]))
        here = ((place >= where[:2]) & (place < where[2:])).all(axis=1)
        angle = direction[square.inner][row, col] * np.pi / DIRECTIONS
        strong = strength[square.inner][row, col].astype(np.float64)
        found.append(Candidates(place[here], angle[here], strong[here]))
    return Candidates.join(found)


def draw_rides(
    candidates: Candidates,
    counts: Counts,
    crs: str,
    /,
    *,
    limits: Limits,
    min_contrast: float,
    layer_m: float,
    extinction: float,
) -> gpd.GeoDataFrame:
    """Rides (508) as features, with the variant that their runnability asks for.

    Parameters
    ----------
    limits : densities (m2/m3) where 406, 408 and 410 begin
    min_contrast : share of the pulses by which a ride lets through more than its clearer side
    layer_m : thickness of the running layer
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    area = box(*counts.grid.bounds)
    found = [
        (line, ride)
        for ride in find_rides(candidates, counts, min_contrast=min_contrast)
        if isinstance(line := area.intersection(LineString([ride.start, ride.end])), LineString) and not line.is_empty
    ]
    return make_features(
        [line for line, _ in found],
        crs=crs,
        symbol=[ride_symbol(line, counts, limits=limits, layer_m=layer_m, extinction=extinction) for line, _ in found],
        confidence=[_confidence(ride) for _, ride in found],
        evidence=[_sentence(ride) for _, ride in found],
        width_m=[ride.width_m for _, ride in found],
    )


def _confidence(ride: Ride) -> float:
    """0.63 for the least evidence of a ride, 0.86 for twice as much.

    A guess, too low rather than too high: in six made scenes (`tests/benchmarks/vegetation_confidence.py`) all seven
    rides drawn ran along true rides or straight paths. None has been looked at on foot.
    """
    return 1 - float(np.exp(-ride.evidence / MIN_EVIDENCE))


def _sentence(ride: Ride) -> str:
    gap = f", joined over {ride.gap_m:.0f} m of open land" if ride.gap_m else ""
    return (
        f"{ride.clear_ratio:.0%} of pulses come through {ride.width_m:.0f} m wide, {ride.side_ratio:.0%} beside it, "
        f"over {ride.seen_m:.0f} m{gap}"
    )


def find_rides(candidates: Candidates, counts: Counts, /, *, min_contrast: float) -> list[Ride]:
    """Straight openings through forest, the clearest first.

    Along each candidate's line, sections as long as a crown is wide are compared with their two sides. A ride is a run
    of sections clearer than both sides: it may pass short gaps in forest (crowns that close above it), and reach across
    open land, where nothing shows it but nothing speaks against it either, if it goes on straight on the other side.
    What bends is no ride but a path or a track.

    Parameters
    ----------
    candidates : of the whole area, in the order of `Candidates.join`
    min_contrast : share of the pulses by which a ride lets through more than its clearer side
    """
    rides: list[Ride] = []
    ends = np.empty((0, 2, 2))
    followed = _followed(candidates, counts, min_contrast=min_contrast)
    for middle, angle, ride in zip(candidates.place, candidates.angle.tolist(), followed, strict=True):
        # A place just past the end of a ride leads back onto it.
        if ride is None or _lies_on(middle, angle, ends) or _lies_on(*_middle_of(ride), ends):
            continue
        rides.append(ride)
        ends = np.concatenate([ends, np.array([[ride.start, ride.end]])])
    return rides


def _followed(candidates: Candidates, counts: Counts, /, *, min_contrast: float) -> list[Ride | None]:
    """The ride through each candidate, or None; worked out square by square, as counts are read by parts."""
    square = np.floor(candidates.place / NEAR_M).astype(np.int64)
    found: list[Ride | None] = [None] * len(square)
    for number in np.lexsort((square[:, 0], square[:, 1])).tolist():
        found[number] = follow(
            candidates.place[number], float(candidates.angle[number]), counts, min_contrast=min_contrast
        )
    return found


def _middle_of(ride: Ride) -> tuple[NDArray[np.float64], float]:
    """Middle and direction (radians) of a ride."""
    start, end = np.array(ride.start), np.array(ride.end)
    return (start + end) / 2, float(np.arctan2(end[1] - start[1], end[0] - start[0]))


def _lies_on(middle: NDArray[np.float64], angle: float, ends: NDArray[np.float64]) -> bool:
    """Whether a candidate is part of a ride already found, of which (rides, 2, 2) east, north of the ends are given."""
    start, whole = ends[:, 0], ends[:, 1] - ends[:, 0]
    length = np.hypot(*whole.T)
    unit = whole / length[:, None]
    along = np.clip(((middle - start) * unit).sum(axis=1), 0, length)
    distance = np.hypot(*(middle - start - along[:, None] * unit).T)
    turn = np.abs((angle - np.arctan2(unit[:, 1], unit[:, 0]) + np.pi / 2) % np.pi - np.pi / 2)
    return bool(((distance < 2 * SIDE_M) & (turn < np.radians(SAME_TURN_DEG))).any())
