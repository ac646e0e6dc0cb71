"""Whether lines have others beside them that run the same way: terraces come in rows, banks of roads do not."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import LineString

SAMPLE_M = 3.0
"""Distance in metres between the places of a line that are looked at (our choice)."""
NEAREST_M, FARTHEST_M = 3.0, 25.0
"""Distances in metres between terraces: narrower than 3 m bears no row of vines or trees (our choice)."""
ABREAST_M = 3.0
"""How far ahead or behind of a place, in metres, what lies beside it may be (our choice)."""
APART_M = 2.5
"""Distance in metres from which two neighbours are two (our choice)."""
PARALLEL_DEG = 20.0
"""Most degrees between lines that run the same way (our choice)."""

Floats = NDArray[np.float64]


def company(lines: list[LineString], /) -> Floats:
    """(n,) share of the places of each line that have two others beside them, on one side or on both."""
    if not lines:
        return np.zeros(0)
    places, ahead, of_line = _samples(lines)
    pairs = cKDTree(places).query_pairs(FARTHEST_M + ABREAST_M, output_type="ndarray")
    pairs = np.concatenate((pairs, pairs[:, ::-1]))
    one, other = pairs.T
    step = places[other] - places[one]
    along = np.abs(np.einsum("ij,ij->i", step, ahead[one]))
    aside = step[:, 0] * ahead[one, 1] - step[:, 1] * ahead[one, 0]
    turned = np.abs(np.einsum("ij,ij->i", ahead[one], ahead[other]))
    beside = (along <= ABREAST_M) & (np.abs(aside) >= NEAREST_M) & (np.abs(aside) <= FARTHEST_M)
    beside &= turned >= np.cos(np.radians(PARALLEL_DEG))
    one, aside = one[beside], aside[beside]
    low, high = np.full(len(places), np.inf), np.full(len(places), -np.inf)
    np.minimum.at(low, one, aside)
    np.maximum.at(high, one, aside)
    has_two = high - low >= APART_M
    return np.bincount(of_line, has_two, len(lines)) / np.maximum(np.bincount(of_line, minlength=len(lines)), 1)


def _samples(lines: list[LineString]) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Places along the lines, the unit vectors along them there, and the number of the line of each."""
    places, ahead, of_line = [], [], []
    for number, line in enumerate(lines):
        at = np.arange(SAMPLE_M / 2, line.length, SAMPLE_M) if line.length > SAMPLE_M else np.array([line.length / 2])
        before, after = (
            shapely.get_coordinates(shapely.line_interpolate_point(line, np.clip(at + d, 0, line.length)))
            for d in (-SAMPLE_M, SAMPLE_M)
        )
        step = after - before
        places.append((before + after) / 2)
        ahead.append(step / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)[:, None])
        of_line.append(np.full(len(at), number))
    return np.concatenate(places), np.concatenate(ahead), np.concatenate(of_line)
