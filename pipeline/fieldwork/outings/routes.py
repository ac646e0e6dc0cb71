"""Which places to visit on which outing, and in which order: an orienteering problem with several walks.

Every walk starts and ends at the parking place and has a limit of time. Where all places fit, all are visited in the
least walking time; where they do not, those of least worth are left out. OR-Tools searches a fixed number of solutions
in one thread, so the same places give the same walks.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

MOST_OUTINGS = 12
"""Walks planned at most; what is left after so many is planned anew from what they found (our choice)."""
SOLUTIONS = 230
"""Better and worse orders that the search tries before it stops: a second for 200 places on twelve walks. Three hundred
take twice that and visit what is worth 0 to 2 % more (measured on 2 x 2 km of forest)."""
SOLUTIONS_OF_A_GLANCE = 10
"""As many of a search that only tells how many walks there have to be: a fiftieth of a second (measured)."""
SOLUTIONS_OF_ONE = 150
"""As many for the order within one walk afterwards."""
BRANCHES_A_SOLUTION = 20
"""Decisions of the search after which it stops as well: of a few places there are too few orders to try, and it would
go on for ever. Where there are enough it takes some six for each (measured)."""
LEFT_OUT_LIMITS = 50.0
"""What it costs the search to leave out the most worthy place, in limits of a walk: more than any detour."""
LEAST_PRIZE_SHARE = 0.05
"""What the least worthy place counts for at least, as a share of the most worthy: enough to be worth any walk that
fits (our choice)."""
NOT_TRIED = (
    "relocate_pair",
    "exchange_pair",
    "light_relocate_pair",
    "relocate_subtrip",
    "exchange_subtrip",
    "global_cheapest_insertion_path_lns",
    "local_cheapest_insertion_path_lns",
    "relocate_path_global_cheapest_insertion_insert_unperformed",
    "global_cheapest_insertion_visit_types_lns",
    "local_cheapest_insertion_visit_types_lns",
)
"""Moves of OR-Tools for pairs of pick-up and delivery, of which there are none here, and those that plan whole walks
anew: without them the same walks were found in two thirds of the time (nine of ten areas measured; in the tenth one
walk differed)."""
UNREACHED_MINUTES = 1e5
"""Stands for no way at all."""
Minutes = NDArray[np.float64]
"""(n + 1, n + 1) minutes of walking, the first of the places being the parking place, or (n,) minutes at each."""


def plan_outings(
    walking: Minutes, looking: Minutes, worth: NDArray[np.float64], /, *, limit_minutes: float
) -> list[list[int]]:
    """Walks within a limit of time, the one that is worth most an hour first; no place is on two of them.

    Parameters
    ----------
    walking : (n + 1, n + 1) minutes; row and column 0 are the parking place
    looking : (n,) minutes that are spent at each place
    worth : (n,) what a visit is worth, greater than 0

    Returns
    -------
    Lists of places 0 to n - 1, in walking order.
    """
    reached = np.minimum(walking, UNREACHED_MINUTES)
    fits = reached[0, 1:] + looking + reached[1:, 0] <= limit_minutes
    usable = np.flatnonzero(fits)
    if not len(usable):
        return []
    of = np.concatenate([[0], usable + 1])
    own = reached[np.ix_(of, of)]

    def in_walks(most: int, *, solutions: int = SOLUTIONS) -> list[list[int]]:
        return _search(own, looking[usable], worth[usable], limit_minutes=limit_minutes, most=most, solutions=solutions)

    def at_a_glance(most: int) -> list[list[int]]:
        return in_walks(most, solutions=SOLUTIONS_OF_A_GLANCE)

    least = _outings_at_least(own, looking[usable], limit_minutes)
    found = in_few_walks(in_walks, len(usable), least=least, at_a_glance=at_a_glance)
    outings = [_in_best_order([int(usable[place]) for place in walk], reached) for walk in found]
    _fill_up(outings, usable, reached, looking, worth, limit_minutes=limit_minutes)
    return sorted(outings, key=lambda outing: -_worth_of(outing, reached, looking, worth))


def in_few_walks(
    in_walks: Callable[[int], list[list[int]]],
    n_places: int,
    /,
    *,
    least: int,
    at_a_glance: Callable[[int], list[list[int]]],
) -> list[list[int]]:
    """What a search finds with as few walks as all places fit in, else with MOST_OUTINGS.

    The search finds shorter walks when it has no more of them than needed, so one more is tried until all places fit.
    Numbers of walks are passed over where a glance leaves out what would fill more than one further walk. Then the
    places are often too many for any number of walks: that is tried first.

    Parameters
    ----------
    in_walks : the search by how many walks it may use
    least : walks without which not all places fit
    at_a_glance : a search that takes next to no time, and visits a little less
    """

    def may_do(most: int) -> bool:
        n_visited = sum(map(len, at_a_glance(most)))
        return n_places - n_visited <= n_visited / most

    first = next((most for most in range(least, MOST_OUTINGS) if may_do(most)), MOST_OUTINGS)
    widest: list[list[int]] = []
    if first > least:
        widest = in_walks(MOST_OUTINGS)
        if sum(map(len, widest)) < n_places:
            return widest
    found: list[list[int]] = []
    for most in range(first, MOST_OUTINGS + 1):
        found = widest if widest and most == MOST_OUTINGS else in_walks(most)
        if sum(map(len, found)) == n_places:
            break
    return found


def walked_minutes(outing: Sequence[int], walking: Minutes, /) -> float:
    """Minutes of walking of an outing, from the parking place and back."""
    stops = [0, *(place + 1 for place in outing), 0]
    return float(sum(walking[here, there] for here, there in itertools.pairwise(stops)))


def _worth_of(outing: list[int], walking: Minutes, looking: Minutes, worth: NDArray[np.float64]) -> float:
    return float(worth[outing].sum() / (walked_minutes(outing, walking) + looking[outing].sum()))


def _outings_at_least(walking: Minutes, looking: Minutes, limit_minutes: float) -> int:
    """Walks without which not all places can be visited: each place is reached from the nearest other one at least."""
    apart = walking + np.diag(np.full(len(walking), np.inf))
    least = float(looking.sum() + np.minimum(apart[:, 1:].min(axis=0), limit_minutes).sum())
    return min(MOST_OUTINGS, max(1, math.ceil(least / limit_minutes)))


def _in_best_order(walk: list[int], walking: Minutes) -> list[int]:
    """The places of one walk in the order that takes the least walking, as far as a second search finds it."""
    of = np.array([0, *(place + 1 for place in walk)])
    own = walking[np.ix_(of, of)]
    found = _search(own, np.zeros(len(walk)), np.ones(len(walk)), limit_minutes=1e6, most=1, solutions=SOLUTIONS_OF_ONE)
    better = [walk[place] for place in found[0]] if found else walk
    is_better = len(better) == len(walk) and walked_minutes(better, walking) < walked_minutes(walk, walking)
    return better if is_better else walk


def _fill_up(
    outings: list[list[int]],
    usable: NDArray[np.int64],
    walking: Minutes,
    looking: Minutes,
    worth: NDArray[np.float64],
    *,
    limit_minutes: float,
) -> None:
    """Put places that were left out, the most worthy first, into the walk that they lengthen least, where they fit."""
    left_out = np.setdiff1d(usable, np.concatenate([np.zeros(0, np.int64), *outings]).astype(np.int64))
    for place in left_out[np.argsort(-worth[left_out], kind="stable")].tolist():
        ways = []
        for outing in outings:
            stops = np.array([0, *(stop + 1 for stop in outing), 0])
            longer = walking[stops[:-1], place + 1] + walking[place + 1, stops[1:]] - walking[stops[:-1], stops[1:]]
            spent = walked_minutes(outing, walking) + looking[outing].sum() + looking[place]
            at = int(longer.argmin())
            ways.append((float(longer[at]) if spent + longer[at] <= limit_minutes else math.inf, at))
        number = min(range(len(ways)), key=ways.__getitem__, default=-1)
        if number >= 0 and math.isfinite(ways[number][0]):
            outings[number].insert(ways[number][1], place)


def _search(
    walking: Minutes,
    looking: Minutes,
    worth: NDArray[np.float64],
    *,
    limit_minutes: float,
    most: int,
    solutions: int,
) -> list[list[int]]:
    """Walks through places 0 to n - 1 that OR-Tools finds, empty ones left out."""
    # Takes a third of a second to import.
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2
    from ortools.util import optional_boolean_pb2

    manager = pywrapcp.RoutingIndexManager(len(walking), most, 0)
    model = pywrapcp.RoutingModel(manager)
    # Whole seconds, walking rounded up: a walk that fits in them fits.
    walk_s = np.ceil(walking * 60).astype(np.int64)
    spent_s = walk_s + np.concatenate([[0], np.ceil(looking * 60)]).astype(np.int64)[:, None]
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(walk_s.tolist()))
    limit_s = int(limit_minutes * 60)
    model.AddDimension(model.RegisterTransitMatrix(spent_s.tolist()), 0, limit_s, True, "time")
    # A further walk must save more than a limit of walking, else fewer walks do.
    model.SetFixedCostOfAllVehicles(min(limit_s, 86_400))
    share = np.maximum(worth / worth.max(), LEAST_PRIZE_SHARE)
    for place, cost in enumerate((share * LEFT_OUT_LIMITS * min(limit_s, 86_400)).astype(np.int64), start=1):
        model.AddDisjunction([manager.NodeToIndex(place)], int(cost))
    model.AddSearchMonitor(model.solver().BranchesLimit(solutions * BRANCHES_A_SOLUTION))
    parameters = pywrapcp.DefaultRoutingSearchParameters()
    parameters.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    parameters.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    for move in NOT_TRIED:
        setattr(parameters.local_search_operators, f"use_{move}", optional_boolean_pb2.BOOL_FALSE)
    parameters.solution_limit = solutions
    solution = model.SolveWithParameters(parameters)
    walks = []
    for vehicle in range(most if solution else 0):
        walk, index = [], solution.Value(model.NextVar(model.Start(vehicle)))
        while not model.IsEnd(index):
            walk.append(manager.IndexToNode(index) - 1)
            index = solution.Value(model.NextVar(index))
        if walk:
            walks.append(walk)
    return walks
