"""One backdrop: a picture of the ground in the working coordinate system, and turned to the sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from pipeline.exports.backdrops.intensity import REACH_M, RETURNS, SUM, as_shares, brightness, limits_of
from pipeline.exports.backdrops.kinds import BACKDROPS, Bands
from pipeline.exports.backdrops.turned import turned_frame
from pipeline.exports.formats import BACKDROP_SOURCES, COUNTS
from pipeline.files import grid_files, layers, rasters
from pipeline.files.exports import backdrops
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.page.page import frame_of
from pipeline.steps.exports.words import told_of

Read = Callable[[Bounds], tuple[Heights, Grid]]
"""Gives the values inside bounds and the grid they lie on."""
CAUTION = "Made from airborne lidar, not field-checked."


def backdrop(
    *,
    kind: str,
    source: Path,
    outline: Path,
    survey: Path,
    season: Path,
    borrowed: Path,
    out: Path,
    turned_out: Path,
    name: str,
    scale: int,
    interval_m: float,
    map_date: str,
) -> None:
    """Write a backdrop as GeoTIFF, and as PNG with world file beside it, upright and turned to the sheet."""
    shown = BACKDROPS[kind]
    told = told_of(
        survey=survey,
        season=season,
        borrowed=borrowed,
        name=name,
        scale=scale,
        interval_m=interval_m,
        map_date=map_date,
    )
    grid, read = _brightness(source) if BACKDROP_SOURCES[kind] == COUNTS else _raster(source)
    said = {"TITLE": f"{name}: {shown.says}", "CAUTION": CAUTION, "CREDIT": told.credit}
    backdrops.write_backdrop(out, _parts(kind, grid, read), grid, n_bands=shown.n_bands, said=said)
    area, crs = layers.read_outline(outline)
    north = north_of_area(area, crs=crs, date=told.map_date)
    transform, rows, cols = turned_frame(frame_of(area, north=north, scale=scale), cell_m=grid.cell_m)
    backdrops.write_turned(out, turned_out, transform, (rows, cols))
    for path in (out, turned_out):
        backdrops.write_png_beside(path)


def _parts(kind: str, grid: Grid, read: Read) -> Iterator[tuple[Bands, Grid]]:
    """The picture band by band, each drawn with the margin it needs."""
    shown = BACKDROPS[kind]
    for part in grid.bands():
        values, around = read(part.pad(shown.margin_m).bounds)
        yield shown.draw(values, around)[(slice(None), *around.window_of(part))], part


def _raster(source: Path) -> tuple[Grid, Read]:
    return rasters.read_grid(source), lambda bounds: rasters.read_heights(source, bounds=bounds)


def _brightness(source: Path) -> tuple[Grid, Read]:
    """Brightness of the ground as a share of what is usual, which takes a look at the whole area first."""
    grid, _ = grid_files.read_grid_of(source)

    def bright(bounds: Bounds) -> tuple[Heights, Grid]:
        inside = grid.within(bounds)
        around = grid.within(inside.pad(REACH_M).bounds)
        sums = grid_files.read_sums(source, (SUM, RETURNS), bounds=around.bounds)
        return brightness(sums[SUM], sums[RETURNS], around)[around.window_of(inside)], inside

    limits = limits_of(bright(part.bounds)[0] for part in grid.bands())

    def shares(bounds: Bounds) -> tuple[Heights, Grid]:
        values, inside = bright(bounds)
        return as_shares(values, limits), inside

    return grid, shares
