"""How good and how quick the outings are that are planned through the places of a check list.

Run: python -m tests.benchmarks.outings

Up to twelve places the shortest round is known: all orders are weighed by the method of Held and Karp (1962, Journal of
Society for Industrial and Applied Mathematics 10: 196-210). For two outings every division of seven places is tried.
Of larger cases the best known is what the same search finds in ten times as many steps: no proof, but a bound.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from pipeline.fieldwork.outings import routes
from pipeline.fieldwork.outings.check import Parking, make_check_list
from tests.benchmarks.results import Table
from tests.fieldwork.places import EAST, NORTH, flat_net, questions
from tests.fieldwork.test_routes import shortest_in_two

Minutes = NDArray[np.float64]
M_PER_MINUTE = 50.0
PATIENCE = 10
"""Times as many steps as a draft takes, for the best known of cases that are too large to prove."""


@dataclass(frozen=True)
class Case:
    """Places, minutes between them (the first is the car), minutes of looking, and the limit."""

    walking: Minutes
    looking: Minutes
    limit: float

    @classmethod
    def made(cls, n: int, seed: int, *, limit: float = 1e4) -> Case:
        """Places strewn over a square, 60 m apart on the mean; uphill takes up to a tenth longer than down."""
        rng = np.random.default_rng(seed)
        place = rng.uniform(0, 60 * np.sqrt(n), (n + 1, 2))
        apart = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1)) / M_PER_MINUTE
        return cls(apart * rng.uniform(1, 1.1, apart.shape), rng.uniform(2, 5, n), limit)

    def planned(self) -> list[list[int]]:
        """The outings that a draft plans; all places are worth the same."""
        return routes.plan_outings(self.walking, self.looking, np.ones(len(self.looking)), limit_minutes=self.limit)

    def walked(self, outings: list[list[int]]) -> float:
        """Minutes of walking of all of them."""
        return sum(routes.walked_minutes(one, self.walking) for one in outings)


def shortest_round(case: Case) -> float:
    """Least walking of one round through all places, after Held and Karp."""
    walking, n = case.walking, len(case.looking)
    best = {(frozenset([last]), last): walking[0, last] for last in range(1, n + 1)}
    for size in range(2, n + 1):
        for part in map(frozenset, itertools.combinations(range(1, n + 1), size)):
            for last in part:
                before = part - {last}
                best[part, last] = min(best[before, one] + walking[one, last] for one in before)
    whole = frozenset(range(1, n + 1))
    return float(min(best[whole, last] + walking[last, 0] for last in whole))


def patient(case: Case) -> float:
    """What the same search finds when it takes its time."""
    with (
        patch.object(routes, "SOLUTIONS", routes.SOLUTIONS * PATIENCE),
        patch.object(routes, "SOLUTIONS_OF_ONE", routes.SOLUTIONS_OF_ONE * PATIENCE),
    ):
        return case.walked(case.planned())


def row(what: str, cases: list[Case], best_of: Callable[[Case], float], known: str) -> list[str]:
    """A line of the table: the worst and the mean ratio to the best known, and whether all is visited within limits."""
    ratios, seconds, is_kept = [], [], True
    for case in cases:
        began = time.process_time()
        outings = case.planned()
        seconds.append(time.process_time() - began)
        spent = [routes.walked_minutes(one, case.walking) + case.looking[one].sum() for one in outings]
        visited = sorted(itertools.chain(*outings))
        is_kept &= visited == list(range(len(case.looking))) and max(spent) <= case.limit
        ratios.append(case.walked(outings) / best_of(case))
    figures = f"{max(ratios):.3f}", f"{np.mean(ratios):.3f}", "yes" if is_kept else "no", f"{max(seconds):.1f}"
    return [what, str(len(cases)), known, *figures]


def two_outings(seed: int) -> Case:
    """Seven places and a limit of three quarters of what one round through them takes."""
    one = Case.made(7, seed)
    return Case(one.walking, one.looking, 0.75 * (shortest_round(one) + one.looking.sum()))


def compared() -> list[Table]:
    """Walking beside the best known, and what a list of 3000 questions costs."""
    rows = [
        row("9 places, one outing", [Case.made(9, seed) for seed in range(10)], shortest_round, "proven"),
        row("12 places, one outing", [Case.made(12, seed) for seed in range(3)], shortest_round, "proven"),
        row(
            "7 places, two outings",
            [two_outings(seed) for seed in range(5)],
            lambda case: shortest_in_two(case.walking, case.looking, case.limit),
            "proven",
        ),
        row("60 places, outings of 4 h", [Case.made(60, seed, limit=240) for seed in range(2)], patient, "long search"),
        row("150 places, outings of 4 h", [Case.made(150, 0, limit=240)], patient, "long search"),
    ]
    columns = ["places", "cases", "best known", "worst ratio", "mean ratio", "all visited within limits", "s (CPU)"]
    return [Table("Walking beside the best known", columns, rows), large()]


def large() -> Table:
    """What a list of 3000 questions costs, reading and writing of files left out; 4 km2 have as many squares."""
    rng = np.random.default_rng(1)
    n, side = 3000, 245
    asked = questions(
        [tuple(place) for place in rng.uniform(0, 5 * side - 5, (n, 2)).tolist()],
        chance=rng.uniform(0.05, 0.6, n),
        minutes=rng.choice([2.0, 3.0, 4.0], n),
    )
    began = time.process_time()
    net = flat_net(side, side)
    car = Parking(np.array([[EAST, NORTH]]), True, "")
    found = make_check_list(asked, net, car, outing_h=4)
    took = time.process_time() - began
    in_outings = int((found.rows["outing"] > 0).sum())
    row = [str(n), f"{side**2:,}", str(len(found.outings)), str(in_outings), f"{took:.0f}"]
    return Table("A large list", ["questions", "squares", "outings", "questions on them", "s (CPU)"], [row])


def main() -> None:
    """Print the tables."""
    for table in compared():
        print("\n".join(table.as_markdown()))


if __name__ == "__main__":
    main()
