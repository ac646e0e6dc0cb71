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
SOLUTIONS = 300
"""Better and worse orders that the search tries before it stops: a second for 100 places (measured)."""
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

    def in_walks(most: int) -> list[list[int]]:
        return _search(own, looking[usable], worth[usable], limit_minutes=limit_minutes, most=most, solutions=SOLUTIONS)

    found = in_few_walks(in_walks, len(usable), least=_outings_at_least(own, looking[usable], limit_minutes))
    outings = [_in_best_order([int(usable[place]) for place in walk], reached) for walk in found]
    return sorted(outings, key=lambda outing: -_worth_of(outing, reached, looking, worth))


def in_few_walks(in_walks: Callable[[int], list[list[int]]], n_places: int, /, *, least: int) -> list[list[int]]:
    """What a search finds with as few walks as all places fit in, else with MOST_OUTINGS.

    The search finds shorter walks when it has no more of them than needed, so one more is tried until all places fit.
    Where those left over would fill more than one further walk, they are often too many for any number of walks: that
    is tried first, as it spares the searches between.

    Parameters
    ----------
    in_walks : the search by how many walks it may use
    least : walks without which not all places fit
    """
    found = in_walks(least)
    n_visited = sum(map(len, found))
    widest: list[list[int]] = []
    if least < MOST_OUTINGS and n_places - n_visited > n_visited / least:
        widest = in_walks(MOST_OUTINGS)
        if sum(map(len, widest)) < n_places:
            return widest
    for most in range(least + 1, MOST_OUTINGS + 1):
        if sum(map(len, found)) == n_places:
            break
        found = widest if widest and most == MOST_OUTINGS else in_walks(most)
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
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2  # takes a third of a second to import

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
