"""What the returns of one tile tell a survey, in counts and sums: small, and enough to judge the survey from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Bounds
from pipeline.points.duplicates import find_duplicates
from pipeline.points.flight_lines import line_offsets
from pipeline.remembered import packed, unpacked
from pipeline.returns import asprs
from pipeline.returns.cloud import Cloud
from pipeline.survey.sample.days import flight_days
from pipeline.survey.sample.near_ground import GROUND_CELL_M, GROUND_TOLERANCE_M, above_lowest, is_near
from pipeline.survey.sample.square_sums import SquareSums

LEAST_OVERLAP_CELLS = 50
"""Cells with ground returns of both lines that two flight lines must share for their offset to be told; the median of
as many cells is good to about 2 cm in forest."""
HEIGHT_STEP_M = 1.0
"""Steps in which elevations are counted, in metres: they decide when spring comes, a day later every 30 m."""


@dataclass(frozen=True)
class Sample:
    """What was read of a tile. Usable returns are those of `usable_within`.

    Attributes
    ----------
    read_by_class, usable_by_class : (256,) int64, returns of each class of the producer
    n_pulses, n_ground, n_overlap : how many of the usable returns are first of a pulse (all where none is called the
        first), near the lowest surface, and marked as overlap of flight lines
    most_number : the highest return number
    most_of_first : the highest number of returns that a first return says its pulse has; 0 without any
    heights, height_counts : (k,) int64, elevations in whole steps of HEIGHT_STEP_M and how many returns have each
    n_times : returns with a GPS time
    days : (k,) int64, days of flight as `datetime.date.toordinal` counts them; none where they cannot be told
    lines : (k,) int64, point source IDs
    offsets : (k, 4) float64, pairs of flight lines that share enough ground: the two lines, how far the second lies
        above the first in metres, and on how many cells that was told
    place, sums : the ground square by square, of `SquareSums`
    """

    read_by_class: NDArray[np.int64]
    usable_by_class: NDArray[np.int64]
    n_pulses: int
    n_ground: int
    n_overlap: int
    most_number: int
    most_of_first: int
    heights: NDArray[np.int64]
    height_counts: NDArray[np.int64]
    n_times: int
    days: NDArray[np.int64]
    lines: NDArray[np.int64]
    offsets: NDArray[np.float64]
    place: NDArray[np.int64]
    sums: NDArray[np.float64]

    @property
    def n_read(self) -> int:
        """Returns that were read."""
        return int(self.read_by_class.sum())

    @property
    def n_usable(self) -> int:
        """Returns of them that count."""
        return int(self.usable_by_class.sum())

    @property
    def squares(self) -> SquareSums:
        """The ground square by square."""
        return SquareSums(self.place, self.sums)

    def to_bytes(self) -> bytes:
        """The sample as it is kept from run to run."""
        return packed({name: np.asarray(value) for name, value in vars(self).items()})

    @classmethod
    def from_bytes(cls, value: bytes, /) -> Sample:
        """The sample that `to_bytes` wrote."""
        kept: Mapping[str, NDArray[np.generic]] = unpacked(value)
        scalars = {name: value if value.ndim else value.item() for name, value in kept.items()}
        return cls(**scalars)  # type: ignore[arg-type]


def usable_within(cloud: Cloud, bounds: Bounds, /) -> Cloud:
    """The points that count: usable, no noise, no repeats, no strays outside the tile (by more than a metre)."""
    west, south, east, north = bounds
    inside = (cloud.east > west - 1) & (cloud.east < east + 1) & (cloud.north > south - 1) & (cloud.north < north + 1)
    return cloud.take(inside & cloud.is_usable & ~np.isin(cloud.producer_class, asprs.NOISE) & ~find_duplicates(cloud))


def sample_of(read: Cloud, usable: Cloud, /) -> Sample:
    """The sample of a tile from what was read of it, and what of that counts."""
    above_m, tilt = above_lowest(usable)
    ground = is_near(above_m, tilt)
    first = usable.return_number <= 1
    is_timed = usable.gps_time != 0
    heights, height_counts = np.unique(np.floor(usable.height / HEIGHT_STEP_M).astype(np.int64), return_counts=True)
    squares = SquareSums.of(usable, ground)
    return Sample(
        read_by_class=np.bincount(read.producer_class, minlength=256),
        usable_by_class=np.bincount(usable.producer_class, minlength=256),
        n_pulses=int(first.sum()) or len(usable),
        n_ground=int(ground.sum()),
        n_overlap=int(usable.is_overlap.sum()),
        most_number=int(usable.return_number.max(initial=0)),
        most_of_first=int(usable.n_returns[usable.return_number == 1].max(initial=0)),
        heights=heights,
        height_counts=height_counts,
        n_times=int(is_timed.sum()),
        days=np.array([day.toordinal() for day in flight_days(usable.gps_time[is_timed])], np.int64),
        lines=np.unique(usable.flight_line).astype(np.int64),
        offsets=_offsets(usable, above_m),
        place=squares.place,
        sums=squares.sums,
    )


def _offsets(usable: Cloud, above_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """(k, 4) flight lines compared by the ground both have seen."""
    if len(usable) == 0 or usable.flight_line.min() == usable.flight_line.max():
        return np.empty((0, 4))
    above_m = np.where(np.abs(above_m) > GROUND_TOLERANCE_M, np.nan, above_m)
    pairs = line_offsets(usable, above_m, cell_m=GROUND_CELL_M, least_cells=LEAST_OVERLAP_CELLS)
    return np.array([(p.first, p.second, p.offset_m, p.n_cells) for p in pairs]).reshape(-1, 4)
