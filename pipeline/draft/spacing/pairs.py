"""Which vertices of contours may come too near to each other: found once, then asked in every round of pushing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.draft.spacing.extent import gap_m, half_line_m
from pipeline.draft.spacing.threads import Threads
from pipeline.lattice.grid import EastNorth
from pipeline.norm.symbols import SymbolTable

SPARE_M = 0.2
"""What is kept beyond the least gap, as the line is thinned afterwards: 0.01 mm of map (our choice)."""
FLANK_WAYS = 3.0
"""Way along a line over the distance across, from which two places of it lie on the two flanks of a spur or
re-entrant: what the audit asks too (our choice)."""
CHUNK = 20_000
"""Vertices whose neighbours are looked up at a time (our choice): every vertex has some twenty on its own line, which
would fill the memory if those of a large area were held together."""
ROUNDING_M = 1e-6
"""By so much may a vertex be moved farther than it may, as lengths are rounded."""


@dataclass(frozen=True)
class Needs:
    """How far vertices must keep from those of other lines, and of other parts of their own.

    Attributes
    ----------
    half_m : (n,) float64, half the width of the line
    gap_m : (n,) float64, white to be kept
    mouth_m : (n,) float64, least distance of two flanks; 0 where the norm names none
    """

    half_m: NDArray[np.float64]
    gap_m: NDArray[np.float64]
    mouth_m: NDArray[np.float64]

    @classmethod
    def of(cls, threads: Threads, numbers: NDArray[np.str_], symbols: SymbolTable, /) -> Needs:
        """From the figures of the norm."""
        half = np.array([half_line_m(symbols[text]) for text in numbers])
        gap = np.array([gap_m(symbols[text]) for text in numbers])
        with_mouth = [symbols[text].has("min_mouth_mm") for text in numbers]
        mouth = np.array(
            [
                symbols[text].ground_m("min_mouth_mm") if has else 0.0
                for text, has in zip(numbers, with_mouth, strict=True)
            ]
        )
        return cls(half[threads.line], gap[threads.line], mouth[threads.line])

    @property
    def farthest_m(self) -> float:
        """The largest distance asked for."""
        return float(max((2 * self.half_m + self.gap_m).max(), self.mouth_m.max())) + SPARE_M

    def asked_m(self, threads: Threads, first: NDArray[np.intp], second: NDArray[np.intp], /) -> NDArray[np.float64]:
        """(k,) least distance of each pair of vertices; 0 for those that follow each other on a line."""
        other = threads.line[first] != threads.line[second]
        asked = self.half_m[first] + self.half_m[second] + np.minimum(self.gap_m[first], self.gap_m[second])
        way = np.abs(threads.along_m[first] - threads.along_m[second])
        length = threads.length_m[threads.line[first]]
        way = np.where(threads.closed[threads.line[first]], np.minimum(way, length - way), way)
        mouth = self.mouth_m[first]
        is_flank = (mouth > 0) & (way > FLANK_WAYS * mouth)
        return np.where(other, asked + SPARE_M, np.where(is_flank, mouth + SPARE_M, 0.0))


@dataclass(frozen=True)
class Pairs:
    """Pairs of vertices that may come too near to each other.

    Attributes
    ----------
    first, second : (k,) numbers of the vertices, the smaller one first, in rising order
    asked_m : (k,) float64, least distance
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    asked_m: NDArray[np.float64]

    @classmethod
    def of(cls, threads: Threads, needs: Needs, chosen: NDArray[np.intp], may_move_m: NDArray[np.float64], /) -> Pairs:
        """Those of the chosen vertices that are too near to each other, or would be if both moved as far as they may.

        Parameters
        ----------
        chosen : (m,) numbers of vertices, rising
        may_move_m : (n,) how far each vertex of the threads may be moved
        """
        places = threads.places[chosen]
        reach_m = needs.farthest_m + 2 * float(may_move_m[chosen].max(initial=0.0)) + ROUNDING_M
        tree = cKDTree(places)
        parts = []
        for start in range(0, len(chosen), CHUNK):
            some = cKDTree(places[start : start + CHUNK]).sparse_distance_matrix(tree, reach_m, output_type="ndarray")
            first, second = chosen[some["i"] + start], chosen[some["j"]]
            asked = needs.asked_m(threads, first, second)
            may_be = asked + may_move_m[first] + may_move_m[second] + ROUNDING_M
            kept = (first < second) & (asked > 0) & (some["v"] < may_be)
            parts.append((first[kept], second[kept], asked[kept]))
        first, second, asked = (
            np.concatenate([part[i] for part in parts]) if parts else np.zeros(0, kind)
            for i, kind in enumerate((np.intp, np.intp, np.float64))
        )
        order = np.lexsort((second, first))
        return cls(first[order], second[order], asked[order])

    def too_near(
        self, places: EastNorth, zone: NDArray[np.bool_], /
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
        """Pairs within the zone that are too near to each other where they are now, and what each lacks in metres."""
        rows = np.flatnonzero(zone[self.first] & zone[self.second])
        first, second = self.first[rows], self.second[rows]
        lack = self.asked_m[rows] - np.hypot(*(places[first] - places[second]).T)
        short = lack > 0
        return first[short], second[short], lack[short]

    def pushes(self, places: EastNorth, zone: NDArray[np.bool_], /) -> EastNorth:
        """(n, 2) half of what each vertex lacks, away from the nearest other line."""
        first, second, lack = self.too_near(places, zone)
        push = np.zeros_like(places)
        if not len(first):
            return push
        at = np.concatenate([first, second])
        by = np.concatenate([second, first])
        lack = np.tile(lack / 2, 2)
        # The nearest of several decides: written last, it stays.
        order = np.argsort(lack, kind="stable")
        at, by, lack = at[order], by[order], lack[order]
        way = places[at] - places[by]
        push[at] = way / np.maximum(np.hypot(*way.T), 1e-6)[:, None] * lack[:, None]
        return push


def nearest_other_m(
    threads: Threads, others: NDArray[np.bool_], chosen: NDArray[np.intp], /, *, reach_m: float
) -> NDArray[np.float64]:
    """(m,) metres from each chosen vertex to the nearest of another line; infinite where none is within reach.

    Two numbers of lines differ in one binary digit at least: for each digit the nearest vertex is looked for among the
    lines in which it differs, so that a few trees of all vertices do instead of one for each line.

    Parameters
    ----------
    others : (n,) bool, vertices that are looked for
    """
    far_m = np.full(len(chosen), np.inf)
    searched = np.flatnonzero(others)
    for digit in range(max(int(threads.line.max(initial=0)).bit_length(), 1)):
        of_searched, of_chosen = (threads.line[searched] >> digit) & 1, (threads.line[chosen] >> digit) & 1
        for value in (0, 1):
            there, here = searched[of_searched == value], np.flatnonzero(of_chosen != value)
            if len(there) and len(here):
                found, _ = cKDTree(threads.places[there]).query(
                    threads.places[chosen[here]], distance_upper_bound=reach_m
                )
                far_m[here] = np.minimum(far_m[here], found)
    return far_m
