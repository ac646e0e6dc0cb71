"""How well each kind of feature can be found with a survey: good, usable, poor, not possible or not drawn, and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.intake.leaf_calendar import Season
from pipeline.survey.boulder_recall import RecallTable
from pipeline.survey.measure import Density
from pipeline.survey.promises import Promise, Range, Table
from pipeline.survey.squares import Squares

Grade = Literal["good", "usable", "poor", "not possible", "not drawn"]

GRADES: tuple[Grade, ...] = ("good", "usable", "poor", "not possible", "not drawn")


@dataclass(frozen=True)
class Verdict:
    """How well one kind of feature can be found, and why."""

    feature: str
    grade: Grade
    reason: str


Limits = tuple[float, float, float]
"""Least values for good, usable and poor; with less than the last a feature cannot be found. They are our choice from
the reasons given with each, tried against no survey, but for those of shares found."""

CONTOURS_GROUND_PER_M2: Limits = (0.5, 0.1, 0.02)
"""Ground returns for contours: 1.4, 3 and 7 m apart, where contours lie 10 m apart on a slope of 1 in 2."""
LANDFORM_GROUND_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Ground returns for knolls, pits, re-entrants and streams: a knoll 5 m across then has 40, 10 and 2 of them."""
OPEN_LAND_PULSES_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Pulses for open land: a gap 5 m square in the forest then has 50, 12 and 2 of them."""
CLIFFS_GROUND_PER_M2: Limits = (4.0, 1.0, 0.3)
"""Ground returns for cliffs: 0.5, 1 and 1.8 m apart, where lip and foot lie 1 m apart."""
DARK_SHARE = 0.1
"""Share of the ground by which contours are judged: the part that the fewest returns reached. What is good on the
average may have a dark slope on every tenth hectare. Our choice."""
PATHS_GROUND_PER_M2: Limits = (2.0, 1.0, 0.3)
"""Ground returns for tracks: 0.7, 1 and 1.8 m apart, where the profile of a track 3 m wide needs three. Our
choice."""
RIDES_PULSES_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Pulses for rides, gaps in the canopy some 5 m wide: each 5 m of one then has 50, 12 and 2 of them."""
BUILDINGS_PULSES_PER_M2: Limits = (4.0, 1.0, 0.3)
"""Pulses for buildings: a hut 4 m square then has 64, 16 and 5 of them."""


def judge(
    density: Density,
    /,
    *,
    season: Season,
    boulder_recall: RecallTable | None = None,
    squares: Squares | None = None,
    promises: Mapping[str, Table] | None = None,
    has_buildings: bool = False,
) -> tuple[Verdict, ...]:
    """How well each kind of feature can be found with such a survey, one verdict a kind.

    Parameters
    ----------
    boulder_recall : share of smooth planted boulders found, above which none is promised; None for no such bound
    squares : the ground, square by square; None to take all of it as seen like the mean
    promises : shares of each kind of feature found and right; None to judge all by returns alone
    has_buildings : whether the producer's classes tell buildings, which are believed at any density
    """
    by_pulses, by_ground = f"{density.pulses_per_m2:.2g} pulses/m2", _spacing(density.ground_per_m2)
    verdicts = (
        _judge_contours(density, squares),
        Verdict("landform detail", _grade(density.ground_per_m2, LANDFORM_GROUND_PER_M2), by_ground),
        Verdict("open land", _grade(density.pulses_per_m2, OPEN_LAND_PULSES_PER_M2), by_pulses),
        _judge_runnability(density, season),
        _judge_boulders(density),
        Verdict("cliffs", _grade(density.ground_per_m2, CLIFFS_GROUND_PER_M2), by_ground),
        _judge_paths(density),
        Verdict("rides", _grade(density.pulses_per_m2, RIDES_PULSES_PER_M2), by_pulses),
        _judge_water(density),
        Verdict("streams", _at_best(_grade(density.ground_per_m2, LANDFORM_GROUND_PER_M2), "usable"), by_ground),
        _judge_buildings(density, has_buildings),
    )
    if promises is None or squares is None or not len(squares.ground_per_m2):
        return verdicts
    expected = {feature: table.expected(squares) for feature, table in promises.items()}
    if _is_marked(density):
        expected["water"] = NOWHERE  # measured where water was guessed
    if boulder_recall is not None:
        expected = _no_more_than_domes(expected, density, boulder_recall)
    return tuple(_as_measured(verdict, expected) for verdict in verdicts)


