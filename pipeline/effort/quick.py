"""A quick look at the hours from the headers of the tiles: how much ground, how many returns, how high it goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.effort.rates.hours import TRADE_PACE, Pace
from pipeline.effort.rates.trade import MEASURES, ORDINARY, QUICK_SPREAD
from pipeline.intake.tile_header import TileHeader

TREES_M = 25.0
"""Height of trees on the highest ground of a tile, in metres, taken off the range of its heights. Our choice."""
STEEPEST = 0.6
"""Most rise over run that is believed of headers, as strays far above the ground look like hills. Our choice."""
# The range over the side is the slope of a hillside that goes up once. Beside the slopes that surveys measured on 16
# places it was 0.7 to 2 times as much on 13 of them, and 4 times on flat fields with tall trees.
RETURNS_PER_M2 = (4.0, 1.0)
"""Returns a square metre from which a survey is taken to be usable, and poor; below, nothing is expected of it. Our
choice, nearly that of `pipeline.survey.judge`."""
WHY_WIDE = (
    "The range is wide because rock, paths and undergrowth are not measured: the ground is taken for ordinary "
    "forest, and what is printed of forests goes from 10 to 60 hours a square kilometre. 'tussock estimate' without "
    "--quick measures them, in minutes."
)
QUICK_PACE: Pace = replace(TRADE_PACE, spread=QUICK_SPREAD)


def rise_of_headers(headers: NDArray[np.float64], /) -> float:
    """Mean rise over run of the ground, guessed: the middle one of the tiles.

    Parameters
    ----------
    headers : (n, 2) range of heights and side of each tile, metres
    """
    above_trees, side = np.maximum(headers[:, 0] - TREES_M, 0.0), np.maximum(headers[:, 1], 1.0)
    return float(np.clip(np.median(above_trees / side), 0.0, STEEPEST))


def ranges_and_sides(headers: list[tuple[TileHeader, float, float]], /) -> NDArray[np.float64]:
    """(n, 2) for `rise_of_headers`, from headers with metres a unit of height and the side of the tile in metres."""
    return np.array([((one.highest - one.lowest) * unit_m, side_m) for one, unit_m, side_m in headers])


def ordinary_ground(area_km2: float, /, *, rise: float, interval_m: float) -> pd.DataFrame:
    """One piece of ground that holds what ordinary forest holds, but for its slope and the contours that go with it."""
    held = dict(ORDINARY) | {"slope_km2": rise, "contour_km": 1000 * rise / interval_m}
    return pd.DataFrame({measure: [held[measure] * area_km2] for measure in MEASURES})


def grades_by_density(returns_per_m2: float, /) -> dict[str, str]:
    """How well each task is likely shown, from returns alone: never well, as that depends on what they fell on."""
    usable, poor = RETURNS_PER_M2
    grade = "usable" if returns_per_m2 >= usable else "poor" if returns_per_m2 >= poor else "not possible"
    tasks = ("greens", "rock", "landform", "paths", "water", "borders")
    paths = "not possible" if grade == "not possible" else "poor"
    return dict.fromkeys(tasks, grade) | {"paths": paths, "not_seen": "not possible"}
