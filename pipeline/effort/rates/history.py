"""The club's own hours: how fast its mappers are at each task, fitted to maps made before.

Each area of the history has its hours and, measured on its draft, the hours that the trade's rates give each task.
Sought are seven factors on those rates. They are held to a common pace, and that to the trade's, the more firmly the
worse the hours of an area are told from the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy  # its parts take long to import and come when they are first used, in most runs never

from pipeline.effort.rates.hours import TRADE_PACE, Pace
from pipeline.effort.rates.trade import TASKS, Numbers, Range
from pipeline.errors import counted

LEAST_AREAS = 6
"""Areas from which a history is fitted: with fewer, hardly one is left to speak for each task when one is left out, and
the error found by leaving out is chance itself. Our choice."""
TASKS_DIFFER = 0.4
"""One sigma of the factors of the tasks about the club's common pace: a mapper who is quick at greens may be slow among
rocks. Our choice; it decides how firmly the factors are held together where hours are told badly."""
PACES_DIFFER = 0.5
"""One sigma of the common pace about the trade's. Our choice: the trade's own range goes from 0.6 to 1.6."""
NOISE_OF_ERROR = 0.6
"""Variance of the hours about what the factors give, over that of areas left out, whose telling is off by the factors'
own error as well. Our choice, tried on made histories: the doubt that is said then holds for eight factors in ten."""
START_ERROR, LEAST_NOISE, TURNS = 0.1, 1e-3, 6
"""Where the search for that noise begins, the least that is believed, and how often it is found anew; it stands still
after three or four turns."""
EIGHT_IN_TEN = 1.28
"""Standard deviations either side of the mean within which a normal value lies eight times in ten."""
LEAST_ERROR = 0.1
"""Least error of a fit that is believed, relative: hours are written down no better. Our choice."""
TOLD_WITHIN = 0.1
"""A factor is told by the history when its doubt is less, relative. Our choice."""


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
    doubt : (tasks,) one sigma of each
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

    How firmly the factors are held is found anew without each left-out area: it has no part in its own telling.

    Source
    ------
    Linear regression of relative hours with a normal prior about a common factor, its noise found by leaving out
    (empirical Bayes; common practice, no source), and factors kept from falling below zero (non-negative least
    squares).
    """
    shares = past.trade_h / past.hours[:, None]
    told = np.array([_one(shares, one) @ shares[one] for one in range(len(shares))])
    noise = _noise(shares)
    needed = past.hours / past.area_km2
    expected = told * needed
    spread = float(((needed - needed.mean()) ** 2).sum())
    explained = 1 - float(((expected - needed) ** 2).sum()) / spread if spread > 0 else 0.0
    factor, doubt = _solve(shares, noise), _doubt(shares, noise)
    return Fit(factor, doubt, _root_log(told), _root_log(shares.sum(axis=1)), explained)


def _one(shares: Numbers, left_out: int) -> Numbers:
    """(tasks,) the factors by all areas but one."""
    others = np.delete(shares, left_out, axis=0)
    return _solve(others, _noise(others))


def _root_log(told: Numbers) -> float:
    """Root of the mean square of the logarithm of hours told over hours needed."""
    return float(np.sqrt(np.mean(np.log(np.maximum(told, 1e-6)) ** 2)))


def _noise(shares: Numbers) -> float:
    """One sigma of relative hours about what the factors give."""
    noise = START_ERROR
    for _ in range(TURNS):
        told = [float(_solve(np.delete(shares, one, axis=0), noise) @ shares[one]) for one in range(len(shares))]
        noise = max(LEAST_NOISE, float(np.sqrt(NOISE_OF_ERROR)) * _root_log(np.array(told)))
    return noise


def _equations(shares: Numbers, noise: float) -> tuple[Numbers, Numbers]:
    """Left and right sides of the equations for the factors and, as last unknown, the common pace; each weighed.

    One for each area, one for each factor that it is the common pace, and one that this is the trade's.
    """
    number, tasks = shares.shape
    fits = np.hstack((shares, np.zeros((number, 1)))) / noise
    held = np.hstack((np.eye(tasks), -np.ones((tasks, 1)))) / TASKS_DIFFER
    to_trade = np.append(np.zeros(tasks), 1.0)[None, :] / PACES_DIFFER
    right = np.concatenate((np.ones(number) / noise, np.zeros(tasks), [1 / PACES_DIFFER]))
    return np.vstack((fits, held, to_trade)), right


def _solve(shares: Numbers, noise: float) -> Numbers:
    """(tasks,) factors, none below zero, that bring the hours of all areas nearest to one."""
    found, _ = scipy.optimize.nnls(*_equations(shares, noise))
    return np.asarray(found[:-1], np.float64)


def _doubt(shares: Numbers, noise: float) -> Numbers:
    """(tasks,) one sigma of each factor."""
    left, _ = _equations(shares, noise)
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(left.T @ left)))[:-1], np.float64)


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
        said.append(f"Your areas do not tell the pace of each of these well by itself: {', '.join(rest)}.")
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
