"""Classes: what each return came back from, in the terms of ASPRS LAS 1.4."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.ground.ground import find_ground as embedded_ground
from pipeline.points.ground.lowest import GROUND_CELL_M
from pipeline.points.noise import Noise, find_noise
from pipeline.points.producer import Dispute, judged_ground, keep_producer
from pipeline.points.roofs.roofs import find_roofs
from pipeline.points.told import told_structures
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

VEGETATION_FROM_M = 0.1
"""Height above ground, in metres, from which a return may be low vegetation; lower ones, which may as well be the noise
of the ground, stay unclassified. Our choice."""
MEDIUM_VEGETATION_FROM_M = 0.5
"""Height above ground, in metres, where low becomes medium vegetation; common practice, no source."""
HIGH_VEGETATION_FROM_M = 2.0
"""Height above ground, in metres, where medium becomes high vegetation; common practice, no source."""

FindGround = Callable[[EastNorthHeight, Mask], Mask]
"""Takes (n, 3) positions and (n,) bool, which of them may be ground; gives (n,) bool, which of them are."""


@dataclass(frozen=True)
class Classified:
    """Class and height of every return, and where two grounds were far apart.

    Attributes
    ----------
    asprs_class : (n,) uint8
    height_above_m : (n,) float32, metres
        Above the bare earth; NaN for noise and where no ground is near.
    dispute : Dispute
        Returns that the producer's ground and ours are at odds about; none where only one was looked at.
    """

    asprs_class: NDArray[np.uint8]
    height_above_m: NDArray[np.float32]
    dispute: Dispute = field(default_factory=Dispute)


def classify_returns(
    cloud: Cloud,
    /,
    *,
    settings: PointsSettings,
    roofs: RoofSettings | None = None,
    wires: WireSettings | None = None,
    find_ground: FindGround | None = None,
) -> Classified:
    """ASPRS class and height above ground of every return.

    Parameters
    ----------
    cloud : Cloud
        A block with its halo; only the classes in the core are meant to be used.
    settings : PointsSettings
        `ground_from` "producer" keeps class 2 as delivered and adds our ground that agrees with it; "own" makes it
        anew; "auto" judges the two return by return (`pipeline.points.producer.judged_ground`).
    roofs, wires : RoofSettings, WireSettings
        Their defaults where not given.
    find_ground : callable
        The engine of the ground filter; the embedded one where not given, whatever `settings.engine` says, as PDAL
        (`pipeline.files.pdal.ground_by_pdal`) opens files.
    """
    if len(cloud) == 0:
        return Classified(np.empty(0, np.uint8), np.empty(0, np.float32))
    enh = cloud.enh
    noise = find_noise(enh, cloud.producer_class)
    is_clean = ~(noise.is_low | noise.is_high)
    is_water, may_be_ground = _water_and_earth(cloud, noise)
    is_ground = (find_ground or embedded(settings))(enh, may_be_ground & cloud.is_last)
    is_producer, dispute = (cloud.producer_class == GROUND) & may_be_ground, Dispute()
    if settings.ground_from == "producer":
        is_ground = keep_producer(enh, is_producer, is_ground)
    elif settings.ground_from == "auto":
        is_ground, dispute = judged_ground(enh, cloud.producer_class, is_producer, is_ground)
    above = _height_above(enh, is_ground | is_water)
    is_low = noise.is_low | (is_clean & ~is_ground & ~is_water & (above < -settings.noise_below_m))
    is_clean &= ~is_low
    above[~is_clean] = np.nan
    asprs_class = np.full(len(cloud), UNCLASSIFIED, np.uint8)
    asprs_class[is_clean] = _vegetation_class(above[is_clean])
    is_open = is_clean & ~is_ground & ~is_water
    is_roof = find_roofs(cloud, above, is_open, min_patch_m2=(roofs or RoofSettings()).min_patch_m2)
    asprs_class[is_roof] = BUILDING
    min_height_m = (wires or WireSettings()).min_height_m
    asprs_class[find_wires(cloud, above, is_open & ~is_roof, min_height_m=min_height_m)] = WIRE
    if settings.ground_from != "own":
        told = told_structures(cloud.producer_class, above, is_open)
        asprs_class[told] = cloud.producer_class[told]
    asprs_class[is_ground] = GROUND
    asprs_class[is_water] = WATER
    asprs_class[is_low] = LOW_NOISE
    asprs_class[noise.is_high] = HIGH_NOISE
    return Classified(asprs_class, above, dispute)


def embedded(settings: PointsSettings, /) -> FindGround:
    """The embedded ground filter with the figures of the settings."""
    return partial(embedded_ground, window_m=settings.ground_window_m, plant_m=settings.ground_plant_m)


def own_ground(cloud: Cloud, /, *, find_ground: FindGround) -> Mask:
    """(n,) bool: the ground as a filter finds it, whatever the producer's classes say, without making other classes."""
    if len(cloud) == 0:
        return np.zeros(0, np.bool_)
    noise = find_noise(cloud.enh, cloud.producer_class)
    _, may_be_ground = _water_and_earth(cloud, noise)
    return find_ground(cloud.enh, may_be_ground & cloud.is_last)


def _water_and_earth(cloud: Cloud, noise: Noise, /) -> tuple[Mask, Mask]:
    """(n,) bool twice: returns the producer calls water, and those that may be ground."""
    is_clean = ~(noise.is_low | noise.is_high)
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
