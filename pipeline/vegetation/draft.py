"""Vegetation of the whole area: bands, open land and single things, from the summed profiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas import Kinds, merge_small_areas, polygons_of
from pipeline.vegetation.density import density_standard_error, layer_thickness_m, plant_area_density
from pipeline.vegetation.open_land import open_ground, share
from pipeline.vegetation.runnability import band_limits, band_of, running_speed

AREA_SYMBOLS = ("405", "406", "408", "410", "401", "403")
"""What a cell can be drawn as; its number in the grids of kinds is its place here."""
MIN_AREA_M2 = {"401": 64.0, "403": 225.0, "405": 110.25, "406": 225.0, "408": 110.25, "410": 64.0}
"""Smallest areas of the ISOM 2017-2 on the ground (3.4; 1:15 000): 0.55 x 0.55 mm for 401 and 410, 0.7 x 0.7 mm for
408 and for openings of 405, 1 x 1 mm for 403 and 406. Those of 401 and 403 as the IOF's symbol pages give them, the
others from memory of the standard."""


@dataclass(frozen=True)
class VegetationDraft:
    """What `draft_vegetation` makes.

    Attributes
    ----------
    features : GeoDataFrame of `make_features`
    understorey : (rows, cols) plant-area density of the running layer, m2/m3; NaN where not seen
    understorey_error : (rows, cols) its standard error, m2/m3
    running_speed : (rows, cols) share of free running, 0..1; NaN where not seen
    """

    features: gpd.GeoDataFrame
    understorey: Heights
    understorey_error: Heights
    running_speed: Heights


def draft_vegetation(
    profile: Mapping[str, Heights],
    bare_earth: Heights,
    canopy_height: Heights,  # noqa: ARG001 - single trees will read it
    grid: Grid,
    /,
    *,
    scale: int,  # noqa: ARG001 - the standard's ground sizes hold at every scale
    settings: VegetationSettings,
) -> VegetationDraft:
    """Vegetation features and the grids behind them, for the whole area at once.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`, mosaicked
    bare_earth, canopy_height : (rows, cols) metres, NaN where unknown
    scale : of the sheet; sizes on the ground are those of the standard's 1:15 000 whatever it is
    """
    limits = band_limits(settings)
    density, error = _density(profile, grid, settings)
    speed = running_speed(density, limits=limits)
    kinds = np.where(np.isnan(bare_earth), np.int16(-1), _kinds(profile, density, grid, settings))
    polygons, kind = polygons_of(kinds, grid, smooth_m=settings.edge_smooth_m)
    drawn = kind > 0
    features = _area_features(polygons[drawn], kind[drawn], density, grid)
    return VegetationDraft(features, density, error, speed)


def _density(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> tuple[Heights, Heights]:
    """Density of the running layer and its standard error, in a Gaussian window."""
    sigma = settings.density_window_m / grid.cell_m
    # A Gaussian window counts as many independent pulses as a box of 4 pi sigma^2.
    window_cells = max(4 * np.pi * sigma**2, 1)
    entered, stopped, path = (
        ndimage.gaussian_filter(profile[name], sigma, mode="nearest") * window_cells
        for name in ("entered", "stopped", "path_sum")
    )
    layer_m = layer_thickness_m(settings.running_bottom_m, settings.running_top_m)
    ratio = np.where(entered > 0, path / np.maximum(entered, 1e-6), 1)
    density = plant_area_density(entered, stopped, layer_m=layer_m, extinction=settings.extinction, path_ratio=ratio)
    error = density_standard_error(entered, stopped, layer_m=layer_m, extinction=settings.extinction, path_ratio=ratio)
    seen = entered >= settings.min_pulses_per_window
    return np.where(seen, density, np.nan).astype(np.float32), np.where(seen, error, np.nan).astype(np.float32)


def _kinds(profile: Mapping[str, Heights], density: Heights, grid: Grid, settings: VegetationSettings) -> Kinds:
    """What each cell is drawn as, every area at least of the standard's size."""
    kinds = np.maximum(band_of(density, limits=band_limits(settings)), 0).astype(np.int16)
    is_open = _open(profile, grid, settings)
    growth = share(profile["growth"], profile["entered"], sigma_cells=2 / grid.cell_m)
    is_rough = growth > settings.rough_growth_ratio
    kinds[is_open] = np.where(is_rough[is_open], AREA_SYMBOLS.index("403"), AREA_SYMBOLS.index("401"))
    least = {AREA_SYMBOLS.index(symbol): area * 1.25 for symbol, area in MIN_AREA_M2.items()}
    return merge_small_areas(kinds, likeness(), cell_m=grid.cell_m, min_area_m2=least)


def _open(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> Mask:
    """Cells of clearings."""
    cover = share(profile["tree_pulses"], profile["pulses"], sigma_cells=1 / grid.cell_m)
    view = share(profile["stopped_visibility"], profile["entered"], sigma_cells=2 / grid.cell_m)
    is_cover = (cover > settings.open_max_cover_ratio) | (view > settings.open_max_cover_ratio)
    return open_ground(is_cover, cell_m=grid.cell_m, radius_m=settings.open_radius_m)


def likeness() -> NDArray[np.float64]:
    """(k, k) how readily a small area of one kind is drawn as another: bands next to each other first."""
    n_bands = 4
    rank = np.arange(len(AREA_SYMBOLS), dtype=np.float64)
    like = 1 / (1 + np.abs(np.subtract.outer(rank, rank)))
    like[:n_bands, n_bands:] = like[n_bands:, :n_bands] = 0.3
    np.fill_diagonal(like, 0)
    return like


def _area_features(
    polygons: NDArray[np.object_], kind: NDArray[np.int64], density: Heights, grid: Grid
) -> gpd.GeoDataFrame:
    """Area polygons as features."""
    inner = shapely.get_coordinates(shapely.point_on_surface(polygons)) if len(polygons) else np.empty((0, 2))
    row, col = grid.row_col(inner[:, 0], inner[:, 1])
    at = density[np.clip(row, 0, grid.rows - 1), np.clip(col, 0, grid.cols - 1)]
    evidence = [f"plant-area density {value:.2f} m2/m3" for value in at]
    symbol = [AREA_SYMBOLS[k] for k in kind]
    return make_features(polygons, crs=grid.crs, symbol=symbol, confidence=0.6, evidence=evidence)
