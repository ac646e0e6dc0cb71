"""Band limits from a mapper's notes: what was found on foot against the density measured there.

Densities mean different things in different forests, seasons and sensors; a few notes tell by how much. The limits
start from those in use and move only as far as the notes carry them, so that no notes change nothing and few notes
change little.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import counted
from pipeline.vegetation.calibration.agreement import N_BANDS, confusion, weighted_kappa
from pipeline.vegetation.calibration.fit import band_chances, fit_limits
from pipeline.vegetation.calibration.notes import Bands, Notes, Numbers, group_places
from pipeline.vegetation.running.runnability import DENSITY_SPREAD_RATIO, Limits

LEAST_NOTES = 12
"""With fewer notes nothing is changed: ten for each thing fitted, less what the limits in use already tell (common
practice, no source)."""
LEAST_PLACES = 3
"""With fewer places nothing is changed: each is judged by limits fitted to the others, so by two or more (our
choice)."""
MOST_FOLDS = 10
"""Places are left out in at most this many groups, each of which costs one fit (common practice, no source)."""
KAPPA_SLACK = 0.02
"""A weighted kappa that is less by no more than this counts as equal: one note in thirty changes sides by one band (our
choice)."""
STRONG_EVIDENCE_NATS = 3.0
"""Gain in log likelihood that counts more than a few notes changing sides: odds of twenty to one are strong (Kass and
Raftery 1995). Kappa of thirty notes is itself uncertain by some 0.08."""
WANTED_ERROR_RATIO = 0.1
"""More notes are asked for while a limit's error is above this share of it (our choice)."""


@dataclass(frozen=True)
class Calibration:
    """What the notes say.

    Attributes
    ----------
    limits : the limits to use: fitted ones, or those before where the notes are too few or teach nothing
    limits_before : the limits the notes were compared with
    limits_error_ratio : (3,) one sigma of each fitted limit, as a share of it
    spread_ratio : scatter of what one density means to the mapper, one sigma of its logarithm
    n_notes, n_places : notes used, and groups of notes that lie together
    confusion_before, confusion_after : (4, 4) counts, row: band found, column: band drawn; after is cross-validated
    kappa_before, kappa_after : quadratic weighted kappa of the two; NaN where not defined
    is_used : whether `limits` are the fitted ones
    more_notes : how many more notes would bring the error of every limit to what is wanted; 0 where that is reached
    message : one or two sentences for the mapper
    """

    limits: Limits
    limits_before: Limits
    limits_error_ratio: Numbers
    spread_ratio: float
    n_notes: int
    n_places: int
    confusion_before: NDArray[np.int64]
    confusion_after: NDArray[np.int64]
    kappa_before: float
    kappa_after: float
    is_used: bool
    more_notes: int
    message: str


def calibrate(notes: Notes, /, *, limits: Limits) -> Calibration:
    """Band limits fitted to notes, judged by leaving out place after place.

    Parameters
    ----------
    limits : densities (m2/m3) in use, where 406, 408 and 410 begin

    Raises
    ------
    ValueError
        If a band is not 0 to 3, a density is negative, or the limits do not rise.
    """
    _check(notes, limits)
    notes = notes.take(np.isfinite(notes.density))
    place = group_places(notes.place)
    n_places = int(place.max(initial=-1)) + 1
    drawn = np.digitize(notes.density, limits)
    before = confusion(notes.band, drawn)
    is_few = len(notes.band) < LEAST_NOTES or n_places < LEAST_PLACES
    if is_few or len(np.unique(notes.band)) < 2:
        return _unchanged(notes, limits, n_places, before)
    fit = fit_limits(notes.density, notes.band, limits=limits)
    left_out, likelier = _left_out(notes, place, limits)
    after = confusion(notes.band, left_out)
    is_worse = weighted_kappa(after) < weighted_kappa(before) - KAPPA_SLACK
    is_used = likelier > (STRONG_EVIDENCE_NATS if is_worse else 0)
    wanted = len(notes.band) * (float(fit.error.max()) / WANTED_ERROR_RATIO) ** 2
    more = max(0, round(wanted) - len(notes.band))
    return Calibration(
        limits=fit.limits if is_used else limits,
        limits_before=limits,
        limits_error_ratio=fit.error,
        spread_ratio=fit.spread,
        n_notes=len(notes.band),
        n_places=n_places,
        confusion_before=before,
        confusion_after=after,
        kappa_before=weighted_kappa(before),
        kappa_after=weighted_kappa(after),
        is_used=is_used,
        more_notes=more,
        message=_verdict(fit.limits, is_used, before, after, _wish(more, fit.error)),
    )


