"""Hours of each task in each square, from what was measured there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.effort.rates.gain import missed_h_per_km2, saved_share
from pipeline.effort.rates.trade import (
    DRAWING_RATIO,
    MEASURES,
    SCALE_FACTOR,
    TASKS,
    TRADE_SPREAD,
    Numbers,
    Range,
    rate_matrix,
)


@dataclass(frozen=True)
class Pace:
    """How fast a club's mappers are against the trade's rates, and how surely that is known.

    Attributes
    ----------
    factor : (tasks,) hours against those of the trade
    spread : hours against the likely ones, low and high
    drawing : hours of drawing for each hour of fieldwork
    said : where all this comes from, sentences for the mapper
    """

    factor: Numbers
    spread: Range
    drawing: Range
    said: tuple[str, ...]


TRADE_PACE = Pace(
    np.ones(len(TASKS)),
    TRADE_SPREAD,
    Range(*DRAWING_RATIO),
    ("Rates: the trade's, which spread widely; hours of your own maps in a history.csv replace them.",),
)


def hours_without_draft(measures: pd.DataFrame, /, *, grades: Mapping[str, str], scale: int) -> Numbers:
    """(n, tasks) hours of fieldwork by the trade's rates, for a mapper who starts without a draft.

    Parameters
    ----------
    measures : a row for each piece of ground, with the columns of `pipeline.effort.rates.trade.MEASURES`
    grades : task to how well the survey shows what it is about; it tells how much the measures miss
    """
    measured = measures[list(MEASURES)].to_numpy(np.float64) @ rate_matrix()
    missed = measures["area_km2"].to_numpy(np.float64)[:, None] * missed_h_per_km2(grades)
    return np.asarray((measured + missed) * SCALE_FACTOR[scale], np.float64)


def hours_with_draft(measures: pd.DataFrame, /, *, grades: Mapping[str, str], scale: int) -> Numbers:
    """(n, tasks) the same for a mapper who has the draft."""
    without = hours_without_draft(measures, grades=grades, scale=scale)
    return np.asarray(without * (1 - saved_share(measures, grades)), np.float64)
