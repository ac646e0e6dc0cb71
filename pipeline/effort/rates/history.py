"""The club's own hours: how fast its mappers are at each task, fitted to maps made before.

Each area of the history has its hours and, measured on its draft, the hours that the trade's rates give each task.
Sought are seven factors on those rates. They are held to a common pace, and that loosely to the trade's, as far as
leaving out one area after the other shows that this tells the left-out one best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from pipeline.effort.rates.hours import TRADE_PACE, Pace
from pipeline.effort.rates.trade import TASKS, Numbers, Range
from pipeline.errors import counted

LEAST_AREAS = 6
"""Areas from which a history is fitted: with fewer, hardly one is left to speak for each task when one is left out, and
the error found by leaving out is chance itself. Our choice."""
HOLDS = (1e-4, 1e-3, 1e-2, 1e-1, 1.0)
"""How firmly the factors are held to the common pace: what a factor that is off by its whole size costs, where an area
whose hours are off by as much costs one. Which of them is taken is found by leaving out."""
HOLD_TO_TRADE = 0.01
"""How firmly the common pace is held to the trade's, in the same measure. Our choice: a tenth off in one area of the
history counts as much as a club that works at twice the trade's pace or half of it."""
EIGHT_IN_TEN = 1.28
"""Standard deviations either side of the mean within which a normal value lies eight times in ten."""
LEAST_ERROR = 0.1
"""Least error of a fit that is believed, relative: hours are written down no better. Our choice."""
TOLD_WITHIN = 0.2
"""A factor is told by the history when leaving out any area moves it by less, relative, all in all. Our choice."""


@dataclass(frozen=True)
class Past:
    """Maps that the club has made.

    Attributes
    ----------
    area_km2 : (n,) ground of each area
    trade_h : (n, tasks) hours by the trade's rates, by task
    hours : (n,) hours of fieldwork that were needed, above zero
    drawing_h : (n,) hours of drawing; NaN where nobody wrote them down
    """

    area_km2: Numbers
    trade_h: Numbers
    hours: Numbers
    drawing_h: Numbers


@dataclass(frozen=True)
class Fit:
    """Factors on the trade's rates, and how well they tell areas that were left out.

    Attributes
    ----------
    factor : (tasks,)
    doubt : (tasks,) one sigma of each, by leaving out one area after the other (jackknife)
    error, trade_error : root of the mean square of the logarithm of hours told over hours needed, of areas left out
        and by the trade's rates; 0.1 is a tenth
    explained : share of the differences in hours a square kilometre that is told of areas left out; 0 or less is none
    """

    factor: Numbers
    doubt: Numbers
    error: float
    trade_error: float
    explained: float


def pace_of(past: Past, /) -> Pace:
    """The club's pace by its history, or the trade's where the history is too short or tells no better; says which."""
    number = len(past.hours)
    if number < LEAST_AREAS:
        return Pace(TRADE_PACE.factor, TRADE_PACE.spread, TRADE_PACE.drawing, (_too_few(number),))
    fit = fit_history(past)
    drawing, said_of_drawing = _drawing_of(past)
    if fit.error >= fit.trade_error:
        return Pace(TRADE_PACE.factor, TRADE_PACE.spread, drawing, (_no_better(fit, number), *said_of_drawing))
    aside = EIGHT_IN_TEN * max(fit.error, LEAST_ERROR)
    spread = Range(float(np.exp(-aside)), 1.0, float(np.exp(aside)))
    return Pace(fit.factor, spread, drawing, (*_told(fit, number), *said_of_drawing))


def fit_history(past: Past, /) -> Fit:
    """Fit the factors and judge them on areas left out.

    How firmly the factors are held is chosen anew without each left-out area: it has no part in its own telling.

    Source
    ------
    Non-negative least squares of relative hours with a penalty towards a common factor (ridge regression towards a
    prior mean; common practice, no source).
    """
    shares = past.trade_h / past.hours[:, None]
    number = len(shares)
    without = np.array([_best(np.delete(shares, one, axis=0)) for one in range(number)])
    told = (without * shares).sum(axis=1)
    factor = _best(shares)
    doubt = np.sqrt((number - 1) / number * ((without - without.mean(axis=0)) ** 2).sum(axis=0))
    needed = past.hours / past.area_km2
    expected = told * needed
    spread = float(((needed - needed.mean()) ** 2).sum())
    explained = 1 - float(((expected - needed) ** 2).sum()) / spread if spread > 0 else 0.0
    return Fit(factor, doubt, _root_log(told), _root_log(shares.sum(axis=1)), explained)


