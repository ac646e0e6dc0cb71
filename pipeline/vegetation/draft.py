"""Vegetation of the whole area: bands, open land, rides and single trees, from the summed profiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from scipy import ndimage
from shapely.geometry import LineString, Point, box

from pipeline.features import join_features, make_features, no_features
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import highest_into, larger_cells, sum_into
from pipeline.settings import VegetationSettings
from pipeline.vegetation.running.areas import Kinds, polygons_of
from pipeline.vegetation.running.boundaries import height_step, stand_edges, stand_height
from pipeline.vegetation.running.density import (
    Counts,
    count_in_windows,
    density_standard_error,
    layer_thickness_m,
    plant_area_density,
)
from pipeline.vegetation.running.evidence import BAND_OF, describe_areas
from pipeline.vegetation.running.felled import forest_beside
from pipeline.vegetation.running.kinds import AREA_SYMBOLS, MIN_AREA_M2, NOT_SEEN, Ground, decide_kinds, settle_kinds
from pipeline.vegetation.running.open_land import lone_crowns, open_ground, scattered_trees, share, voids
from pipeline.vegetation.running.rides import RIDE_DIRECTIONS, RIDE_MIN_EVIDENCE, Ride, find_rides, ride_symbol
from pipeline.vegetation.running.runnability import BAND_SPEEDS, band_limits, running_speed
from pipeline.vegetation.trees.rows import find_rows, row_symbol
from pipeline.vegetation.trees.trees import keep_apart, single_trees

WIDEST_WINDOW_M = 6.0
"""Widest sigma where few pulses reach the layer; 1:15 000 shows nothing smaller."""
ENOUGH_PULSES = 40.0
"""A window widens until it holds this many: 0.1 m2/m3 error at the 408 limit."""
LEAST_PULSES = 20.0
"""With fewer even in the widest window the layer is not seen: error above 0.15."""
THICKET_MIN_VIEW_RATIO = 0.15
"""Treeless growth that stops more pulses above 1 m is thicket, not open land with bushes: 0.22 m2/m3."""
THICKET_WINDOW_M = 2.0
"""Sigma in which such thicket is told: some 100 pulses at 2 pulses/m2."""
CLEAR_VIEW_M2_PER_M3 = 0.1
"""Below this density of the visibility layer one sees 20 m: 407, 409 not 406, 408."""
CLEAR_VIEW_RATIO = 0.5
"""And it is thinner than this share of the running layer: growth stays low there."""
VIEW_WINDOW_M = 3.0
"""Sigma of the window for the view: wider than for density, a view is of an area."""
VOID_USUAL_PULSES = 20.0
"""A circle that usually gets this many pulses and got none is a void, no open land: chance leaves one in 500 million
empty (exp(-20))."""
VOID_LEAST_RADIUS_M = 3.0
"""Smaller voids of dense surveys do not matter: 6 m across is 0.4 mm on the map."""
LONE_CROWN_MAX_M2 = 110.0
"""Crowns up to this size are trees in open land; larger ones drawn as forest."""
SCATTERED_MAX_COVER_RATIO = 0.3
"""With more cover around them lone crowns are forest (common practice)."""
SCATTERED_MIN_COVER_RATIO = 0.08
"""With less cover trees in open land are drawn one by one: 8 crowns in 1 ha."""
SCATTERED_WINDOW_M = 15.0
"""Sigma in which lone crowns are counted together: the smallest 402 is 30 m wide."""
LEAST_CROWN_M2 = 3.0
"""Smaller crowns are posts, wires or noise (common practice, no source)."""
TOP_REACH_M = 2.5
"""A top is the highest place so far around itself: the reach of a small crown."""
CROWN_THROUGH_RATIO = 0.05
"""A crown lets at least this share of pulses through; a boulder lets none."""
TREE_APART_M = 13.5
"""Least distance of 417 and 418: 0.9 mm at 1:15 000, from memory of the standard."""
COVER_WINDOW_M = 1.0
"""Sigma in which tree cover is told: half a crown, so that edges stay sharp."""
GROWTH_WINDOW_M = 2.0
"""Sigma in which grass and heath are told: 100 pulses at 4 pulses/m2."""
AREA_SPARE_RATIO = 1.15
"""Areas are kept this much above their smallest size, as smoothing takes a little."""
ROWS_MIN_AREA_M2 = 3000.0
"""Smaller areas hold too few plants to tell rows from chance."""
ROWS_MAX_HEIGHT_M = 6.0
"""Higher plants in rows are a plantation, which is forest (common practice)."""
STAND_CROWN_M = 7.0
"""Width of a crown: gaps narrower than this do not count as steps of a stand."""
STAND_LEAST_HEIGHT_M = 4.0
"""Lower growth is no stand; its edges show as open land or undergrowth."""
STAND_EDGE_ALONG_M = 12.0
"""Sigma along a boundary: heights over the 37 m that the shortest 416 is long."""
STAND_EDGE_APART_M = 8.0
"""Distance of the two sides from the line: a crown's width, so both are stands."""
STAND_EDGE_LENGTH_M = 37.0
"""Shortest 416: five dots, 2.5 mm at 1:15 000 (from memory of the standard)."""
FELLED_LEAST_STAND_M = 10.0
"""Forest worth felling is at least this high (common practice, no source)."""
FELLED_STRIP_FROM_M = 4.0
"""The strip beside open land judged for forest begins here: past the edge's blur."""
FELLED_STRIP_TO_M = 10.0
"""And it ends here, a crown's width further: the neighbour's edge, not its depth."""
FELLED_MIN_EDGE_RATIO = 0.6
"""Rough open land with more of its edge in such forest was perhaps cut out of it."""
LINE_CELL_M = 1.0
"""Least cell in which lines are looked for: a quarter of a ride's width."""

