"""All that is made of one working block: the classes of its returns, its rasters, its boulder candidates.

One reading of the block and its halo serves all three. Rasters and boulders look some way beyond the block; the halo is
that much wider than classes need, so that the classes they meet there are those the neighbouring block gives.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.features import no_features
from pipeline.files import arrays, grid_files
from pipeline.files.disk.kept import keep, put_back
from pipeline.files.layers import write_features
from pipeline.lattice.blocks import Block, block_named
from pipeline.lattice.grid import EastNorthHeight, Grid, Heights
from pipeline.points.classes import Classified, classify_returns
from pipeline.points.duplicates import find_duplicates
from pipeline.points.levelling import levelled
from pipeline.points.producer import Dispute
from pipeline.returns.asprs import GROUND, WATER
from pipeline.returns.cloud import Cloud, in_order, northward
from pipeline.rock.boulders.boulders import find_boulders
from pipeline.settings import (
    Flow,
    LayerSettings,
    PointsSettings,
    RoofSettings,
    TerrainSettings,
    WireSettings,
    section_text,
)
from pipeline.steps.block.reaches import EARTH_AROUND_M, LOOK_AROUND_M
from pipeline.steps.block.reading import Columns, engine, laid_out, lines_of, mark_of_returns, read_shifts
from pipeline.survey.disputes import count_disputes
from pipeline.terrain.counts import class_counts, lone_ground, wire_counts
from pipeline.terrain.profile import profile_grids
from pipeline.terrain.surface import canopy_height, ground_support, lowest_last, surface_from_ground


def block(
    *,
    split: list[Path],
    decided: Path,
    classified: Path,
    grids: Path,
    boulders: Path,
    disputes: Path,
    block: str,
    crs: str,
    flow: Flow,
    settings: PointsSettings,
    roofs: RoofSettings,
    wires: WireSettings,
    terrain: TerrainSettings,
    layers: LayerSettings,
    kept: Path | None = None,
    code: str = "",
) -> None:
    """Write the classes of one block's returns, its rasters, its boulder candidates and what is disputed.

    Where the returns are those of the last time, with the same settings and code, its results are put back from `kept`.

    `split` are the folders of the tiles that reach into the block or its halo; `decided` says how flight lines are
    moved and how large a cell is; `classified`, `grids`, `boulders` and `disputes` are what is written.
    """
    place = block_named(block, flow.block_m)
    for_area = arrays.read_json(decided)
    sections = (flow, settings, roofs, wires, terrain, layers)
    lines = lines_of(split, place)
    shifts = [shift for shift in read_shifts(for_area) if shift.line in lines]
    told = (block, crs, code, for_area["cell_m"], shifts, *map(section_text, sections))
    mark = mark_of_returns(split, place, repr(told))
    made = (classified, grids, boulders, disputes)
    if put_back(kept, mark, made):
        return
    _work_through(
        split,
        for_area,
        classified=classified,
        grids=grids,
        boulders=boulders,
        disputes=disputes,
        place=place,
        crs=crs,
        settings=settings,
        roofs=roofs,
        wires=wires,
        terrain=terrain,
        layers=layers,
    )
    keep(kept, mark, made)


def _work_through(
    split: list[Path],
    for_area: Mapping[str, object],
    /,
    *,
    classified: Path,
    grids: Path,
    boulders: Path,
    disputes: Path,
    place: Block,
    crs: str,
    settings: PointsSettings,
    roofs: RoofSettings,
    wires: WireSettings,
    terrain: TerrainSettings,
    layers: LayerSettings,
) -> None:
    """The work itself; `for_area` is what was decided for the area."""
    cloud, whence = _returns(split, place)
    is_core = cloud.within(place.bounds)
    cloud = levelled(cloud, read_shifts(for_area))
    found = classify_returns(cloud, settings=settings, find_ground=engine(settings), roofs=roofs, wires=wires)
    _write_classes(classified, whence, _tiles(split, place), found.asprs_class, is_core)
    _write_disputes(disputes, cloud, found.dispute, is_core)
    del whence
    earth = _earth(cloud, found, place)
    cloud, found = _nearby(cloud, found, place)
    core = Grid.covering(place.bounds, cell_m=float(str(for_area["cell_m"])), crs=crs)
    has_returns = bool(cloud.within(place.bounds).any())
    made = _rasters(cloud, found, earth, core, terrain=terrain, layers=layers) if has_returns else {}
    grid_files.write_grids(grids, made, core)
    del made, earth
    lumps = find_boulders(cloud, found.asprs_class, found.height_above_m, core) if len(cloud) else no_features(crs)
    write_features(boulders, lumps)


def _returns(split: list[Path], place: Block) -> tuple[Cloud, Columns]:
    """The returns of the block and its halo, and the number of the path of each with its place in its tile.

    They come in one fixed order, so that nothing downstream can depend on how the survey was cut into tiles; what tiles
    that overlap repeat of each other is not usable.
    """
    cloud, whence = arrays.join_returns(laid_out(split, place), names=("index",))
    order = northward(cloud)
    columns = vars(cloud).copy()
    del cloud
    cloud = in_order(columns, order)
    whence = {name: whence.pop(name)[order] for name in list(whence)}
    return replace(cloud, is_usable=cloud.is_usable & ~find_duplicates(cloud)), whence


def _tiles(split: list[Path], place: Block) -> list[str]:
    """The name of the tile of each path of `laid_out`."""
    return [path.parent.name for path in laid_out(split, place)]


def _write_classes(
    path: Path, whence: Columns, tiles: list[str], asprs_class: NDArray[np.uint8], is_core: NDArray[np.bool_]
) -> None:
    """The classes of the core, tile by tile: places in the tile and the class of each."""
    core = np.flatnonzero(is_core)
    names, of_path = np.unique(tiles, return_inverse=True)
    tile, index = of_path.astype(np.min_scalar_type(len(names)))[whence["path"][core]], whence["index"][core]
    written: dict[str, NDArray[np.generic]] = {}
    for number, name in enumerate(names.tolist()):
        mine = tile == number
        if mine.any():
            written |= {f"{name}.index": index[mine], f"{name}.asprs_class": asprs_class[core[mine]]}
    arrays.write_arrays(path, written)


def _write_disputes(path: Path, cloud: Cloud, dispute: Dispute, is_core: NDArray[np.bool_]) -> None:
    """Where in the core the producer's ground and ours are far apart."""
    inside = is_core[dispute.index]
    chosen = dispute.index[inside]
    mine = Dispute(chosen, dispute.apart_m[inside], dispute.is_producers[inside])
    squares = count_disputes(mine, np.column_stack((cloud.east[chosen], cloud.north[chosen])))
    arrays.write_json(path, {"squares": [asdict(square) for square in squares]})


