"""How well each kind of feature can be found with a survey: good, usable, poor or not possible, and why."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pipeline.intake.leaf_calendar import Season
from pipeline.survey.boulder_recall import RecallTable
from pipeline.survey.measure import Density

Grade = Literal["good", "usable", "poor", "not possible"]

GRADES: tuple[Grade, ...] = ("good", "usable", "poor", "not possible")


@dataclass(frozen=True)
class Verdict:
    """How well one kind of feature can be found, and why."""

    feature: str
    grade: Grade
    reason: str


Limits = tuple[float, float, float]
"""Least values for good, usable and poor; with less than the last a feature cannot be found. They are our choice from
the reasons given with each, tried against no survey, but for those of boulders."""

CONTOURS_GROUND_PER_M2: Limits = (0.5, 0.1, 0.02)
"""Ground returns for contours: 1.4, 3 and 7 m apart, where contours lie 10 m apart on a slope of 1 in 2."""
LANDFORM_GROUND_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Ground returns for knolls, pits and re-entrants: a knoll 5 m across then has 40, 10 and 2 of them."""
OPEN_LAND_PULSES_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Pulses for open land: a gap 5 m square in the forest then has 50, 12 and 2 of them."""
CLIFFS_GROUND_PER_M2: Limits = (4.0, 1.0, 0.3)
"""Ground returns for cliffs: 0.5, 1 and 1.8 m apart, where lip and foot lie 1 m apart."""
PATHS_GROUND_PER_M2: Limits = (8.0, 4.0, 1.0)
"""Ground returns for paths: so many lie on each metre of a path 1 m wide."""
RIDES_PULSES_PER_M2: Limits = (2.0, 0.5, 0.1)
"""Pulses for rides, gaps in the canopy some 5 m wide: each 5 m of one then has 50, 12 and 2 of them."""
BUILDINGS_PULSES_PER_M2: Limits = (4.0, 1.0, 0.3)
"""Pulses for buildings: a hut 4 m square then has 64, 16 and 5 of them."""


def judge(density: Density, /, *, season: Season, boulder_recall: RecallTable | None = None) -> tuple[Verdict, ...]:
    """How well each kind of feature can be found with such a survey, one verdict a kind.

    Without `boulder_recall`, boulders are judged by the returns that one of 2 m would get.
    """
    pulses, ground = density.pulses_per_m2, density.ground_per_m2
    beside_m = 1 / math.sqrt(ground) if ground > 0 else math.inf
    spacing = f"a ground return every {beside_m:.1f} m" if ground > 0 else "no ground returns"
    by_pulses = f"{pulses:.2g} pulses/m2"
    on_path = f"{ground:.1f} ground returns on each metre of a path 1 m wide"
    plain = (
        ("contours", ground, CONTOURS_GROUND_PER_M2, spacing),
        ("landform detail", ground, LANDFORM_GROUND_PER_M2, spacing),
        ("open land", pulses, OPEN_LAND_PULSES_PER_M2, by_pulses),
        ("cliffs", ground, CLIFFS_GROUND_PER_M2, spacing),
        ("paths", ground, PATHS_GROUND_PER_M2, on_path),
        ("rides", pulses, RIDES_PULSES_PER_M2, by_pulses),
        ("buildings", pulses, BUILDINGS_PULSES_PER_M2, by_pulses),
    )
    verdicts = [Verdict(feature, _grade(value, limits), reason) for feature, value, limits, reason in plain]
    verdicts.insert(3, _judge_runnability(density, season))
    verdicts.insert(4, _judge_boulders(density, boulder_recall))
    verdicts.insert(8, _judge_water(density))
    return tuple(verdicts)


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
"""Width of the boulder that is meant when boulders are judged without measured recall; it is 1 m high."""

BOULDER_RETURNS: Limits = (12.0, 6.0, 2.0)
"""Returns on such a boulder: fewer than 2 cannot be told from noise."""

BOULDER_RECALL: Limits = (0.75, 0.5, 0.2)
"""Share of the boulders of 1 to 2 m to be found: at three in four a mapper adds few, at fewer than half he must look
for them everywhere. The recall itself is measured (`pipeline.survey.boulder_recall`), these limits are our choice."""


def _judge_boulders(density: Density, recall: RecallTable | None, /) -> Verdict:
    """By the share of boulders that were found where as many pulses came down, or else by the returns on one."""
    if recall is None:
        hits = math.pi / 4 * BOULDER_WIDTH_M**2 * density.ground_per_m2
        reason = f"a boulder {BOULDER_WIDTH_M:g} m wide stops about {hits:.1f} pulses"
        return Verdict("boulders", _grade(hits, BOULDER_RETURNS), reason)
    stopped = 1 - density.ground_per_m2 / density.pulses_per_m2 if density.pulses_per_m2 > 0 else 1.0
    small, large = recall.expected(density.pulses_per_m2, stopped)
    reason = f"expect {_in_ten(small)} in 10 of those 1 to 2 m high to be found, {_in_ten(large)} of the higher ones"
    return Verdict("boulders", _grade(small, BOULDER_RECALL), reason)


def _in_ten(share: float) -> str:
    """A share as a count of ten in words of a mapper; never all, as no survey finds all."""
    return str(min(9, round(10 * share)))


LEAST_WATER_RATIO = 0.001
"""Water returns for each pulse from which the producer is believed to have marked the lakes; fewer are strays (our
choice)."""

WATER_PULSES_PER_M2: Limits = (4.0, 1.0, 0.2)
"""Pulses for standing water that nobody marked: it is known by how flat it is and how few returns it sends back."""


def _judge_water(density: Density) -> Verdict:
    """Standing water is known where the producer marked it, else guessed from flatness and silence."""
    if density.class_water_per_m2 > LEAST_WATER_RATIO * density.pulses_per_m2:
        return Verdict("water", "good", "lakes are marked in the tiles; streams follow from the ground")
    grade = _at_best(_grade(density.pulses_per_m2, WATER_PULSES_PER_M2), "usable")
    return Verdict("water", grade, "not marked in the tiles: guessed from flat ground and missing returns")
