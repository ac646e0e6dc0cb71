"""The producer's ground and ours: which of the two is believed, return by return, where they disagree.

Either may be wrong in one place and right in the next. A ground filter cuts off spurs and takes crowns on dark slopes;
a producer leaves holes, or plants in the ground. What tells them apart is no measure of either surface: it is what
returns lie below. Nothing lies below the ground, so a return with others below it on every side is not of the ground,
and a surface that was drawn across a gap is no witness against returns in that gap.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.islands import joined_groups
from pipeline.returns.asprs import BUILDING, HIGH_VEGETATION, LOW_VEGETATION, MEDIUM_VEGETATION
from pipeline.returns.buckets import Buckets
from pipeline.returns.triangulation import cell_means, height_above, nearest_places

Distances = NDArray[np.float64]

SURFACE_CELL_M = 0.5
"""Side in metres of the cells in which the surfaces of the two grounds are compared: a plant of that width is seen
beside the ground it stands on. Our choice."""
JOIN_M = 0.08
"""Our returns at most this many metres from the surface that is believed join it: a producer thins ground out without
refusing the rest. With more, low plants join. Our choice."""
BELOW_M = 0.25
"""Metres by which returns must lie below a return, or below a surface, to speak against it: less is noise, or the bend
of the ground between returns. Our choice."""
AROUND_M = 3.0
"""How far, in metres, what lies below a return is sought, and the company of a low return: a shrub or the crown of a
young tree is narrower, and a thin survey has a dozen returns in it. Our choice."""
COMPANY = 3
"""Other low returns within `AROUND_M` that a low return needs to be believed where the producer has none: stray echoes
come singly. Our choice."""
MISSED_M = 2.0
"""Distance in metres from the producer's ground beyond which low returns show a hollow that the producer missed; nearer
ones only show how rough the ground is. Taken at any distance, they made the ground of young lava worse (held-out error
1.09 of that of the producer's ground, else 0.96). Fitted on lava_cone and lake_edge."""
HOLE_M = 4.0
"""Distance in metres from the producer's ground at which its surface says little of the ground, and ours fills the hole
if it is joined to the rest. Our choice."""
ABSENT_M = 30.0
"""Distance in metres from the producer's ground beyond which there is none to compare with, and ours stands alone: a
tile that nobody classified beside one that was. Halls are narrower. Our choice."""
DISPUTED_M = 0.5
"""Metres between the two grounds from which a mapper is told of it: a tenth of the interval of contours. Our choice."""
NO_GROUND = (LOW_VEGETATION, MEDIUM_VEGETATION, HIGH_VEGETATION, BUILDING)
"""Classes by which a producer says that a return is not of the ground: they fill no hole of its ground. Fields of crops
0.7 m high are such holes in thin_with_buildings."""


@dataclass(frozen=True)
class Dispute:
    """Returns that one ground holds and the other misses by much, and which of the two was believed there.

    Attributes
    ----------
    index : (k,) numbers of the returns
    apart_m : (k,) float64, metres of the return above the surface of the ground that does not hold it
    is_producers : (k,) bool, whether the producer's ground was believed, and not ours
    """

    index: NDArray[np.intp] = field(default_factory=lambda: np.empty(0, np.intp))
    apart_m: Distances = field(default_factory=lambda: np.empty(0))
    is_producers: Mask = field(default_factory=lambda: np.empty(0, np.bool_))


def judged_ground(
    enh: EastNorthHeight, producer_class: NDArray[np.uint8], is_producer: Mask, is_own: Mask, /
) -> tuple[Mask, Dispute]:
    """(n,) bool: the ground, of both, return by return; and where the two are far apart.

    The producer's returns stay but those with our ground below them on every side. Of ours join those on the surface of
    what stays; those below it, where the producer has none near; and those in holes of it that a gentle way joins to
    the rest. Each return is judged by what lies some metres around it, so that no cut of the survey shows.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    producer_class : (n,) uint8
        ASPRS classes as delivered.
    is_producer, is_own : (n,) bool
        Ground by the producer, and by our filter.
    """
    if not is_producer.any() or not is_own.any():
        return (is_own if is_own.any() else is_producer), Dispute()
    own, other = np.flatnonzero(is_own & ~is_producer), np.flatnonzero(is_producer & ~is_own)
    own_above_m, other_above_m = _above(enh[is_producer], enh[own]), _above(enh[is_own], enh[other])
    kept = is_producer.copy()
    agreed = np.flatnonzero(is_producer & is_own)
    kept[_on_low_returns(enh, other[other_above_m > BELOW_M], own[own_above_m < -JOIN_M], agreed)] = False
    ground = kept.copy()
    ground[_missed(enh, own[own_above_m < -BELOW_M], kept)] = True
    ground |= _on_surface(enh, ground, own)
    rest = own[~ground[own] & ~np.isin(producer_class[own], NO_GROUND)]
    ground[_filling_holes(enh, rest, _away_m(enh, rest, kept), ground)] = True
    return ground, _dispute(ground, (own, own_above_m), (other, other_above_m))


def keep_producer(enh: EastNorthHeight, is_producer: Mask, is_own: Mask, /) -> Mask:
    """(n,) bool: all of the producer's ground, and ours where it lies on the producer's surface.

    A thinned ground class is filled up again; what the producer's filter refused, such as plants close to the ground,
    stays out, since it lies above that surface.
    """
    if not is_producer.any():
        return is_own
    return is_producer | _on_surface(enh, is_producer, np.flatnonzero(is_own))


def _on_surface(enh: EastNorthHeight, ground: Mask, some: NDArray[np.intp], /) -> Mask:
    """(n,) bool: some returns that lie on the surface of the ground."""
    near = np.zeros(len(enh), np.bool_)
    if ground.any():
        near[some[np.abs(_above(enh[ground], enh[some])) <= JOIN_M]] = True
    return near


def _on_low_returns(
    enh: EastNorthHeight, some: NDArray[np.intp], low: NDArray[np.intp], agreed: NDArray[np.intp], /
) -> NDArray[np.intp]:
    """Those of some returns that have others well below them in each of four quarters around.

    In two quarters these must be low ones, which speak against the producer's surface; ground that both hold may make
    up the rest, at the rim of a stand of plants. Alone it would speak against every top that our filter cuts off.
    """
    if not len(some) or not len(low):
        return some[:0]
    held = _quarters_below(enh, some, low)
    some, held = some[held.sum(axis=1) >= 2], held[held.sum(axis=1) >= 2]
    is_refused: Mask = (held | _quarters_below(enh, some, agreed)).all(axis=1)
    return some[is_refused]


def _quarters_below(enh: EastNorthHeight, some: NDArray[np.intp], others: NDArray[np.intp], /) -> Mask:
    """(k, 4) bool: in which quarters around each of some returns another lies well below it."""
    found, number = Buckets.of(enh[others, 0], enh[others, 1]).within(
        enh[some, 0], enh[some, 1], np.full(len(some), AROUND_M)
    )
    upper = np.repeat(np.arange(len(some)), found)
    east_m, north_m, up_m = (enh[others[number]] - enh[some[upper]]).T
    is_below = up_m < -BELOW_M
    quarter = 2 * (east_m > 0) + (north_m > 0)
    held = np.zeros((len(some), 4), np.bool_)
    held[upper[is_below], quarter[is_below]] = True
    return held


def _missed(enh: EastNorthHeight, low: NDArray[np.intp], kept: Mask, /) -> NDArray[np.intp]:
    """Those of the low returns that have company, where none of the producer's ground is near."""
    if not len(low):
        return low
    east, north = enh[low, 0], enh[low, 1]
    found, _ = Buckets.of(east, north).within(east, north, np.full(len(low), AROUND_M))
    low = low[found > COMPANY]
    return low[_away_m(enh, low, kept) > MISSED_M]


def _filling_holes(
    enh: EastNorthHeight, some: NDArray[np.intp], away_m: Distances, ground: Mask, /
) -> NDArray[np.intp]:
    """Those of some returns that lie in holes and are joined to the ground, or have none near to be joined to."""
    is_hole = away_m > HOLE_M
    if not is_hole.any():
        return some[:0]
    group = joined_groups(np.concatenate((enh[some], enh[ground])))
    is_joined = (group[: len(some)] >= 0) & np.isin(group[: len(some)], group[len(some) :])
    return some[is_hole & (is_joined | (away_m > ABSENT_M))]


def _away_m(enh: EastNorthHeight, some: NDArray[np.intp], ground: Mask, /) -> Distances:
    """(k,) metres in plan from some returns to the nearest of the ground; inf without any."""
    if not len(some) or not ground.any():
        return np.full(len(some), np.inf)
    return nearest_places(enh[ground, :2], enh[some, :2])[0]


def _dispute(
    ground: Mask, own: tuple[NDArray[np.intp], Distances], other: tuple[NDArray[np.intp], Distances]
) -> Dispute:
    """The returns of either ground alone that lie far from the other's surface; `own` and `other` with metres above."""
    index, apart_m = (np.concatenate(pair) for pair in zip(own, other, strict=True))
    is_producers = np.concatenate((~ground[own[0]], ground[other[0]]))
    far = np.abs(apart_m) > DISPUTED_M
    return Dispute(index[far], apart_m[far], is_producers[far])


def _above(ground: EastNorthHeight, enh: EastNorthHeight, /) -> Distances:
    """(m,) metres above the triangulated ground; NaN without ground."""
    return height_above(enh, cell_means(ground, cell_m=SURFACE_CELL_M), cell_m=SURFACE_CELL_M)