NOT_SEEN_SYMBOL = "600.1"
"""Our own number for ground of which the survey says nothing: it is neither white nor green."""


@dataclass(frozen=True)
class VegetationDraft:
    """What `draft_vegetation` makes.

    Attributes
    ----------
    features : GeoDataFrame of `make_features`
    understorey : (rows, cols) plant-area density of the running layer, m2/m3; NaN where not seen
    understorey_error : (rows, cols) its standard error, m2/m3
    running_speed : (rows, cols) share of free running, 0..1; NaN where not seen
    not_seen : GeoDataFrame of areas where too few pulses reach the running layer; the standard has no symbol for
        them, but they must not pass for white forest
    """

    features: gpd.GeoDataFrame
    understorey: Heights
    understorey_error: Heights
    running_speed: Heights
    not_seen: gpd.GeoDataFrame


def draft_vegetation(
    profile: Mapping[str, Heights],
    bare_earth: Heights,
    canopy_height: Heights,
    grid: Grid,
    /,
    *,
    scale: int,  # noqa: ARG001 - sizes on the ground are those of the standard's 1:15 000 at every scale
    settings: VegetationSettings,
) -> VegetationDraft:
    """Vegetation features and the grids behind them, for the whole area at once.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`, mosaicked
    bare_earth, canopy_height : (rows, cols) metres, NaN where unknown
    scale : of the sheet

    Raises
    ------
    ValueError
        If the limits of the bands do not rise.
    """
    limits = band_limits(settings)
    is_outside = np.isnan(bare_earth)
    is_void = voids(
        profile["pulses"],
        is_outside,
        cell_m=grid.cell_m,
        usual_pulses=VOID_USUAL_PULSES,
        least_radius_m=VOID_LEAST_RADIUS_M,
    )
    density, error = (np.where(is_void, np.float32(np.nan), values) for values in _density(profile, grid, settings))
    ground = _ground(profile, density, is_outside, is_void, grid, settings)
    kinds = decide_kinds(
        ground,
        limits=limits,
        clear_view_m2_per_m3=CLEAR_VIEW_M2_PER_M3,
        clear_view_ratio=CLEAR_VIEW_RATIO,
    )
    kinds = settle_kinds(kinds, cell_m=grid.cell_m, spare_ratio=AREA_SPARE_RATIO)
    areas, not_seen = _areas(kinds, density, error, profile, grid, settings)
    areas = _with_rows(areas, canopy_height, grid)
    areas = _with_felled(areas, canopy_height, grid)
    trees = _trees(canopy_height, profile, kinds, grid, settings)
    rides = _rides(profile, grid, settings)
    edges = _stand_edges(canopy_height, kinds, grid, settings)
    features = join_features([areas, trees, rides, edges], grid.crs)
    speed = running_speed(density, limits=limits)
    # Grass and heath of open land slow less than branches: the standard gives 403 the speed of open forest.
    speed = np.where(ground.is_open, np.maximum(speed, np.float32(BAND_SPEEDS[0])), speed)
    return VegetationDraft(features, density, error, speed, not_seen)


