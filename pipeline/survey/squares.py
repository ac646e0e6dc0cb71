"""The ground of a survey, square by square: how well it was seen, how steep and how restless it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.returns.cloud import Cloud
from pipeline.survey.near_ground import near_ground

Numbers = NDArray[np.float64]

SQUARE_M = 15.0
"""Side of a square, in metres: wider than a knoll or the foot of a cliff, narrower than the stands and slopes that
decide how well they are seen. Our choice."""
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
    """The squares of a survey.

    Squares at the rim hold less ground than others, and count as seen less well.

    Parameters
    ----------
    read_ratio : share of the points that was read, 0 to 1
    """
    places = [np.floor(cloud.en / SQUARE_M).astype(np.int64) for cloud in clouds]
    grounds = [near_ground(cloud) for cloud in clouds]
    place, square = _squares(np.concatenate(places))
    is_ground = np.concatenate(grounds)
    ground = np.concatenate([cloud.enh for cloud in clouds])[is_ground]
    of_ground = square[is_ground]
    number = np.bincount(of_ground, minlength=len(place))
    slope, about_m = _planes(ground, of_ground, place, number)
    kind = np.where(about_m >= RESTLESS_M, RESTLESS, CALM)
    kind = np.where(slope >= np.tan(np.radians(STEEP_DEG)), STEEP, kind)
    tells = number >= LEAST_RETURNS
    usual = float(np.median(slope[tells])) if tells.any() else None
    return Squares(place, number / SQUARE_M**2 / read_ratio, _from_around(kind, tells, place), usual)


def _squares(places: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(m, 2) every square among (n, 2) columns and rows once, by column and then row; (n,) which of them each is.

    NumPy's own `unique` for rows sorts all returns by their squares, which takes ten times as long.
    """
    if len(places) == 0:
        return places, np.empty(0, np.int64)
    least = places.min(axis=0)
    n_rows = int(places[:, 1].max() - least[1]) + 1
    key = (places[:, 0] - least[0]) * n_rows + (places[:, 1] - least[1])
    kept = np.unique(key)
    return np.stack(np.divmod(kept, n_rows), axis=1) + least, np.searchsorted(kept, key)


def _planes(
    ground: Numbers, square: NDArray[np.int64], place: NDArray[np.int64], number: NDArray[np.int64]
) -> tuple[Numbers, Numbers]:
    """(n,) rise over run of the plane through each square's ground returns, and metres that they lie about it."""
    centre = (place + 0.5) * SQUARE_M
    east, north = (ground[:, :2] - centre[square]).T
    level = np.bincount(square, ground[:, 2], len(place)) / np.maximum(number, 1)
    height = ground[:, 2] - level[square]
    columns = np.stack((np.ones_like(east), east, north))
    normal = np.array([[np.bincount(square, a * b, len(place)) for a in columns] for b in columns]).transpose(2, 0, 1)
    right = np.array([np.bincount(square, a * height, len(place)) for a in columns]).T
    # A little of the unit matrix keeps squares solvable whose returns lie on one line.
    plane = np.linalg.solve(normal + 1e-6 * np.eye(3), right[:, :, None])[:, :, 0]
    off = height - (plane[square] * columns.T).sum(axis=1)
    about = np.sqrt(np.bincount(square, off**2, len(place)) / np.maximum(number - 3, 1))
    return np.hypot(plane[:, 1], plane[:, 2]), about


def _from_around(kind: NDArray[np.int64], tells: NDArray[np.bool_], place: NDArray[np.int64]) -> NDArray[np.int64]:
    """The kinds, with those of squares that do not tell taken from the nearest that does; calm where none does."""
    if tells.all() or not tells.any():
        return np.where(tells, kind, CALM)
    known = np.flatnonzero(tells)
    filled = kind.copy()
    _, nearest = cKDTree(place[known]).query(place[~tells])
    filled[~tells] = kind[known[nearest]]
    return filled
