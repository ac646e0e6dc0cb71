"""Rides: straight openings through forest, a few metres wide, found from where pulses come through untouched."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, box

from pipeline.features import make_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import larger_cells, sum_into
from pipeline.lattice.windows import highest_around
from pipeline.vegetation.rides.contrast import SIDE_M, Contrast, strip_contrast
from pipeline.vegetation.rides.follow import MIN_EVIDENCE, Ride, follow
from pipeline.vegetation.rides.variant import ride_symbol
from pipeline.vegetation.running.runnability import Limits

RIDE_CELL_M = 1.0
"""Least cell in which rides are looked for: a quarter of a ride's width. Finer cells cost time and show single pulses
(our choice)."""
SAME_TURN_DEG = 20.0
"""A place on a ride already found whose direction turns off by less belongs to it: four of the directions tried (our
choice)."""


def draw_rides(
    profile: Mapping[str, Heights],
    grid: Grid,
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
    profile : grids of `pipeline.terrain.profile.profile_grids`
    limits : densities (m2/m3) where 406, 408 and 410 begin
    min_contrast : share of the pulses by which a ride lets through more than its clearer side
    layer_m : thickness of the running layer
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    larger, times = larger_cells(grid, least_m=RIDE_CELL_M)
    sums = sum_into({name: profile[name] for name in ("clear", "pulses", "entered", "stopped")}, grid, larger, times)
    area = box(*grid.bounds)
    found = [
        (line, ride)
        for ride in find_rides(sums["clear"], sums["pulses"], larger, min_contrast=min_contrast)
        if isinstance(line := area.intersection(LineString([ride.start, ride.end])), LineString) and not line.is_empty
    ]
    return make_features(
        [line for line, _ in found],
        crs=grid.crs,
        symbol=[
            ride_symbol(
                line, sums["entered"], sums["stopped"], larger, limits=limits, layer_m=layer_m, extinction=extinction
            )
            for line, _ in found
        ],
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


def find_rides(clear: Heights, pulses: Heights, grid: Grid, /, *, min_contrast: float) -> list[Ride]:
    """Straight openings through forest, the clearest first.

    Candidates are the places of strongest `strip_contrast`. Along each candidate's line, sections as long as a crown
    is wide are compared with their two sides. A ride is a run of sections clearer than both sides: it may pass short
    gaps in forest (crowns that close above it), and reach across open land, where nothing shows it but nothing speaks
    against it either, if it goes on straight on the other side. What bends is no ride but a path or a track.

    Parameters
    ----------
    clear, pulses : (rows, cols) pulses that met no plant, and all pulses
    min_contrast : share of the pulses by which a ride lets through more than its clearer side
    """
    contrast = strip_contrast(clear, pulses, cell_m=grid.cell_m)
    rides: list[Ride] = []
    for middle, angle in _candidates(contrast, grid, min_contrast=min_contrast):
        if any(_lies_on(middle, angle, ride) for ride in rides):
            continue
        ride = follow(middle, angle, clear, pulses, grid, min_contrast=min_contrast)
        # A place just past the end of a ride leads back onto it.
        if ride is not None and not any(_lies_on(*_middle_of(ride), other) for other in rides):
            rides.append(ride)
    return rides


def _candidates(contrast: Contrast, grid: Grid, *, min_contrast: float) -> list[tuple[NDArray[np.float64], float]]:
    """Place and direction (radians) of the local maxima of contrast, strongest first."""
    peak = highest_around(contrast.strength, int(SIDE_M / grid.cell_m))
    row, col = np.nonzero((contrast.strength == peak) & (contrast.strength >= min_contrast))
    order = np.argsort(-contrast.strength[row, col], kind="stable")
    east, north = grid.centres()
    angle = contrast.direction[row, col] * np.pi / contrast.n_directions
    return [(np.array([east[col[i]], north[row[i]]]), float(angle[i])) for i in order]


def _middle_of(ride: Ride) -> tuple[NDArray[np.float64], float]:
    """Middle and direction (radians) of a ride."""
    start, end = np.array(ride.start), np.array(ride.end)
    return (start + end) / 2, float(np.arctan2(end[1] - start[1], end[0] - start[0]))


def _lies_on(middle: NDArray[np.float64], angle: float, ride: Ride) -> bool:
    """Whether a candidate is part of a ride already found."""
    start, end = np.array(ride.start), np.array(ride.end)
    unit = (end - start) / np.hypot(*(end - start))
    along = float(np.clip((middle - start) @ unit, 0, np.hypot(*(end - start))))
    distance = float(np.hypot(*(middle - start - along * unit)))
    turn = abs((angle - np.arctan2(unit[1], unit[0]) + np.pi / 2) % np.pi - np.pi / 2)
    return distance < 2 * SIDE_M and turn < np.radians(SAME_TURN_DEG)
