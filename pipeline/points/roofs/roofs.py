"""Roofs: returns from smooth, closed planes well above the ground, with a drop at their edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Mask
from pipeline.points.roofs.patches import enclosed, facets_of, roof_patches
from pipeline.points.roofs.planes import off_plane, planes_of
from pipeline.points.roofs.returns import look
from pipeline.returns.asprs import BRIDGE
from pipeline.returns.cloud import Cloud

EAVES_M = 1.5
"""How far, in metres, a plane is followed beyond its smooth cells: the width of the window it is drawn in, so as far as
the eaves. Our choice."""
PLANE_TOLERANCE_M = 0.35
"""Distance from the plane, in metres, within which a return lies on the roof: three times the spread of the roughest
roof."""
CHIMNEY_M = 2.5
"""How far, in metres, what stands on a roof may rise above its plane. Our choice."""
WALL_FROM_M = 1.0
"""Height above ground, in metres, of the lowest returns of a building's walls and eaves: above grass and what lies
about. Our choice."""


def find_roofs(
    cloud: Cloud, height_above_m: NDArray[np.float32], is_candidate: Mask, /, *, min_patch_m2: float
) -> Mask:
    """Which returns come from roofs (ASPRS class 6).

    A roof is a patch of smooth planes that hardly a pulse passes, large enough for a hut, that ends in a drop. Every
    test of a patch is met by a part of it too, so that a building cut by the far rim of the halo is still one.

    Parameters
    ----------
    cloud : Cloud
    height_above_m : (n,) float32
        Above the bare earth; NaN is never roof.
    is_candidate : (n,) bool
        Neither ground nor noise nor water. Returns that the producer called bridge are left out here.
    min_patch_m2 : float
        Area of the smallest roof.

    Returns
    -------
    (n,) bool
    """
    if len(cloud) == 0:
        return np.zeros(0, bool)
    returns = look(cloud, height_above_m, is_candidate)
    nothing = np.zeros(len(cloud), bool)
    if not returns.is_high_last.any():
        return nothing
    planes = planes_of(returns)
    facets = facets_of(planes)
    if not facets.any():
        return nothing
    off_plane_m = off_plane(returns, planes, facets, reach_m=EAVES_M)
    on_plane = np.abs(off_plane_m) <= PLANE_TOLERANCE_M
    roofs = roof_patches(returns, facets, on_plane, min_patch_m2=min_patch_m2)
    stands_on_it = (off_plane_m > 0) & (off_plane_m <= CHIMNEY_M) & cloud.is_last
    # A pulse that ends below a roof's edge has met a wall, or what leans on it.
    is_wall = (off_plane_m < 0) & np.isfinite(off_plane_m) & cloud.is_last
    edge = ndimage.binary_dilation(roofs, np.ones((3, 3), bool))
    holes = enclosed(roofs)
    in_roof, in_hole, at_edge = (cells.ravel()[returns.cell] for cells in (roofs, holes, edge))
    may_be = is_candidate & (height_above_m >= WALL_FROM_M) & (cloud.producer_class != BRIDGE)
    found: Mask = may_be & ((in_roof & on_plane) | (in_hole & stands_on_it) | (at_edge & is_wall))
    return found