LEAST_SHARES: Limits = (0.75, 0.5, 0.2)
"""Share of features that are found, or of those drawn that are there, whichever is less, and each at the lower end of
what was measured: at three in four a mapper adds or strikes out few, at fewer than half he cannot lean on the draft.
The shares are measured (`pipeline.survey.promises`), these limits are our choice."""
NOWHERE = Promise(None, None)
"""What is promised of a kind of feature that was not measured."""


def _as_measured(verdict: Verdict, expected: Mapping[str, Promise]) -> Verdict:
    """The verdict by returns, and no better than what was measured on ground like this.

    What too few returns make impossible is promised nothing. What was not measured on such ground is never good.
    """
    if verdict.grade == "not possible":
        return verdict
    promise = expected.get(verdict.feature, NOWHERE)
    found, right = promise.found, promise.right
    if found is None or right is None:
        reason = f"not measured on ground like this; {verdict.reason}"
        return Verdict(verdict.feature, _at_best("usable", verdict.grade), reason)
    by_share = _grade(min(found.low, right.low), LEAST_SHARES)
    grade = _at_best("poor" if by_share == "not possible" else by_share, verdict.grade)
    high = expected.get("high boulders", NOWHERE).found if verdict.feature == "boulders" else None
    of_high = f" ({_in_ten(high)} from 2 m up)" if high is not None else ""
    shares = f"expect {_in_ten(found)} found{of_high}, {_in_ten(right)} of those drawn true"
    return Verdict(verdict.feature, grade, f"{shares}; {verdict.reason}")


def _no_more_than_domes(expected: Mapping[str, Promise], density: Density, recall: RecallTable) -> dict[str, Promise]:
    """No more boulders than are found of smooth ones by themselves, planted in calm ground under crowns like these."""
    stopped = 1 - density.ground_per_m2 / density.pulses_per_m2 if density.pulses_per_m2 > 0 else 1.0
    shares = zip(("boulders", "high boulders"), recall.expected(density.pulses_per_m2, stopped), strict=True)
    less = dict(expected)
    for kind, share in shares:
        promise = expected.get(kind, NOWHERE)
        less[kind] = Promise(promise.found.at_most(share) if promise.found else None, promise.right)
    return less


def _in_ten(share: Range) -> str:
    """A share as a count of ten in words of a mapper; never all, as no survey finds all."""
    low, high = (min(9, round(10 * value)) for value in (share.low, share.high))
    return f"{low} in 10" if low == high else f"{low} to {high} in 10"


def _judge_paths(density: Density) -> Verdict:
    """Never good: a track leaves a bench or a smooth strip in the bare earth, a small path next to nothing."""
    grade = _grade(density.ground_per_m2, PATHS_GROUND_PER_M2)
    reason = "tracks a car can use show in the relief, most small paths do not: survey those on foot"
    return Verdict("paths", "usable" if grade == "good" else grade, reason)


def _judge_buildings(density: Density, has_buildings: bool) -> Verdict:
    """By the pulses, unless the producer says where buildings are: with few pulses their outlines are rough."""
    grade, reason = _grade(density.pulses_per_m2, BUILDINGS_PULSES_PER_M2), f"{density.pulses_per_m2:.2g} pulses/m2"
    if has_buildings and grade == "not possible":
        return Verdict("buildings", "poor", f"{reason}, where the producer marked them")
    return Verdict("buildings", grade, reason)


