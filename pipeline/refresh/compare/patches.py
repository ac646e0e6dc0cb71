"""Patches that changed: an outline, what happened in words, how sure that is, and the figures of both surveys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.features import WAYS
from pipeline.lattice.grid import Grid, Mask
from pipeline.outlines.outline import outlines_of
from pipeline.refresh.compare.evidence import Figures, figures_of, greatest_change, in_words, sureness
from pipeline.refresh.compare.joined_tracks import joined, length_of
from pipeline.refresh.compare.new_ways import changed_ways
from pipeline.refresh.compare.regions import large_enough, parts_of
from pipeline.refresh.compare.solids import Lump, houses, is_rock, lumps, small_lumps
from pipeline.refresh.compare.survey import Measured
from pipeline.refresh.compare.without_points import boulders_of_maps, houses_of_maps

TRACK_LEAST_M, TRACK_WIDEST_M, TRACK_STRETCH = 30.0, 12.0, 5.0
"""Changed ground is a track where it is so long, no wider than this, and so many times as long as wide: a forest road
4 m wide with its cut and fill. Our choice."""
BRIDGED_M = 4.0
"""Pieces of changed ground at most so far apart are one change. Our choice."""
TRACK_M = 3.8
"""Width of the strip that stands for a drawn way of which only the line is known: what a tractor needs (common
practice, no source)."""
EXPLAINED_RATIO = 0.5
"""A patch of which at least this share lies in a stronger one is part of it. Our choice."""
LEAST_REST_M2 = 100.0
"""What is left of a patch beside a stronger one is told if it is as large as that. Our choice."""
LEAST_GROWTH_M2 = 50.0
"""Splinters of a patch of trees or undergrowth smaller than this, in square metres, are not told. Our choice."""
ROCKS = ("204", "205", "206", "207", "208")
SINGLE_ROCKS = ("204", "205", "206")
ROCK_REACH_M = 2.5
"""A lump so near to a drawn boulder is that boulder, in metres: two median errors of a drawn one. Our choice."""
LARGE_M2 = 60.0
"""Changed ground larger than this, in square metres, is more than the spot of a boulder 2 m wide. Our choice."""
BESIDE_CHANGE_M = 3.0
"""A small boulder so near to ground that was dug or filled went with it, in metres: it is not told. Our choice."""
BUILDING = "521"


@dataclass
class Patch:
    """One change on the ground."""

    kind: str
    shape: BaseGeometry
    figures: Figures
    sure: float
    words: str
    also: list[str] = field(default_factory=list)


def find_patches(
    measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame, /, *, years: float | None = None
) -> gpd.GeoDataFrame:
    """The changed patches of an area.

    Parameters
    ----------
    old_map, new_map : features of both maps in the frame of the new survey
    years : between the surveys; not used yet for anything but words

    Returns
    -------
    GeoDataFrame of polygons with `kind`, `sure`, `evidence` and the figures of `Figures`
    """
    built = _houses(measured, old_map, new_map)
    stones = _boulders(measured, old_map, new_map, built)
    dug = _ground(measured, built + stones, new_map, old_map)
    trees = _areas(measured, built + dug, "felled", "grown") if measured.canopy else []
    growth = _areas(measured, built + stones + dug + trees, "thicker", "thinner") if measured.density else []
    found = built + dug + trees + growth + [stone for stone in stones if not _lies_in(stone.shape, built)]
    return _table(found, measured, years)


def _table(found: Sequence[Patch], measured: Measured, years: float | None) -> gpd.GeoDataFrame:
    from_what = {"points": "points of both surveys", "rasters": "rasters alone: the points of one survey are gone"}
    after = f"; {years:.0f} years apart" if years else ""
    rows = [
        {
            "kind": patch.kind,
            "sure": round(patch.sure, 3),
            "evidence": f"{patch.words}; {in_words(patch.figures)} ({from_what[measured.told_from]}{after})",
            **patch.figures.columns,
            "geometry": shape,
        }
        for patch in found
        for shape in shapely.get_parts(patch.shape)
        if isinstance(shape, Polygon) and shape.area > 0
    ]
    columns = ["kind", "sure", "evidence", *Figures.NAMES, "geometry"]
    return gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=measured.grid.crs)


# ---------------------------------------------------------------- houses and boulders


def _houses(measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame) -> list[Patch]:
    """Houses by their returns where these are at hand, else by the two maps and the canopy raster."""
    if measured.old_returns is None or measured.new_returns is None:
        return _houses_of_maps(measured, old_map, new_map)
    cell_m = measured.grid.cell_m
    found = []
    for kind, before, after, drawn in (
        ("built", measured.old_returns, measured.new_returns, new_map),
        ("building gone", measured.new_returns, measured.old_returns, old_map),
    ):
        cells = houses(before, after, cell_m=cell_m) & ~measured.ground.changed
        # Only a cell that is all roof counts, so half a cell of each side is missing on the average.
        for shape in shapely.buffer(_shapes(cells, measured.grid), cell_m / 2, join_style="mitre"):
            is_drawn = _share_in(shape, _of(drawn, (BUILDING,))) > 0.3
            if not is_drawn and (kind == "building gone" or _touches(shape, _of(drawn, ROCKS), ROCK_REACH_M)):
                continue
            figures = figures_of(shape, measured)
            words = "no ground seen under it, where there was" if kind == "built" else "ground seen where a house stood"
            found.append(Patch(kind, shape, figures, 0.97 if is_drawn else 0.85, f"{words}; {shape.area:.0f} m2"))
    return found


def _houses_of_maps(measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame) -> list[Patch]:
    before, after = (_of(table, (BUILDING,)) for table in (old_map, new_map))
    supports = measured.old_support, measured.new_support
    built = houses_of_maps(after, before, supports[1], supports[0], measured.grid)
    gone = houses_of_maps(before, after, supports[0], supports[1], measured.grid)
    return [
        Patch(kind, found.shape, figures_of(found.shape, measured), 0.8, found.words)
        for kind, several in (("built", built), ("building gone", gone))
        for found in several
    ]


def _boulders_of_maps(measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame) -> list[Patch]:
    """Single boulders that went; one that came would be told from its drawing alone."""
    before, after = (_of(table, SINGLE_ROCKS) for table in (old_map, new_map))
    supports = measured.old_support, measured.new_support
    gone = boulders_of_maps(before, after, *supports, measured.ground.difference, measured.grid)
    return [Patch("boulder gone", one.shape, figures_of(one.shape, measured), 0.7, one.words) for one in gone]


def _boulders(
    measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame, built: list[Patch]
) -> list[Patch]:
    if measured.old_returns is None or measured.new_returns is None:
        return _boulders_of_maps(measured, old_map, new_map)
    old, new = measured.old_returns, measured.new_returns
    reach = max(1, round(BESIDE_CHANGE_M / measured.grid.cell_m))
    by_change = np.asarray(ndimage.binary_dilation(_large_changes(measured), iterations=reach))
    found = []
    for kind, standing, other, maps in (
        ("boulder gone", old, new, (old_map, new_map)),
        ("boulder new", new, old, (new_map, old_map)),
    ):
        large = [(lump, is_rock(lump)) for lump in lumps(standing, other, measured.grid)]
        told = _told_boulders(kind, large, measured, maps, built)
        taken = [patch.shape.buffer(ROCK_REACH_M) for patch in told]
        small = [(lump, True) for lump in small_lumps(standing, other, measured.grid)]
        small = [(lump, solid) for lump, solid in small if not _touches(_disc(lump), taken, 0.0)]
        small = [(lump, solid) for lump, solid in small if not _lies_on(lump, by_change, measured.grid)]
        found += told + _told_boulders(kind, small, measured, maps, built)
    return found


def _told_boulders(
    kind: str,
    candidates: Sequence[tuple[Lump, bool]],
    measured: Measured,
    maps: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame],
    built: list[Patch],
) -> list[Patch]:
    """Those lumps that are boulders: drawn on the map of their survey and not on the other, or gone and solid."""
    rocks, others, changes = _discs(maps[0]), _of(maps[1], SINGLE_ROCKS), _large_changes(measured)
    found = []
    for lump, is_solid in candidates:
        disc = _disc(lump)
        is_drawn = _touches(disc, rocks, ROCK_REACH_M) and not _touches(disc, others, 0.0)
        alone = kind == "boulder gone" and is_solid and _changed_share(disc, measured) < EXPLAINED_RATIO
        if (is_drawn or alone) and not _lies_in(disc, built) and not _lies_on(lump, changes, measured.grid):
            found.append(Patch(kind, disc, figures_of(disc, measured), _sure_of(lump, is_drawn), _told(lump)))
    return found


def _disc(lump: Lump) -> Polygon:
    return shapely.Point(lump.east_m, lump.north_m).buffer(lump.radius_m)


def _discs(features: gpd.GeoDataFrame) -> list[BaseGeometry]:
    """Drawn boulders as the ground they take: a cluster reaches as far as its width says."""
    rocks = features[features["symbol"].astype(str).isin(ROCKS)]
    half = np.nan_to_num(rocks["width_m"].to_numpy(np.float64)) / 2
    return [shape.buffer(reach) for shape, reach in zip(rocks.geometry, half, strict=True)]


def _large_changes(measured: Measured) -> Mask:
    """Changed ground too large to be the spot of a boulder: a pit dug where one lay takes it along."""
    return large_enough(measured.ground.changed, least_cells=LARGE_M2 / measured.grid.cell_m**2)


def _lies_on(lump: Lump, cells: Mask, grid: Grid) -> bool:
    row, col = grid.row_col(np.array([lump.east_m]), np.array([lump.north_m]))
    own_m2 = 4 * np.pi * (lump.radius_m + 1.0) ** 2
    return own_m2 < LARGE_M2 and bool(cells[int(row[0]), int(col[0])])


def _changed_share(shape: BaseGeometry, measured: Measured) -> float:
    return figures_of(shape, measured).changed_ratio


def _sure_of(lump: Lump, is_drawn: bool) -> float:
    return sureness(min(lump.n_on, lump.n_other) * (1.0 if is_drawn else 0.5), usual=4.0)


def _told(lump: Lump) -> str:
    return (
        f"{lump.n_on:.0f} last returns on a lump {lump.height_m:.1f} m high in one survey, "
        f"{lump.n_other:.0f} on bare ground there in the other"
    )


# ---------------------------------------------------------------- ground


def _ground(
    measured: Measured, stronger: list[Patch], new_map: gpd.GeoDataFrame, old_map: gpd.GeoDataFrame
) -> list[Patch]:
    """Pits, fills and tracks: pieces of changed ground that lie together, and new ways along which it changed."""
    grid = measured.grid
    taken = [patch.shape.buffer(2.0) for patch in stronger]
    reach = max(1, round(BRIDGED_M / 2 / grid.cell_m))
    near = ndimage.binary_dilation(measured.ground.changed, iterations=reach)
    changed, pieces = measured.ground.changed, []
    for window, group in parts_of(np.asarray(near)):
        shape = shapely.union_all(_shapes(group & changed[window], grid.part(window)))
        if not shape.is_empty and _share_in(shape, taken) <= EXPLAINED_RATIO:
            closed = shape.buffer(BRIDGED_M / 2).buffer(-BRIDGED_M / 2)
            pieces.append((shape, shapely.intersection(closed, shapely.convex_hull(shape))))
    found = []
    for whole, members in joined([closed for _, closed in pieces], width_m=TRACK_M):
        found.append(_ground_patch(shapely.union_all([pieces[k][0] for k in members]), whole, measured))
    ways = [way.buffer(TRACK_M / 2, cap_style="flat") for way in _new_ways(measured, old_map, new_map)]
    return _with_ways(found, ways, measured)


def _ground_patch(shape: BaseGeometry, whole: BaseGeometry, measured: Measured) -> Patch:
    """A patch of changed ground: `shape` where it changed, `whole` with the gaps of a track bridged."""
    figures = figures_of(shape, measured)
    length_m = length_of(whole)
    width_m = whole.area / max(length_m, 1e-6)
    is_track = length_m > TRACK_LEAST_M and width_m < TRACK_WIDEST_M and length_m > TRACK_STRETCH * width_m
    highest, noise = greatest_change(shape, measured)
    kind = "track" if is_track else "dug" if figures.height_change_m < 0 else "filled"
    words = {
        "track": f"ground levelled along {length_m:.0f} m, about {width_m:.0f} m wide",
        "dug": f"ground lower by up to {highest:.1f} m over {shape.area:.0f} m2",
        "filled": f"ground higher by up to {highest:.1f} m over {shape.area:.0f} m2",
    }[kind]
    return Patch(kind, whole if is_track else shape, figures, sureness(highest / max(noise, 1e-3), usual=6.0), words)


def _new_ways(measured: Measured, old_map: gpd.GeoDataFrame, new_map: gpd.GeoDataFrame) -> list[BaseGeometry]:
    return changed_ways(_of(new_map, (*WAYS, "508")), _of(old_map, (*WAYS, "508")), measured)


def _with_ways(found: list[Patch], ways: Sequence[BaseGeometry], measured: Measured) -> list[Patch]:
    """Tracks along drawn ways; pieces of ground on them become part of them."""
    rest = list(found)
    for strip in _joined(ways):
        mine = [p for p in rest if p.kind == "track" and p.shape.intersects(strip)]
        mine += [p for p in rest if p.kind != "track" and _share_in(p.shape, [strip.buffer(4.0)]) > EXPLAINED_RATIO]
        rest = [p for p in rest if p not in mine]
        shape = shapely.union_all([strip, *(p.shape for p in mine)])
        words = "a way is drawn now where none was, and ground or growth changed along it"
        sure = max([0.8, *(p.sure for p in mine)])
        rest.append(Patch("track", shape, figures_of(shape, measured), sure, words))
    return rest


# ---------------------------------------------------------------- growth


def _areas(measured: Measured, stronger: list[Patch], more: str, less: str) -> list[Patch]:
    """Patches of trees or undergrowth; what stronger changes explain becomes part of these."""
    found = []
    for kind, cells in ((more, _cells(measured, more)), (less, _cells(measured, less))):
        for shape in _shapes(cells, measured.grid):
            if shape.area < LEAST_GROWTH_M2:
                continue
            whole = _explained(shape, kind, stronger)
            for part in shapely.get_parts(whole):
                figures = figures_of(part, measured)
                found.append(Patch(kind, part, figures, _sure_of_growth(kind, figures), _growth_words(kind, part)))
    return found


def _explained(shape: BaseGeometry, kind: str, stronger: list[Patch]) -> BaseGeometry:
    """What of a patch is left beside the stronger ones that it touches; trees felled for a pit go to the pit."""
    margin_m = {"felled": 2.0, "grown": 2.0}.get(kind, 4.0)
    touching = [patch for patch in stronger if patch.shape.intersects(shape)]
    if not touching:
        return shape
    cover = shapely.union_all([patch.shape.buffer(margin_m) for patch in touching])
    if shape.intersection(cover).area > EXPLAINED_RATIO * shape.area:
        largest = max(touching, key=lambda patch: patch.shape.intersection(shape).area)
        if kind == "felled" and largest.kind in ("dug", "filled"):
            largest.shape = shapely.union_all([largest.shape, shape])
            largest.also.append("trees felled")
        return MultiPolygon()
    rest = shape.difference(cover) if kind not in ("felled", "grown") else shape
    return shapely.union_all([part for part in shapely.get_parts(rest) if part.area > LEAST_REST_M2])


def _cells(measured: Measured, kind: str) -> Mask:
    canopy, density = measured.canopy, measured.density
    if kind in ("felled", "grown") and canopy is not None:
        return canopy.felled if kind == "felled" else canopy.grown
    if density is None:
        return np.zeros(measured.grid.shape, np.bool_)
    return density.thicker if kind == "thicker" else density.thinner


def _sure_of_growth(kind: str, figures: Figures) -> float:
    if kind in ("felled", "grown"):
        before, after = figures.canopy_old_m, figures.canopy_new_m
        return sureness(abs(before - after) / max(0.15 * max(before, after), 0.5), usual=3.0)
    return sureness(abs(figures.density_change) / max(figures.density_change_error, 1e-3), usual=4.0)


def _growth_words(kind: str, shape: BaseGeometry) -> str:
    return {
        "felled": f"trees gone over {shape.area:.0f} m2",
        "grown": f"trees where none were over {shape.area:.0f} m2",
        "thicker": f"undergrowth denser over {shape.area:.0f} m2",
        "thinner": f"undergrowth thinner over {shape.area:.0f} m2",
    }[kind]


# ---------------------------------------------------------------- shapes


def _shapes(cells: Mask, grid: Grid) -> list[BaseGeometry]:
    """The outlines of the parts of a mask; parts that meet at a corner may come as several."""
    if not cells.any():
        return []
    rows, cols = (np.flatnonzero(cells.any(axis=axis)) for axis in (1, 0))
    window = slice(max(0, rows[0] - 4), rows[-1] + 5), slice(max(0, cols[0] - 4), cols[-1] + 5)
    part = grid.part((_within(window[0], grid.rows), _within(window[1], grid.cols)))
    return list(outlines_of(cells[window], part))


def _within(one: slice, n: int) -> slice:
    return slice(int(one.start), min(int(one.stop), n))


def _of(features: gpd.GeoDataFrame, symbols: Sequence[str]) -> list[BaseGeometry]:
    main = [str(symbol).partition(".")[0] for symbol in features["symbol"]]
    return [shape for shape, name in zip(features.geometry, main, strict=True) if name in symbols]


def _touches(shape: BaseGeometry, others: Sequence[BaseGeometry], reach_m: float) -> bool:
    return bool(len(others)) and bool(shapely.dwithin(shape, np.asarray(others, object), reach_m).any())


def _share_in(shape: BaseGeometry, others: Sequence[BaseGeometry]) -> float:
    """The share of a shape that lies in any of the others."""
    near = [other for other in others if other.intersects(shape)]
    return float(shape.intersection(shapely.union_all(near)).area / shape.area) if near and shape.area else 0.0


def _lies_in(shape: BaseGeometry, patches: Sequence[Patch]) -> bool:
    return _share_in(shape, [patch.shape for patch in patches]) > EXPLAINED_RATIO


def _joined(strips: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Strips that touch, as one each."""
    whole = shapely.union_all([strip.buffer(0.1) for strip in strips])
    return [part for part in shapely.get_parts(whole) if not part.is_empty]
