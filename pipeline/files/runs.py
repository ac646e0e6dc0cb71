"""What an earlier run left in its folder, for a refresh: rasters, features, the survey's record, perhaps its points."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio.warp

from pipeline.errors import InputError
from pipeline.files import arrays, layers, rasters
from pipeline.files.intake import take_in
from pipeline.files.las.tiles import read_cloud
from pipeline.intake.placement import Placement
from pipeline.lattice.grid import Grid, Heights
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.register.shift import Surface
from pipeline.returns.cloud import Cloud

NAMES = ("refreshed.gpkg", "draft.gpkg")
"""The map of a run: what an earlier refresh made of it goes before its own draft."""
RASTERS = {
    "bare_earth": "bare_earth",
    "support": "ground_support",
    "canopy": "canopy_height",
    "density": "understorey",
    "density_error": "understorey_error",
}


@dataclass(frozen=True)
class EarlierRun:
    """A run as its folder holds it, in the CRS asked for.

    Attributes
    ----------
    survey : rasters, features, season and where the returns are
    days : of flight, as ISO dates; none where the survey does not say
    points_message : "" or why its points cannot be used
    """

    folder: Path
    survey: Survey
    days: tuple[str, ...]
    points_message: str


def is_run(folder: Path, /) -> bool:
    """Whether a folder holds a run: a map and its rasters."""
    return any((folder / name).exists() for name in NAMES)


def read_run(folder: Path, /, *, crs: str | None = None, names: Sequence[str] = NAMES) -> EarlierRun:
    """What a run left, whatever of it is still there.

    Parameters
    ----------
    crs : the CRS that all is brought into; the run's own where it is not given
    names : of the file that holds the map, the one that goes before first

    Raises
    ------
    InputError
        If the folder holds no map.
    """
    if not is_run(folder):
        raise InputError(f"{folder}: holds no draft (draft.gpkg); name the folder that 'out:' named in that run")
    grids = _rasters(folder, crs)
    features = read_map(folder, crs=crs, names=names)
    clouds, why_not = _points(folder, crs or str(features.crs.to_string()))
    surface = None
    if "bare_earth" in grids:
        earth, grid = grids["bare_earth"]
        surface = Surface(grid, earth, *(_on(grids, name, grid) for name in ("support", "canopy")))
    density, error = (_on(grids, name, surface.grid) if surface else None for name in ("density", "density_error"))
    found = Survey(surface, features, density, error, _season(folder), clouds if not why_not else None)
    return EarlierRun(folder, found, _days(folder), why_not)


def read_map(folder: Path, /, *, crs: str | None = None, names: Sequence[str] = NAMES) -> gpd.GeoDataFrame:
    """All features of a run in one table with their `layer`; the sheet's edge and north lines are none."""
    path = next(folder / name for name in names if (folder / name).exists())
    chosen = [name for name in layers.count_features(path) if not name.startswith("technical")]
    tables = {name: layers.read_layer(path, name) for name in chosen}
    own = next((table.crs for table in tables.values() if table.crs is not None), None)
    if own is None:
        raise InputError(f"{path}: does not say its coordinate system; save it with one")
    filled = [table.assign(layer=name) for name, table in tables.items() if len(table)]
    if not filled:
        first = next(iter(tables.values()))
        return gpd.GeoDataFrame(first.assign(layer=pd.Series(dtype=object)), crs=own)
    whole = gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=own)
    return whole if crs is None else whole.to_crs(crs)


def _rasters(folder: Path, crs: str | None) -> dict[str, tuple[Heights, Grid]]:
    found = {}
    for name, file in RASTERS.items():
        path = folder / "rasters" / f"{file}.tif"
        if path.exists():
            values, grid = rasters.read_heights(path)
            found[name] = (values, grid) if crs in (None, grid.crs) else _warped(values, grid, str(crs))
    return found


def _on(grids: Mapping[str, tuple[Heights, Grid]], name: str, grid: Grid) -> Heights | None:
    """A raster of the run, if it lies on this grid."""
    values, own = grids.get(name, (None, None))
    return values if own == grid else None


def _warped(values: Heights, grid: Grid, crs: str) -> tuple[Heights, Grid]:
    """A raster in another CRS, on its lattice."""
    bounds = rasterio.warp.transform_bounds(grid.crs, crs, *grid.bounds)
    target = Grid.covering(bounds, cell_m=grid.cell_m, crs=crs)
    found = np.full(target.shape, np.nan, np.float32)
    rasterio.warp.reproject(
        values,
        found,
        src_transform=grid.transform,
        src_crs=grid.crs,
        src_nodata=np.nan,
        dst_transform=target.transform,
        dst_crs=crs,
        dst_nodata=np.nan,
        resampling=rasterio.warp.Resampling.bilinear,
    )
    return found, target


class _Tiles:
    """The classified tiles of a run, read one after the other each time they are asked for."""

    def __init__(self, placements: Mapping[Path, Placement]) -> None:
        self.placements = placements

    def __call__(self) -> Iterator[Cloud]:
        for path, placement in self.placements.items():
            yield read_cloud(path, placement)


def _points(folder: Path, crs: str) -> tuple[_Tiles, str]:
    """The classified points of a run in this CRS, or why they cannot be used."""
    paths = sorted([*folder.glob("points/*.laz"), *folder.glob("points/*.las")])
    if not paths:
        return _Tiles({}), "its points are no longer at hand"
    manifest = folder / "manifest.json"
    area = cast("dict[str, object]", arrays.read_json(manifest).get("area", {})) if manifest.exists() else {}
    try:
        taken = take_in(
            paths,
            given_crs=cast("str | None", area.get("crs")),
            crs_overrides=bool(area.get("crs_overrides")),
            given_height_unit=cast("str | None", area.get("height_unit")),
            height_unit_overrides=bool(area.get("height_unit_overrides")),
        )
    except InputError as error:
        return _Tiles({}), f"its points cannot be read ({error})"
    own = {Path(tile.path): tile.placement for tile in taken.table.tiles}
    return _Tiles({path: Placement(p.source_crs, crs, p.height_unit_m) for path, p in own.items()}), ""


def _season(folder: Path) -> str:
    path = folder / "report" / "leaf_season.json"
    return str(arrays.read_json(path).get("leaves", "unknown")) if path.exists() else "unknown"


def _days(folder: Path) -> tuple[str, ...]:
    path = folder / "report" / "survey.json"
    if not path.exists():
        return ()
    flight = cast("dict[str, object]", arrays.read_json(path).get("flight", {}))
    return tuple(sorted(str(day) for day in cast("list[str]", flight.get("days", []))))


def years_between(old: tuple[str, ...], new: tuple[str, ...], /) -> float | None:
    """Years from the last day of the old survey to the first of the new one; None where one does not say."""
    if not old or not new:
        return None
    days = datetime.date.fromisoformat(new[0]) - datetime.date.fromisoformat(old[-1])
    return days.days / 365.25
