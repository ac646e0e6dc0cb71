"""What changed since a finished map was drawn, told from the map and the new survey alone.

There is no earlier survey to measure against, so only what contradicts the map plainly is told: forest without trees,
open land with trees, houses and roads on one side only. A map lies some metres off and leaves small things out, so a
change must lie farther inside than the map may be off, and be as large as the norm would have drawn it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from rasterio.features import rasterize
from scipy import ndimage
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.features import WAYS
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import coarsen
from pipeline.norm.symbols import isom
from pipeline.outlines.outline import outlines_of
from pipeline.refresh.compare.canopy import mean_height
from pipeline.refresh.compare.evidence import Figures
from pipeline.refresh.compare.regions import grown_from, large_enough
from pipeline.refresh.register.shift import Shift, Surface

FROM = "the map alone, no earlier survey"
LEAST_OFF_M, UNKNOWN_OFF_M = 5.0, 10.0
"""A map is taken to be off by at least this, in metres (common practice, no source: maps are commonly up to 5 m off),
and by the larger figure where nobody could find how it lies (our choice)."""
GONE_M, GROWN_M = 1.5, 3.0
"""Forest has no canopy where it is lower than the first on average, in metres: slash and young growth stay below it;
open land has grown up where it is higher than the second. Our choice."""
RIM_M = 4.0
"""A patch that was felled reaches as far as the canopy is lower than this, in metres: the mean over a window is half
the height of the trees at a straight edge. Our choice."""
LEAST_FELLED_M2, BESIDE_M = 1000.0, 10.0
"""Trees are told gone over at least so much ground, in square metres; pieces no farther apart than the second,
in metres, count together, as where a way runs through. Foresters call smaller openings gaps and not fellings (common
practice, no source), and mappers leave many of them out: in six pairs of drafts of unchanged places, three glades of
270 to 780 m2 stood on one draft and not on the other."""
CELL_M, CORE_RATIO = 1.0, 0.3
"""Growth is looked at in cells of at most this size, in metres; and that share of the norm's least area must lie
farther inside than the map is off. Our choice."""
ROUND_M = 3.0
"""Patches narrower than twice this, in metres, are edges and gaps between crowns. Our choice."""
MAPPED_M = 50.0
"""Ground as near as this to something on the map belongs to the map, in metres (our choice, as in
`pipeline.refresh.old.ground`: a map of terrain rarely has 100 m without a line)."""
CLEARED_M, WIRES_M, CROWN_M = 5.0, 20.0, 8.0
"""How far from ways, streams and houses, from power lines, and from a drawn tree the canopy tells nothing, in metres
beyond what the map is off. Our choice."""
FOREST_AREAS = ("113", "208", "209", "210", "211", "212", "405", "406", "407", "408", "409", "410")
"""Areas of the map that may lie in forest; within all others, such as fields and marshes, no trees need stand."""
GREENS, LESS_SURE = ("406", "407", "408", "409", "410"), 0.1
"""Green is also drawn on open ground grown over, so that trees felled there are less sure by this. Our choice."""
OPEN_AREAS = ("401", "403")
"""Open land without scattered trees."""
OPEN_NOW = (*OPEN_AREAS, "402", "404", "412", "413", "414")
"""Land that the new draft shows as open: trees are told gone only there, and grown up only elsewhere."""
WIRES, HOUSES = ("510", "511", "512"), ("521", "522", "523")
SETTLED = ("501", "520", "206", "202", "201")
"""In settlements and paved areas a map need not show each house; a rock may be taken for one."""
ROADS, MAN_MADE = ("502", "503", "504"), ("501", *WAYS, "508", "509")
SURE_FROM = 0.5
"""What the draft is less sure of is no witness: it is a candidate by default."""
LEAST_ROAD_M, LEAST_COVERED = 50.0, 0.8
"""A new road runs so far from any way of the map, in metres, and on the ground of the map by so large a share."""
ROOF_M, BARE_M, LEAST_ROOF_M2 = 1.0, 0.6, 10.0
"""A roof hides the ground where no ground return is nearer than the first over so many square metres; ground is seen
where one is nearer than the second, in metres. Our choice, as in `pipeline.refresh.compare.without_points`."""
LEAST_FOREST_RATIO = 0.5
"""If less than this share of what the map leaves as forest has a canopy now, the map's white does not mean forest."""


@dataclass(frozen=True)
class ByMap:
    """What a map and a new survey say between them.

    Attributes
    ----------
    patches : polygons with `kind`, `sure`, `evidence` and the figures of `Figures`, of which there are none
    notes : what was told of, with which distance, and what this map tells nothing of, a sentence each
    """

    patches: gpd.GeoDataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Place:
    """The map and the new survey on one grid."""

    old: gpd.GeoDataFrame
    new: gpd.GeoDataFrame
    grid: Grid
    off_m: float
    inside: Mask
    canopy: Heights | None
    support: Heights | None