def _root_log(told: Numbers) -> float:
    """Root of the mean square of the logarithm of hours told over hours needed."""
    return float(np.sqrt(np.mean(np.log(np.maximum(told, 1e-6)) ** 2)))


def _best(shares: Numbers) -> Numbers:
    """(tasks,) the factors with the hold that tells areas left out best."""
    errors = []
    for hold in HOLDS:
        told = [float(_solve(np.delete(shares, one, axis=0), hold) @ shares[one]) for one in range(len(shares))]
        errors.append(_root_log(np.array(told)))
    return _solve(shares, HOLDS[int(np.argmin(errors))])


def _solve(shares: Numbers, hold: float) -> Numbers:
    """(tasks,) factors, none below zero, that bring the hours of all areas nearest to one, held to a common pace.

    The common pace is the last unknown of the equations.
    """
    number, tasks = shares.shape
    fits = np.hstack((shares, np.zeros((number, 1))))
    held = np.sqrt(hold) * np.hstack((np.eye(tasks), -np.ones((tasks, 1))))
    to_trade = np.sqrt(HOLD_TO_TRADE) * np.append(np.zeros(tasks), 1.0)[None, :]
    right = np.concatenate((np.ones(number), np.zeros(tasks), [np.sqrt(HOLD_TO_TRADE)]))
    found, _ = nnls(np.vstack((fits, held, to_trade)), right)
    return np.asarray(found[:tasks], np.float64)


# ---------------------------------------------------------------- in words


def _too_few(number: int) -> str:
    return (
        f"Rates: the trade's. Your history holds {counted(number, 'area')} and is not used: with fewer than "
        f"{LEAST_AREAS} there is no telling a mapper's pace from what was odd about single areas."
    )


def _no_better(fit: Fit, number: int) -> str:
    return (
        f"Rates: the trade's. Your history of {counted(number, 'area')} is not used: fitted to it, the hours of an "
        f"area left out are off by {fit.error:.0%}, by the trade's rates by {fit.trade_error:.0%}."
    )


def _told(fit: Fit, number: int) -> list[str]:
    told = np.flatnonzero(fit.doubt <= TOLD_WITHIN * np.maximum(fit.factor, 1e-9))
    rest = [TASKS[task].replace("_", " ") for task in range(len(TASKS)) if task not in told]
    said = [
        f"Rates: fitted to your {counted(number, 'area')}. Told from the others, an area's hours are off by "
        f"{fit.error:.0%} (by the trade's rates {fit.trade_error:.0%}); {_share_told(fit)}."
    ]
    if len(told):
        factors = ", ".join(f"{TASKS[task].replace('_', ' ')} {fit.factor[task]:.2f}" for task in told)
        said.append(f"Your hours against the trade's: {factors}.")
    if rest:
        said.append(f"Your areas do not tell the pace of each of these by itself: {', '.join(rest)}.")
    return said


def _share_told(fit: Fit) -> str:
    if fit.explained <= 0:
        return "which ground takes longer than other ground it does not tell"
    return (
        f"it tells {min(fit.explained, 0.99):.0%} of the differences between areas, the rest is mapper, weather, chance"
    )


def _drawing_of(past: Past) -> tuple[Range, tuple[str, ...]]:
    """Hours of drawing for one of fieldwork: the club's, where enough areas say, with the middle eight tenths."""
    ratio = (past.drawing_h / past.hours)[np.isfinite(past.drawing_h)]
    if len(ratio) < LEAST_AREAS:
        return TRADE_PACE.drawing, ()
    low, likely, high = np.quantile(ratio, (0.1, 0.5, 0.9)).tolist()
    return Range(low, likely, high), (f"Drawing: {likely:.2f} hours for one in the field, as on your own maps.",)
