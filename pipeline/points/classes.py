"""Classes: what each return came back from, in the terms of ASPRS LAS 1.4."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground import find_ground
from pipeline.points.noise import Noise, find_noise
from pipeline.points.pdal_pipeline import GROUND_CELL_M
from pipeline.points.producer import keep_producer
from pipeline.points.roofs import find_roofs
from pipeline.points.wires import find_wires
from pipeline.returns.asprs import (
    BUILDING,
    GROUND,
    HIGH_NOISE,
    HIGH_VEGETATION,
    LOW_NOISE,
    LOW_VEGETATION,
    MEDIUM_VEGETATION,
    UNCLASSIFIED,
    WATER,
    WIRE,
)
from pipeline.returns.cloud import Cloud
from pipeline.returns.triangulation import cell_means, height_above
from pipeline.settings import PointsSettings, RoofSettings, WireSettings

NOISE_CELL_M = 5.0
"""Side of the cubes in which lone returns are sought; a few pulse spacings."""
NOISE_MAX_RETURNS = 3
"""A return with at most this many in its own and the 26 cubes around is alone."""
NOISE_MIN_GAP_M = 1.0
"""A lone return is noise when it is this far below or above all others near by."""
VEGETATION_FROM_M = 0.1
"""Height above ground where vegetation begins; lower returns stay unclassified."""
MEDIUM_VEGETATION_FROM_M = 0.5
"""Height where low becomes medium vegetation: common practice, no source."""
HIGH_VEGETATION_FROM_M = 2.0
"""Height where medium becomes high vegetation: common practice, no source."""

FindGround = Callable[..., Mask]
"""Takes (n, 3) positions, (n,) candidates and `settings`; gives (n,) ground, as `pipeline.points.ground` does."""


@dataclass(frozen=True)
class Classified:
    """Class and height of every return.

    Attributes
    ----------
    asprs_class : (n,) uint8
    height_above_m : (n,) float32, metres
        Above the bare earth; NaN for noise and where no ground is near.
    """

    asprs_class: NDArray[np.uint8]
    height_above_m: NDArray[np.float32]


def classify_returns(
    cloud: Cloud,
    /,
    *,
    settings: PointsSettings,
    roofs: RoofSettings | None = None,
    wires: WireSettings | None = None,
    find_ground: FindGround = find_ground,
) -> Classified:
    """ASPRS class and height above ground of every return.

    Parameters
    ----------
    cloud : Cloud
        A block with its halo; only the classes in the core are meant to be used.
    settings : PointsSettings
        `ground_from` "producer" keeps class 2 as delivered and adds our ground that agrees with it; "own" and "auto"
        make it anew. "auto" is decided for the whole area before (`pipeline.points.producer.choose_ground`).
    roofs, wires : RoofSettings, WireSettings
        Their defaults where not given.
    find_ground : callable
        The engine of the ground filter; `pipeline.files.pdal.ground_by_pdal` is the other one.
    """
    if len(cloud) == 0:
        return Classified(np.empty(0, np.uint8), np.empty(0, np.float32))
    enh = cloud.enh
    noise = _noise(cloud)
    is_clean = ~(noise.is_low | noise.is_high)
    is_water, may_be_ground = _water_and_earth(cloud, is_clean)
    is_ground = find_ground(enh, may_be_ground & cloud.is_last, settings=settings)
    if settings.ground_from == "producer":
        is_ground = keep_producer(enh, (cloud.producer_class == GROUND) & may_be_ground, is_ground)
    above = _height_above(enh, is_ground | is_water)
    is_low = noise.is_low | (is_clean & ~is_ground & ~is_water & (above < -settings.noise_below_m))
    is_clean &= ~is_low
    above[~is_clean] = np.nan
    asprs_class = np.full(len(cloud), UNCLASSIFIED, np.uint8)
    asprs_class[is_clean] = _vegetation_class(above[is_clean])
    is_open = is_clean & ~is_ground & ~is_water
    is_roof = find_roofs(cloud, above, is_open, settings=roofs or RoofSettings())
    asprs_class[is_roof] = BUILDING
    asprs_class[find_wires(cloud, above, is_open & ~is_roof, settings=wires or WireSettings())] = WIRE
    asprs_class[is_ground] = GROUND
    asprs_class[is_water] = WATER
    asprs_class[is_low] = LOW_NOISE
    asprs_class[noise.is_high] = HIGH_NOISE
    return Classified(asprs_class, above)


def own_ground(cloud: Cloud, /, *, settings: PointsSettings, find_ground: FindGround = find_ground) -> Mask:
    """(n,) bool: the ground of our own filter, without the classes that rest on it."""
    if len(cloud) == 0:
        return np.zeros(0, np.bool_)
    noise = _noise(cloud)
    _, may_be_ground = _water_and_earth(cloud, ~(noise.is_low | noise.is_high))
    return find_ground(cloud.enh, may_be_ground & cloud.is_last, settings=settings)


def _noise(cloud: Cloud, /) -> Noise:
    """The noise of a cloud."""
    return find_noise(
        cloud.enh,
        cloud.producer_class,
        cell_m=NOISE_CELL_M,
        max_alone=NOISE_MAX_RETURNS,
        min_gap_m=NOISE_MIN_GAP_M,
    )


def _water_and_earth(cloud: Cloud, is_clean: Mask, /) -> tuple[Mask, Mask]:
    """(n,) bool twice: water as the producer says, and what may be ground."""
    is_water = (cloud.producer_class == WATER) & is_clean
    return is_water, is_clean & cloud.is_usable & ~is_water


def _height_above(enh: EastNorthHeight, is_earth: Mask, /) -> NDArray[np.float32]:
    """(n,) metres above the triangulated earth; NaN where there is none."""
    nodes = cell_means(enh[is_earth], cell_m=GROUND_CELL_M)
    return height_above(enh, nodes, cell_m=0.5 * GROUND_CELL_M).astype(np.float32)


def _vegetation_class(above_m: NDArray[np.float32], /) -> NDArray[np.uint8]:
    """(n,) low, medium or high vegetation by height; unclassified near the ground or where height is unknown."""
    breaks = (VEGETATION_FROM_M, MEDIUM_VEGETATION_FROM_M, HIGH_VEGETATION_FROM_M)
    classes = np.array([UNCLASSIFIED, LOW_VEGETATION, MEDIUM_VEGETATION, HIGH_VEGETATION], np.uint8)
    return classes[np.digitize(np.nan_to_num(above_m, nan=-1.0), breaks)]