def off_of(shift: Shift, /) -> float:
    """How far the map may be off, in metres: twice the stated standard error, and at least `LEAST_OFF_M`."""
    return max(LEAST_OFF_M, 2 * shift.error_m) if shift.is_found else UNKNOWN_OFF_M


def changes_by_map(old: gpd.GeoDataFrame, new: gpd.GeoDataFrame, surface: Surface, /, *, off_m: float) -> ByMap:
    """What changed on the ground since a map was drawn, by sections that the map has.

    Parameters
    ----------
    old : features of the map, laid where lidar shows them, in the CRS of the new survey
    new : features of the new draft
    surface : of the new survey
    off_m : how far the map may still be off, in metres
    """
    place = _place(old, new, surface, off_m)
    rows, notes = [], []
    for section in (_growth, _houses, _roads):
        found, note = section(place)
        rows += found
        notes += [note] if note else []
    notes.insert(0, f"A change must lie more than {off_m:.0f} m from where the map could show the same.")
    columns = ["kind", "sure", "evidence", *Figures.NAMES, "geometry"]
    return ByMap(gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=new.crs), tuple(notes))


def _place(old: gpd.GeoDataFrame, new: gpd.GeoDataFrame, surface: Surface, off_m: float) -> _Place:
    earth, grid = coarsen(surface.bare_earth, surface.grid, cell_m=CELL_M)
    seen = np.isfinite(surface.bare_earth)
    canopy = None
    if surface.canopy is not None:
        canopy = coarsen(mean_height(surface.canopy, seen, surface.grid.cell_m), surface.grid, cell_m=CELL_M)[0]
    support = None if surface.support is None else coarsen(surface.support, surface.grid, cell_m=CELL_M)[0]
    mapped = _within(_cells(list(old.geometry), grid), MAPPED_M, grid)
    inside = _deeper(_deeper(mapped, MAPPED_M, grid), off_m, grid) & np.isfinite(earth)
    return _Place(old, new, grid, off_m, inside, canopy, support)


# ---------------------------------------------------------------- trees


def _growth(place: _Place) -> tuple[list[dict[str, object]], str]:
    """Forest felled, and open land grown up."""
    areas = _of(place.old, lambda main: main.startswith("4"), dimension=2)
    if not areas:
        return [], "The map has no vegetation: what was felled or has grown up cannot be told."
    if place.canopy is None:
        return [], "The new run has no canopy raster: what was felled or has grown up cannot be told."
    bare = _cells(_open_now(place), place.grid)
    # A patch may reach across a way that runs through it, but must be seen away from ways.
    whole = place.inside & ~_cells(_treeless(place), place.grid)
    forest = whole & ~_cells(_cleared(place), place.grid)
    deep = _deeper(forest, place.off_m, place.grid) & np.isfinite(place.canopy)
    with np.errstate(invalid="ignore"):
        gone, trees = place.canopy < GONE_M, place.canopy >= GROWN_M
        low, rising = place.canopy < RIM_M, place.canopy >= GONE_M
    note, found = "", []
    if deep.any() and float(trees[deep].mean()) < LEAST_FOREST_RATIO:
        note = (
            f"Of what the map leaves as forest only {trees[deep].mean():.0%} has trees now: either most was felled, or "
            "the map leaves open land out. What was felled cannot be told."
        )
    else:
        found += _patches("felled", low & bare & whole, gone & bare & deep, place)
    field = place.inside & _open(place)
    deep = _deeper(field, place.off_m, place.grid)
    found = _together(found, LEAST_FELLED_M2)
    return found + _patches("grown", rising & ~bare & field, trees & ~bare & deep, place), note


def _treeless(place: _Place) -> list[BaseGeometry]:
    """Areas of the map in which no trees need stand, and houses of the new draft."""
    areas = _of(place.old, lambda main: main not in FOREST_AREAS, dimension=2)
    return [*areas, *_buffered(_of(place.new, lambda main: main in HOUSES), CLEARED_M)]


def _cleared(place: _Place) -> list[BaseGeometry]:
    """Ground that is kept clear of trees along ways, streams and power lines of the map, and around what is built."""
    near = _of(place.old, lambda main: main[:1] in "35" and main not in WIRES)
    return [*_buffered(near, CLEARED_M), *_buffered(_of(place.old, lambda main: main in WIRES), WIRES_M)]


def _open_now(place: _Place) -> list[BaseGeometry]:
    """Open land of the new draft: it passes over glades and groves too small to draw, as the mapper did."""
    drawn = place.new[place.new["status"] != "candidate"]
    return _of(drawn, lambda main: main in OPEN_NOW, dimension=2)