def _nearby(cloud: Cloud, found: Classified, place: Block) -> tuple[Cloud, Classified]:
    """The usable returns of the block and of what its rasters and boulders look at around it."""
    near = np.flatnonzero(cloud.within(place.reach(LOOK_AROUND_M)) & cloud.is_usable)
    return cloud.take(near), Classified(found.asprs_class[near], found.height_above_m[near])


def _earth(cloud: Cloud, found: Classified, place: Block) -> EastNorthHeight:
    """(n, 3) the usable returns of ground and water as far around the block as triangles reach."""
    is_earth = (found.asprs_class == GROUND) | (found.asprs_class == WATER)
    chosen = np.flatnonzero(is_earth & cloud.is_usable & cloud.within(place.reach(EARTH_AROUND_M)))
    return np.stack((cloud.east[chosen], cloud.north[chosen], cloud.height[chosen])).T


def _rasters(
    cloud: Cloud,
    found: Classified,
    earth: EastNorthHeight,
    core: Grid,
    /,
    *,
    terrain: TerrainSettings,
    layers: LayerSettings,
) -> dict[str, Heights]:
    """Bare earth, its support, canopy, and counts of returns that may be added up."""
    asprs_class, above_m = found.asprs_class, found.height_above_m
    made: dict[str, Heights] = {
        "bare_earth": surface_from_ground(earth, core, settings=terrain),
        "ground_support": ground_support(earth[:, :2], core),
        "canopy_height": canopy_height(cloud, asprs_class, above_m, core),
        "lowest_last": lowest_last(cloud, asprs_class, core),
    }
    made |= profile_grids(
        cloud,
        asprs_class,
        above_m,
        core,
        running_bottom_m=layers.running_bottom_m,
        visibility_bottom_m=layers.visibility_bottom_m,
        running_top_m=layers.running_top_m,
    )
    made |= class_counts(asprs_class, cloud.east, cloud.north, cloud.is_last, core)
    made |= lone_ground(cloud, asprs_class, above_m, core)
    made |= wire_counts(cloud, asprs_class, above_m, core)
    return made
