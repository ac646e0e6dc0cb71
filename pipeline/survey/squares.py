"""The ground of a survey, square by square: how well it was seen, how steep and how restless it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy  # its parts take long to import and come when they are first used, in most runs never
from numpy.typing import NDArray

from pipeline.returns.cloud import Cloud
from pipeline.survey.sample.near_ground import near_ground
from pipeline.survey.sample.square_sums import SQUARE_M, Numbers, SquareSums

LEAST_RETURNS = 8
"""Ground returns from which slope and restlessness of a square are told: a plane takes three of them. Our choice."""
STEEP_DEG = 25.0
"""Slope from which a square is steep: there a metre aside is half a metre of height. Our choice."""
RESTLESS_M = 0.35
"""Standard deviation of the ground about its plane, in metres, from which a square is restless: more than the least
knoll shows there, 1 m over 5 m. Our choice."""
KINDS_OF_GROUND = ("calm", "restless", "steep")
CALM, RESTLESS, STEEP = range(3)


@dataclass(frozen=True)
class Squares:
    """Squares of ground that returns fell on, one value each.

    Attributes
    ----------
    place : (n, 2) int64, column and row: east and north over SQUARE_M, rounded down
    ground_per_m2 : (n,) returns near the lowest surface
    kind : (n,) int64, place in KINDS_OF_GROUND; of the squares around where too few returns tell
    usual_slope : rise over run of the middle one of the squares that tell, sorted by slope; None where none tells
    """

    place: NDArray[np.int64]
    ground_per_m2: Numbers
    kind: NDArray[np.int64]
    usual_slope: float | None = None

    @property
    def share_by_kind(self) -> dict[str, float]:
        """Share of the squares that are of each kind of ground, by its name."""
        number = np.bincount(self.kind, minlength=len(KINDS_OF_GROUND)) / max(len(self.kind), 1)
        return dict(zip(KINDS_OF_GROUND, number.tolist(), strict=True))


def squares_of(clouds: Sequence[Cloud], /, *, read_ratio: float = 1.0) -> Squares:
    """The squares of clouds of usable returns, as `squares_from` tells them."""
    return squares_from([SquareSums.of(cloud, near_ground(cloud)) for cloud in clouds], read_ratio=read_ratio)


def squares_from(tiles: Sequence[SquareSums], /, *, read_ratio: float = 1.0) -> Squares:
    """The squares of a survey from those of its tiles.

    Squares at the rim hold less ground than others, and count as seen less well.

    Parameters
    ----------
    read_ratio : share of the points that was read, 0 to 1
    """
    joined = SquareSums.joined(tiles)
    number = joined.sums[:, 0]
    slope, about_m = _planes(joined.sums)
    kind = np.where(about_m >= RESTLESS_M, RESTLESS, CALM)
    kind = np.where(slope >= np.tan(np.radians(STEEP_DEG)), STEEP, kind)
    tells = number >= LEAST_RETURNS
    usual = float(np.median(slope[tells])) if tells.any() else None
    density = number / SQUARE_M**2 / read_ratio
    return Squares(joined.place, density, _from_around(kind, tells, joined.place), usual)


def _planes(sums: Numbers) -> tuple[Numbers, Numbers]:
    """(n,) rise over run of the plane through each square's ground returns, and metres that they lie about it."""
    n, east, north, up, east2, east_north, north2, east_up, north_up, up2 = sums.T
    # About their mean: the sums of elevations themselves are a million times as large as those of their differences.
    level = up / np.maximum(n, 1)
    right = np.stack((up - n * level, east_up - east * level, north_up - north * level), axis=1)
    normal = np.array(((n, east, north), (east, east2, east_north), (north, east_north, north2))).transpose(2, 0, 1)
    # A little of the unit matrix keeps squares solvable whose returns lie on one line.
    plane = np.linalg.solve(normal + 1e-6 * np.eye(3), right[:, :, None])[:, :, 0]
    fitted = (plane * ((normal @ plane[:, :, None])[:, :, 0] - 2 * right)).sum(axis=1)
    off2 = np.maximum(up2 - n * level**2 + fitted, 0.0)
    return np.hypot(plane[:, 1], plane[:, 2]), np.sqrt(off2 / np.maximum(n - 3, 1))


def _from_around(kind: NDArray[np.int64], tells: NDArray[np.bool_], place: NDArray[np.int64]) -> NDArray[np.int64]:
    """The kinds, with those of squares that do not tell taken from the nearest that does; calm where none does."""
    if tells.all() or not tells.any():
        return np.where(tells, kind, CALM)
    known = np.flatnonzero(tells)
    filled = kind.copy()
    _, nearest = scipy.spatial.cKDTree(place[known]).query(place[~tells])
    filled[~tells] = kind[known[nearest]]
    return filled