def _open(place: _Place) -> Mask:
    """Open land of the map on which it shows nothing that would stand up."""
    fields = _of(place.old, lambda main: main in OPEN_AREAS, dimension=2)
    others = _of(place.old, lambda main: main[:1] in "45" and main not in OPEN_AREAS, dimension=2)
    trees = [*_of(place.old, lambda main: main[:1] == "4", dimension=0)]
    trees += _of(place.old, lambda main: main[:1] == "4", dimension=1)
    houses = _of(place.new, lambda main: main in HOUSES)
    taken = [*others, *_buffered(trees, CROWN_M), *_buffered(houses, CLEARED_M)]
    return _cells(fields, place.grid) & ~_cells(taken, place.grid)


def _patches(kind: str, cells: Mask, core: Mask, place: _Place) -> list[dict[str, object]]:
    """Patches at least as large as the norm's least area, of which enough lies farther inside than the map is off."""
    grid, least_m2 = place.grid, isom("403").smallest.area_m2
    seeds = large_enough(_opened(core, grid), least_cells=CORE_RATIO * least_m2 / grid.cell_m**2)
    if not seeds.any():
        return []
    near = _within(seeds, place.off_m + ROUND_M, grid)
    whole = _opened(grown_from(seeds, cells & near), grid)
    whole = large_enough(grown_from(seeds & whole, whole), least_cells=least_m2 / grid.cell_m**2)
    return [_growth_row(kind, shape, place) for shape in outlines_of(whole, grid) if shape.area >= least_m2]


def _together(rows: list[dict[str, object]], least_m2: float) -> list[dict[str, object]]:
    """The patches that are, with those beside them, at least so large."""
    shapes = [cast("Polygon", row["geometry"]) for row in rows]
    groups = shapely.get_parts(shapely.union_all(_buffered(shapes, BESIDE_M / 2)))
    large = [group for group in groups if sum(one.area for one in shapes if group.intersects(one)) >= least_m2]
    return [row for row, shape in zip(rows, shapes, strict=True) if any(group.intersects(shape) for group in large)]


def _growth_row(kind: str, shape: Polygon, place: _Place) -> dict[str, object]:
    assert place.canopy is not None
    height_m = float(np.nanmean(place.canopy[_cells([shape], place.grid)]))
    words = {
        "felled": f"forest on the map, the canopy now {height_m:.1f} m on average over {shape.area:.0f} m2",
        "grown": f"open land on the map, the canopy now {height_m:.1f} m on average over {shape.area:.0f} m2",
    }[kind]
    # A glade or thicket that the mapper passed over is seldom larger than a few times the least area.
    sure = 0.5 + 0.25 * (1 - math.exp(-shape.area / (4 * isom("403").smallest.area_m2)))
    green = shapely.union_all(_of(place.old, lambda main: main in GREENS, dimension=2))
    if kind == "felled" and shape.intersection(green).area > 0.5 * shape.area:
        words, sure = f"{words}, where the map is green", sure - LESS_SURE
    return _row(kind, sure, words, shape)


def _opened(cells: Mask, grid: Grid) -> Mask:
    """A mask without what is narrower than `ROUND_M` either way, and with gaps as narrow as a cell or two closed."""
    closed = ndimage.binary_closing(np.pad(cells, 2), iterations=2)[2:-2, 2:-2]
    return _within(_deeper(np.asarray(closed | cells), ROUND_M, grid), ROUND_M, grid)


# ---------------------------------------------------------------- houses


def _houses(place: _Place) -> tuple[list[dict[str, object]], str]:
    """Houses that went, and houses that came."""
    before = _of(place.old, lambda main: main in HOUSES)
    if not before:
        return [], "The map has no building: what was built or pulled down cannot be told."
    after = _of(place.new, lambda main: main in HOUSES)
    gone = [shape for shape in before if shape.area and not _is_near(shape, after, place.off_m)]
    found = [row for shape in gone if (row := _house_gone(shape, place))]
    return found + _built(before, place), ""


def _house_gone(shape: BaseGeometry, place: _Place) -> dict[str, object] | None:
    """A house of the map where the new survey sees the ground, with no roof as near as the map may be off."""
    if place.support is None:
        return None
    spot, around = (_cells([one], place.grid) for one in (shape, shape.buffer(place.off_m)))
    if not spot.any() or not place.inside[spot].all():
        return None
    away_m = float(np.median(place.support[spot]))
    roofs = ndimage.binary_opening((place.support > ROOF_M) & around, np.ones((2, 2), np.bool_))
    if not away_m < BARE_M or large_enough(roofs, least_cells=LEAST_ROOF_M2 / place.grid.cell_m**2).any():
        return None
    words = f"a house on the map, ground returns {away_m:.1f} m away on its spot now and no roof within"
    return _row("building gone", 0.7, f"{words} {place.off_m:.0f} m", shape)