def _spacing(ground_per_m2: float) -> str:
    return f"a ground return every {1 / math.sqrt(ground_per_m2):.1f} m" if ground_per_m2 > 0 else "no ground returns"


def _judge_contours(density: Density, squares: Squares | None) -> Verdict:
    """By the ground returns where the fewest are: contours are drawn there too."""
    usual = density.ground_per_m2
    dark = usual if squares is None else min(usual, float(np.quantile(squares.ground_per_m2, DARK_SHARE)))
    reason = _spacing(usual)
    if dark < usual / 2:
        reason += f" on the average, {_spacing(dark).removeprefix('a ground return ')} on the darkest tenth"
    return Verdict("contours", _grade(dark, CONTOURS_GROUND_PER_M2), reason)


def _grade(value: float, limits: Limits) -> Grade:
    return GRADES[sum(value < least for least in limits)]


def _at_best(grade: Grade, limit: Grade) -> Grade:
    return max(grade, limit, key=GRADES.index)


RUNNABILITY_GROUND_PER_M2: Limits = (2.0, 0.7, 0.2)
"""Ground returns for runnability, which stand for the pulses that crossed the running layer: a cell 5 m square then has
50, 17 and 5 of them."""

LEAST_RETURNS_PER_PULSE = 1.05
"""A survey with fewer returns a pulse cannot show undergrowth; forest gives 1.3 to 2.5 (common practice, no source)."""


def _judge_runnability(density: Density, season: Season) -> Verdict:
    """Undergrowth needs pulses that come through the canopy, several returns, and bare trees."""
    grade = _grade(density.ground_per_m2, RUNNABILITY_GROUND_PER_M2)
    reason = f"{density.ground_per_m2:.2g} returns/m2 came through to the ground"
    if density.returns_per_pulse < LEAST_RETURNS_PER_PULSE:
        grade = _at_best(grade, "poor")
        reason += f"; only {density.returns_per_pulse:.2f} returns a pulse: the canopy hides the rest"
    elif season in ("leaf-on", "in between"):
        grade = _at_best(grade, "usable")
        seen = "in leaf," if season == "leaf-on" else "perhaps in leaf, when"
        reason += f"; {seen} broadleaved forest looks denser"
    return Verdict("runnability", grade, reason)


BOULDER_WIDTH_M = 2.0
"""Width of the boulder by whose returns boulders are judged; it is 1 m high."""

BOULDER_RETURNS: Limits = (12.0, 6.0, 2.0)
"""Returns on such a boulder: fewer than 2 cannot be told from noise."""


def _judge_boulders(density: Density) -> Verdict:
    """By the returns on one."""
    hits = math.pi / 4 * BOULDER_WIDTH_M**2 * density.ground_per_m2
    reason = f"one {BOULDER_WIDTH_M:g} m wide stops about {hits:.1f} pulses"
    return Verdict("boulders", _grade(hits, BOULDER_RETURNS), reason)


LEAST_WATER_RATIO = 0.001
"""Water returns for each pulse from which the producer is believed to have marked the lakes; fewer are strays (our
choice)."""

WATER_PULSES_PER_M2: Limits = (4.0, 1.0, 0.3)
"""Pulses for standing water that nobody marked: it is level, and pulses aimed at it are lost. With fewer than the last,
none is drawn, as the gaps between scan lines look the same."""


def _is_marked(density: Density) -> bool:
    """Whether the producer marked the lakes."""
    return density.class_water_per_m2 > LEAST_WATER_RATIO * density.pulses_per_m2


def _judge_water(density: Density) -> Verdict:
    """Standing water is known where the producer marked it, else guessed from flatness and silence."""
    if _is_marked(density):
        return Verdict("water", "good", "lakes are marked in the tiles")
    grade = _at_best(_grade(density.pulses_per_m2, WATER_PULSES_PER_M2), "usable")
    return Verdict("water", grade, "not marked in the tiles: guessed where pulses are lost on level ground")
