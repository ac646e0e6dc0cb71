"""What the fields and bits of point records mean, as a cloud in metres."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurveyError
from pipeline.intake.placement import Placement, to_working
from pipeline.lattice.grid import Mask
from pipeline.returns import asprs
from pipeline.returns.cloud import Cloud

# Steps of the scan angle in formats 6 to 10 (LAS 1.4 R15, table 18).
_SCAN_ANGLE_STEP_DEG = 0.006
# Farther than twice around the Earth is no place (arithmetic); NaN and infinity are none either.
_MOST_PLACE_M = 1e8


def carries_one_number(points: laspy.ScaleAwarePointRecord, /) -> bool:
    """Whether all points carry the same return number, and it is not the first's: numbers that tell nothing."""
    number = _exact(points, "return_number")
    return len(number) > 0 and int(number[0]) > 1 and bool((number == number[0]).all())


def cloud_of(
    points: laspy.ScaleAwarePointRecord, placement: Placement, path: Path, /, *, is_numbered: bool = True
) -> Cloud:
    """Point records as a cloud in the working CRS and metres; repeated points are not looked for.

    Parameters
    ----------
    is_numbered : bool
        Whether the return numbers tell anything; if not, each return is the only one of its pulse.

    Raises
    ------
    SurveyError
        If coordinates turn out not to be finite; names `path`.
    """
    with np.errstate(over="ignore", invalid="ignore"):  # looked for below
        x, y, z = (np.asarray(points[axis]) for axis in "xyz")
    east, north, height = to_working(x, y, z, placement)
    for places in (east, north, height):
        if not (np.abs(places) < _MOST_PLACE_M).all():
            raise SurveyError(f"{path}: some points have no place in {placement.crs}; is the 'crs:' right?")
    names = set(points.point_format.dimension_names)
    number, total, kind = (_exact(points, name) for name in ("return_number", "number_of_returns", "classification"))
    if not is_numbered:
        number, total = np.ones_like(number), np.ones_like(total)
    if "scan_angle" in names:
        angle_deg = np.asarray(points["scan_angle"]) * _SCAN_ANGLE_STEP_DEG
    else:
        angle_deg = np.asarray(points["scan_angle_rank"])
    return Cloud(
        east=east,
        north=north,
        height=height,
        intensity=np.ascontiguousarray(points["intensity"]),
        return_number=number,
        # Some software numbers the returns of a pulse but leaves their total at 1.
        n_returns=np.maximum(number, total),
        gps_time=_times(points) if "gps_time" in names else np.zeros(len(points)),
        flight_line=np.ascontiguousarray(points["point_source_id"]),
        channel=_exact(points, "scanner_channel") if "scanner_channel" in names else np.zeros(len(points), np.uint8),
        scan_angle_deg=angle_deg.astype(np.float32),
        producer_class=kind,
        is_usable=~_unusable(points, number),
        is_overlap=_exact(points, "overlap") != 0 if "overlap" in names else kind == asprs.OVERLAP,
    )


def _exact(points: laspy.ScaleAwarePointRecord, name: str) -> NDArray[np.uint8]:
    """A field of some bits, one number a point."""
    return np.ascontiguousarray(points[name], np.uint8)


def _times(points: laspy.ScaleAwarePointRecord) -> NDArray[np.float64]:
    """(n,) GPS times; those that are no numbers become 0."""
    times: NDArray[np.float64] = np.nan_to_num(points["gps_time"], nan=0.0, posinf=0.0, neginf=0.0)
    return times


def _unusable(points: laspy.ScaleAwarePointRecord, return_number: NDArray[np.uint8]) -> Mask:
    """(n,) bool: points nobody measured, or that are withheld.

    Where a survey numbers its returns, number 0 marks a producer's virtual points.
    """
    unusable: Mask = (_exact(points, "withheld") | _exact(points, "synthetic")) != 0
    return unusable | (return_number == 0) if return_number.any() else unusable
