"""Roofs that only the producer's classes tell of: where a survey is too thin for planes to be drawn."""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Mask
from pipeline.returns.asprs import BUILDING
from pipeline.returns.cloud import Cloud

AROUND_M = 5.0
"""How far around a return, in metres, the others are counted: about as wide as a house, as returns are strewn unevenly.
Our choice."""
THIN_PER_M2 = 1.0
"""Last returns per square metre below which planes are not trusted to find a roof: the wide window through which they
are drawn then holds 6, and 5 are needed (`pipeline.points.roofs.planes`). Our choice."""
LEAST_AROUND = round(THIN_PER_M2 * math.pi * AROUND_M**2)
"""Last returns within `AROUND_M` from which the survey is no longer too thin."""


def told_roofs(cloud: Cloud, is_candidate: Mask, /) -> Mask:
    """(n,) bool: which candidates the producer calls building, where too few returns lie for us to judge it.

    A house of a survey of 0.2 pulses/m2 has a handful of returns, and without the producer's word they pass for a
    boulder 4 m high. Where planes can be drawn the producer's word is not needed: producers' filters may call blocks building too.
    """
    told = np.flatnonzero(is_candidate & (cloud.producer_class == BUILDING))
    roofs = np.zeros(len(cloud), np.bool_)
    last = np.flatnonzero(cloud.is_last & cloud.is_usable)
    if not len(told) or not len(last):
        return roofs
    places = cKDTree(np.column_stack((cloud.east[last], cloud.north[last])))
    asked = np.column_stack((cloud.east[told], cloud.north[told]))
    away_m, _ = places.query(asked, k=[LEAST_AROUND], distance_upper_bound=AROUND_M)
    roofs[told[np.isinf(away_m[:, 0])]] = True
    return roofs