def _built(before: Sequence[BaseGeometry], place: _Place) -> list[dict[str, object]]:
    """Houses of the draft where the map has none."""
    taken = [*before, *_of(place.old, lambda main: main in SETTLED)]
    rows = []
    for shape, confidence in _drawn(place.new, HOUSES):
        spot = _cells([shape], place.grid) if shape.area else np.zeros(place.grid.shape, np.bool_)
        if spot.any() and place.inside[spot].all() and not _is_near(shape, taken, place.off_m):
            words = f"a house of {shape.area:.0f} m2 is drawn now, the map has none within {place.off_m:.0f} m"
            rows.append(_row("built", 0.5 + 0.25 * confidence, words, shape))
    return rows


# ---------------------------------------------------------------- roads


def _roads(place: _Place) -> tuple[list[dict[str, object]], str]:
    """Roads and tracks of the draft that run far from any way of the map."""
    ways = _of(place.old, lambda main: main in MAN_MADE)
    if not any(shapely.get_dimensions(way) == 1 for way in ways):
        return [], "The map has no road, track or path: new ones cannot be told."
    before = shapely.union_all(_buffered(ways, place.off_m))
    rows = []
    for line, confidence in _drawn(place.new, ROADS):
        for part in shapely.get_parts(line.difference(before)):
            if not isinstance(part, LineString) or part.length < LEAST_ROAD_M:
                continue
            strip = part.buffer(2.0, cap_style="flat")
            if float(place.inside[_cells([strip], place.grid)].mean()) >= LEAST_COVERED:
                words = f"a road or track is drawn now over {part.length:.0f} m, the map has no way within"
                rows.append(_row("track", 0.5 + 0.2 * confidence, f"{words} {place.off_m:.0f} m", strip))
    return rows, ""


# ---------------------------------------------------------------- shapes and cells


def _row(kind: str, sure: float, words: str, shape: BaseGeometry) -> dict[str, object]:
    return {
        "kind": kind,
        "sure": round(sure, 3),
        "evidence": f"{words} ({FROM})",
        **Figures().columns,
        "geometry": shape,
    }


def _of(
    features: gpd.GeoDataFrame, is_meant: Callable[[str], bool], *, dimension: int | None = None
) -> list[BaseGeometry]:
    """Geometries of the features whose main symbol is meant, of one dimension where it is given."""
    mains = [str(symbol).partition(".")[0] for symbol in features["symbol"]]
    found = [shape for main, shape in zip(mains, features.geometry, strict=True) if is_meant(main)]
    return found if dimension is None else [one for one in found if shapely.get_dimensions(one) == dimension]


def _drawn(features: gpd.GeoDataFrame, symbols: Sequence[str]) -> list[tuple[BaseGeometry, float]]:
    """Geometry and confidence of what the draft draws: no candidates."""
    mains = features["symbol"].astype(str).str.partition(".")[0]
    drawn = features[mains.isin(symbols) & (features["status"] != "candidate") & (features["confidence"] >= SURE_FROM)]
    return list(zip(drawn.geometry, drawn["confidence"].astype(float), strict=True))


def _buffered(shapes: Sequence[BaseGeometry], reach_m: float) -> list[BaseGeometry]:
    return [shape.buffer(reach_m) for shape in shapes]


def _is_near(shape: BaseGeometry, others: Sequence[BaseGeometry], reach_m: float) -> bool:
    return bool(len(others)) and bool(shapely.dwithin(shape, np.asarray(others, object), reach_m).any())


def _cells(shapes: Sequence[BaseGeometry], grid: Grid) -> Mask:
    shapes = [shape for shape in shapes if not shape.is_empty]
    if not shapes:
        return np.zeros(grid.shape, np.bool_)
    return np.asarray(rasterize(shapes, out_shape=grid.shape, transform=grid.transform, all_touched=True), np.bool_)


def _within(cells: Mask, reach_m: float, grid: Grid) -> Mask:
    """(rows, cols) what lies within so many metres of a mask."""
    if not cells.any():
        return cells
    return np.asarray(ndimage.distance_transform_edt(~cells) * grid.cell_m <= reach_m)


def _deeper(cells: Mask, depth_m: float, grid: Grid) -> Mask:
    """(rows, cols) what of a mask lies farther than so many metres from its rim; the rim of the grid is none."""
    if cells.all():
        return cells
    return np.asarray(ndimage.distance_transform_edt(cells) * grid.cell_m > depth_m)