def _check(notes: Notes, limits: Limits) -> None:
    if not 0 < limits[0] < limits[1] < limits[2]:
        raise ValueError(f"the limits of 406, 408 and 410 must rise, not {limits}")
    if len(notes.band) and not (notes.band.min() >= 0 and notes.band.max() < N_BANDS):
        raise ValueError("bands are numbered 0 (405) to 3 (410)")
    if bool(np.any(notes.density < 0)):
        raise ValueError("a density cannot be negative")


def _unchanged(notes: Notes, limits: Limits, n_places: int, before: NDArray[np.int64]) -> Calibration:
    """The answer to too few notes."""
    n, least_notes, least_places = len(notes.band), LEAST_NOTES, LEAST_PLACES
    more = max(least_notes - n, least_places - n_places, 1)
    one_band = n >= least_notes and n_places >= least_places
    reason = "all notes name the same band" if one_band else _too_few(n, n_places)
    message = (
        f"The limits stay as they were: {reason}. At least {more} more would help: limits are fitted from "
        f"{least_notes} notes on, of several bands and at {least_places} or more places apart from each other."
    )
    unknown = np.full(N_BANDS - 1, np.nan)
    spread, kappa = DENSITY_SPREAD_RATIO, weighted_kappa(before)
    return Calibration(limits, limits, unknown, spread, n, n_places, before, before, kappa, kappa, False, more, message)


def _too_few(n_notes: int, n_places: int) -> str:
    are = "is" if n_notes == 1 else "are"
    return f"{counted(n_notes, 'note')} at {counted(n_places, 'place')} {are} too few"


def _wish(more: int, error: Numbers) -> str:
    """What more notes would bring: the error falls with the square root of their number."""
    if not more:
        return ""
    return (
        f" They are fitted to within {float(error.max()):.0%}, which is enough to draft with: twice as many notes "
        f"would make it {float(error.max()) / 2**0.5:.0%}, and more help less and less."
    )


def _verdict(fitted: Limits, is_used: bool, before: NDArray[np.int64], after: NDArray[np.int64], wish: str) -> str:
    numbers = ", ".join(f"{value:.2f}" for value in fitted)
    kappas = (
        f"notes and draft agree by {weighted_kappa(before):.2f} before and {weighted_kappa(after):.2f} after; 1 is all "
        "alike, 0 no more than by chance, and notes two bands off count four times those one band off; after, each "
        "place is judged by limits fitted to the other places. It is called weighted kappa"
    )
    if is_used and weighted_kappa(after) < weighted_kappa(before):
        kappas += "; fewer notes agree, but all together are much likelier so"
    if is_used:
        return f"406, 408 and 410 now begin at {numbers} m2/m3 ({kappas}).{wish}"
    return f"The limits stay as they were: fitted ones ({numbers} m2/m3) do no better ({kappas}).{wish}"


def _left_out(notes: Notes, place: NDArray[np.int64], limits: Limits) -> tuple[Bands, float]:
    """Band of each note by limits fitted without its place, and by how much that makes the notes likelier.

    The second is the sum of log probabilities of the bands found, with fitted limits less with those in use, the
    scatter being the same: it sees how near a note came to being right, where a count of right bands sees only the few
    that changed sides.
    """
    drawn = np.zeros(len(notes.band), np.int64)
    likelier = 0.0
    fold = place % MOST_FOLDS
    for number in np.unique(fold):
        out = fold == number
        fit = fit_limits(notes.density[~out], notes.band[~out], limits=limits)
        drawn[out] = np.digitize(notes.density[out], fit.limits)
        new, old = (
            band_chances(notes.density[out], limits=cuts, spread=fit.spread)[np.arange(out.sum()), notes.band[out]]
            for cuts in (fit.limits, limits)
        )
        likelier += float((np.log(np.maximum(new, 1e-6)) - np.log(np.maximum(old, 1e-6))).sum())
    return drawn, likelier