# ---------------------------------------------------------------- grids


def _density(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> tuple[Heights, Heights]:
    """Density of the running layer and its standard error; NaN where not seen."""
    counts = _counts(profile, "stopped", grid, settings.density_window_m)
    ratio = np.where(counts.entered > 0, counts.path_sum / np.maximum(counts.entered, 1e-6), 1.0)
    layer_m = layer_thickness_m(settings.running_bottom_m, settings.running_top_m)
    both = (
        formula(counts.entered, counts.stopped, layer_m=layer_m, extinction=settings.extinction, path_ratio=ratio)
        for formula in (plant_area_density, density_standard_error)
    )
    density, error = (np.where(counts.is_seen, values, np.float32(np.nan)) for values in both)
    return density, error


def _view_density(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> Heights:
    """Density of the visibility layer; NaN where not seen."""
    counts = _counts(profile, "stopped_visibility", grid, VIEW_WINDOW_M)
    ratio = np.where(counts.entered > 0, counts.path_sum / np.maximum(counts.entered, 1e-6), 1.0)
    layer_m = layer_thickness_m(settings.visibility_bottom_m, settings.running_top_m)
    density = plant_area_density(
        counts.entered, counts.stopped, layer_m=layer_m, extinction=settings.extinction, path_ratio=ratio
    )
    return np.where(counts.is_seen, density, np.float32(np.nan))


def _counts(profile: Mapping[str, Heights], stopped: str, grid: Grid, window_m: float) -> Counts:
    return count_in_windows(
        profile["entered"],
        profile[stopped],
        profile["path_sum"],
        cell_m=grid.cell_m,
        window_m=window_m,
        widest_m=WIDEST_WINDOW_M,
        enough_pulses=ENOUGH_PULSES,
        least_pulses=LEAST_PULSES,
    )


def _cover(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> Mask:
    """Cells under trees or in thicket too high to see over."""
    trees = share(profile["tree_pulses"], profile["pulses"], cell_m=grid.cell_m, sigma_m=COVER_WINDOW_M)
    view = share(profile["stopped_visibility"], profile["entered"], cell_m=grid.cell_m, sigma_m=THICKET_WINDOW_M)
    return (trees > settings.open_max_cover_ratio) | (view > THICKET_MIN_VIEW_RATIO)


def _ground(
    profile: Mapping[str, Heights],
    density: Heights,
    is_outside: Mask,
    is_void: Mask,
    grid: Grid,
    settings: VegetationSettings,
) -> Ground:
    """What decides the kind of each cell."""
    cell_m = grid.cell_m
    is_cover = _cover(profile, grid, settings)
    around = share(profile["tree_pulses"], profile["pulses"], cell_m=cell_m, sigma_m=SCATTERED_WINDOW_M)
    is_lone = lone_crowns(
        is_cover,
        around,
        cell_m=cell_m,
        max_crown_m2=LONE_CROWN_MAX_M2,
        max_cover_ratio=SCATTERED_MAX_COVER_RATIO,
    )
    is_open = open_ground(is_cover & ~is_lone, cell_m=cell_m, radius_m=settings.open_radius_m) & ~is_void
    growth = share(profile["growth"], profile["entered"], cell_m=cell_m, sigma_m=GROWTH_WINDOW_M)
    trees = scattered_trees(
        profile["tree_pulses"],
        profile["pulses"],
        is_open,
        cell_m=cell_m,
        min_cover_ratio=SCATTERED_MIN_COVER_RATIO,
        window_m=SCATTERED_WINDOW_M,
    )
    return Ground(
        density=density,
        view_density=_view_density(profile, grid, settings),
        is_open=is_open,
        is_rough=growth > settings.rough_growth_ratio,
        has_trees=trees,
        is_outside=is_outside,
    )


# ---------------------------------------------------------------- features


def _areas(
    kinds: Kinds,
    density: Heights,
    error: Heights,
    profile: Mapping[str, Heights],
    grid: Grid,
    settings: VegetationSettings,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Areas as features, and those not seen."""
    least = np.array([*(MIN_AREA_M2[symbol] for symbol in AREA_SYMBOLS), MIN_AREA_M2["406"]])
    polygons, kind = polygons_of(kinds, grid, smooth_m=settings.edge_smooth_m, min_area_m2=least)
    drawn = (kind > 0) & (kind < NOT_SEEN)
    text, confidence = describe_areas(polygons[drawn], kind[drawn], density, error, profile, grid, settings)
    areas = make_features(
        polygons[drawn],
        crs=grid.crs,
        symbol=[AREA_SYMBOLS[k] for k in kind[drawn]],
        confidence=confidence,
        evidence=text,
    )
    not_seen = make_features(
        polygons[kind == NOT_SEEN],
        crs=grid.crs,
        symbol=NOT_SEEN_SYMBOL,
        confidence=0.0,
        evidence=f"fewer than {LEAST_PULSES:g} pulses reach the running layer",
    )
    return areas, not_seen


def _with_rows(areas: gpd.GeoDataFrame, canopy_height: Heights, grid: Grid) -> gpd.GeoDataFrame:
    """The areas, those whose plants stand in rows drawn as orchards (413) or vineyards (414)."""
    areas = areas.copy()
    for i in np.flatnonzero(areas.area.to_numpy() >= ROWS_MIN_AREA_M2):
        rows = find_rows(canopy_height, areas.geometry.iloc[i], grid)
        if rows is None or rows.height_m > ROWS_MAX_HEIGHT_M:
            continue
        place = areas.index[i]
        areas.loc[place, "symbol"] = row_symbol(rows)
        areas.loc[place, "angle_deg"] = rows.angle_deg
        areas.loc[place, "height_m"] = rows.height_m
        areas.loc[place, "confidence"] = min(0.9, rows.share + 0.2)
        areas.loc[place, "evidence"] = (
            f"plants {rows.height_m:.1f} m high in rows {rows.spacing_m:.1f} m apart, "
            f"{rows.share:.0%} of their pattern is regular"
        )
    return areas


def _with_felled(areas: gpd.GeoDataFrame, canopy_height: Heights, grid: Grid) -> gpd.GeoDataFrame:
    """The areas, rough open land that forest stands up against said to be perhaps felled.

    The standard shows felled land as the open land it is until trees stand again (403, 404): only the evidence tells.
    """
    areas = areas.copy()
    larger, times = larger_cells(grid, least_m=LINE_CELL_M)
    height = stand_height(highest_into(canopy_height, grid, larger, times), cell_m=larger.cell_m, crown_m=STAND_CROWN_M)
    rough = np.flatnonzero(areas["symbol"].isin(["403", "404"]).to_numpy())
    beside = forest_beside(
        areas.geometry.to_numpy()[rough],
        height,
        larger,
        least_height_m=FELLED_LEAST_STAND_M,
        strip_m=(FELLED_STRIP_FROM_M, FELLED_STRIP_TO_M),
    )
    for i, part, stand_m in zip(rough, beside.share, beside.height_m, strict=True):
        if part >= FELLED_MIN_EDGE_RATIO:
            areas.loc[areas.index[i], "evidence"] += (
                f"; forest {stand_m:.0f} m high along {part:.0%} of its edge: perhaps felled"
            )
    return areas


def _trees(
    canopy_height: Heights, profile: Mapping[str, Heights], kinds: Kinds, grid: Grid, settings: VegetationSettings
) -> gpd.GeoDataFrame:
    """Single trees (417) and bushes or small trees (418) in open land that is not drawn with scattered trees."""
    found = single_trees(
        canopy_height,
        profile["pulses"],
        profile["reached_ground"],
        np.isin(kinds, [AREA_SYMBOLS.index("401"), AREA_SYMBOLS.index("403")]),
        grid,
        least_height_m=settings.bush_least_height_m,
        max_crown_m2=LONE_CROWN_MAX_M2,
        least_crown_m2=LEAST_CROWN_M2,
        least_through_ratio=CROWN_THROUGH_RATIO,
        top_reach_m=TOP_REACH_M,
    )
    keep = keep_apart(found.place, found.height_m, least_m=TREE_APART_M)
    if not len(keep):
        return no_features(grid.crs)
    height, crown = found.height_m[keep], found.crown_m[keep]
    tops, through = found.n_tops[keep], found.through_ratio[keep]
    evidence = [
        f"{f'copse of {n} trees' if n > 1 else 'one tree'}, {h:.1f} m high, crown {c:.1f} m wide, "
        f"{t:.0%} of pulses through"
        for h, c, n, t in zip(height, crown, tops, through, strict=True)
    ]
    return make_features(
        [Point(place) for place in found.place[keep]],
        crs=grid.crs,
        symbol=["417" if h >= settings.large_tree_height_m else "418" for h in height],
        confidence=np.where(height >= settings.large_tree_height_m, 0.7, 0.5),
        evidence=evidence,
        height_m=height,
        width_m=crown,
    )


def _rides(profile: Mapping[str, Heights], grid: Grid, settings: VegetationSettings) -> gpd.GeoDataFrame:
    """Rides (508) with the variant that their runnability asks for."""
    larger, times = larger_cells(grid, least_m=LINE_CELL_M)
    sums = sum_into({name: profile[name] for name in ("clear", "pulses", "entered", "stopped")}, grid, larger, times)
    area = box(*grid.bounds)
    found = [
        (line, ride)
        for ride in find_rides(sums["clear"], sums["pulses"], larger, settings=settings)
        if isinstance(line := area.intersection(LineString([ride.start, ride.end])), LineString) and not line.is_empty
    ]
    limits = band_limits(settings)
    return make_features(
        [line for line, _ in found],
        crs=grid.crs,
        symbol=[
            ride_symbol(line, sums["entered"], sums["stopped"], larger, limits=limits, settings=settings)
            for line, _ in found
        ],
        confidence=[1 - float(np.exp(-ride.evidence / RIDE_MIN_EVIDENCE)) for _, ride in found],
        evidence=[_ride_evidence(ride) for _, ride in found],
        width_m=[ride.width_m for _, ride in found],
    )


def _stand_edges(canopy_height: Heights, kinds: Kinds, grid: Grid, settings: VegetationSettings) -> gpd.GeoDataFrame:
    """Distinct vegetation boundaries (416) inside forest; where open land begins the colours show it."""
    larger, times = larger_cells(grid, least_m=LINE_CELL_M)
    is_forest = np.isin(kinds, [i for i, symbol in enumerate(AREA_SYMBOLS) if symbol in BAND_OF] + [NOT_SEEN])
    height = stand_height(
        highest_into(np.where(is_forest, canopy_height, np.nan), grid, larger, times),
        cell_m=larger.cell_m,
        crown_m=STAND_CROWN_M,
    )
    step = height_step(
        height,
        cell_m=larger.cell_m,
        along_m=STAND_EDGE_ALONG_M,
        across_m=STAND_EDGE_APART_M / 2,
        apart_m=STAND_EDGE_APART_M,
        directions=RIDE_DIRECTIONS,
    )
    inside = np.pad(height >= STAND_LEAST_HEIGHT_M, 1)
    depth_m = ndimage.distance_transform_edt(inside)[1:-1, 1:-1] * larger.cell_m
    edges = stand_edges(
        step,
        # Both sides, as wide as their windows reach, are forest that was seen.
        depth_m > 2 * STAND_EDGE_APART_M + STAND_CROWN_M / 2,
        larger,
        least_step_m=settings.stand_edge_step_m,
        least_length_m=STAND_EDGE_LENGTH_M,
    )
    return make_features(
        [edge.line for edge in edges],
        crs=grid.crs,
        symbol="416",
        confidence=[float(np.clip(0.1 + 0.03 * edge.step_m, 0.2, 0.6)) for edge in edges],
        evidence=[f"stands differ by {edge.step_m:.0f} m in height over {edge.line.length:.0f} m" for edge in edges],
        height_m=[edge.step_m for edge in edges],
    )


def _ride_evidence(ride: Ride) -> str:
    gap = f", joined over {ride.gap_m:.0f} m of open land" if ride.gap_m else ""
    return (
        f"{ride.clear_ratio:.0%} of pulses come through {ride.width_m:.0f} m wide, {ride.side_ratio:.0%} beside it, "
        f"over {ride.seen_m:.0f} m{gap}"
    )
