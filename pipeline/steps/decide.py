"""What is decided for the whole area from its returns: side of a cell, and levels of flight lines."""

from __future__ import annotations

from dataclasses import asdict, fields
from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.lattice.blocks import blocks_near
from pipeline.lattice.grid import Bounds
from pipeline.plan.cut import cell_for_density
from pipeline.points.classes import embedded, own_ground
from pipeline.points.duplicates import find_duplicates
from pipeline.points.levelling import LineCells, LineShift, find_levelling, line_cells, near_ground
from pipeline.returns.cloud import Cloud, northward
from pipeline.returns.ground_cells import PATCH_M, GroundCells
from pipeline.settings import Flow, PointsSettings

LEVELLED_SHARE = 0.125
"""Share of the patches of 100 m on which flight lines are compared: a swath crosses several of them. Our choice."""
LEAST_LEVELLED = 12
"""Fewest patches on which flight lines are compared, if there are as many. Our choice."""
MILLIMETRES = 3
"""Decimals to which steps between flight lines are written."""
PLAN_STEP_M, UP_STEP_M = 0.01, 0.002
"""Steps in which flight lines are moved in plan and in height, in metres; shifts are good to a centimetre. Were they
told finer, a change in one corner of an area would move every line and have all blocks worked on again: where forest
was felled on one patch of nine in two scenes, shifts came out 1 to 4 mm otherwise in plan and at most 1 mm in height;
where patches are a hundred, a tenth of that. Steps twice as wide made the bare earth of one scene 1.5 mm worse. Our
choice."""


def decide(
    *, plan: Path, seen: Path, split: Path, out: Path, flow: Flow, settings: PointsSettings, cell_m: float
) -> None:
    """Write the side of a raster cell and the shifts of flight lines, with their figures.

    None depends on how the survey was cut into tiles or is cut into blocks: they come from the squares of ground
    that `split` saw returns in.

    Parameters
    ----------
    plan : `work/plan.json`, for the names of tiles and blocks
    seen, split : folders with what `split` left of each tile
    cell_m : side that the area file asks for; 0 to go by density
    """
    planned = arrays.read_json(plan)
    tiles = [str(tile["name"]) for tile in cast("list[dict[str, object]]", planned["tiles"])]
    blocks = set(cast("list[str]", planned["blocks"]))
    ground = GroundCells.joined([read_seen(seen / name) for name in tiles])
    density = ground.pulses_per_m2()
    folders = [split / name for name in tiles]
    levelling = find_levelling(_line_cells(folders, blocks, ground, flow, settings))
    shifts = [_rounded(shift) for shift in levelling.shifts]
    figures = {"pulses_per_m2": density, "covered_m2": ground.covered_m2}
    lines = {
        "line_shifts": [asdict(shift) for shift in shifts],
        "line_steps_before_m": _known(levelling.before_m),
        "line_steps_after_m": _known(levelling.after_m),
        "line_cells": levelling.n_cells,
    }
    arrays.write_json(out, figures | lines | {"cell_m": cell_m or cell_for_density(density)})


def _rounded(shift: LineShift, /) -> LineShift:
    east_m, north_m = (_in_steps(value, PLAN_STEP_M) for value in (shift.east_m, shift.north_m))
    return LineShift(shift.line, east_m, north_m, _in_steps(shift.up_m, UP_STEP_M))


def _in_steps(value_m: float, step_m: float, /) -> float:
    """The nearest multiple of a step; no -0, which is written otherwise than 0."""
    return round(round(value_m / step_m) * step_m, MILLIMETRES) + 0.0


def _known(metres: float, /) -> float | None:
    """Rounded, or None for NaN, which JSON cannot hold."""
    return round(metres, MILLIMETRES) if np.isfinite(metres) else None


def _line_cells(
    folders: list[Path], blocks: set[str], ground: GroundCells, flow: Flow, settings: PointsSettings
) -> list[LineCells]:
    """Where two flight lines meet on smooth ground, on some patches."""
    found: list[LineCells] = []
    most = max(LEAST_LEVELLED, round(LEVELLED_SHARE * ground.covered_m2 / PATCH_M**2))
    for patch in ground.patches(most):
        cloud = _returns(folders, blocks, patch, flow)
        if len(np.unique(cloud.flight_line)) > 1:
            near = near_ground(cloud, own_ground(cloud, find_ground=embedded(settings)))
            found += line_cells(near.enh, near.flight_line)
    return found


def read_seen(folder: Path, /) -> GroundCells:
    """What `split` left of the ground of a tile."""
    columns = arrays.map_arrays(folder, ("cells", "pulses"))
    return GroundCells(cast("NDArray[np.int32]", columns["cells"]), cast("NDArray[np.int64]", columns["pulses"]))


def _returns(folders: list[Path], blocks: set[str], patch: Bounds, flow: Flow, /) -> Cloud:
    """Usable returns of a patch, each once, in one fixed order."""
    clouds = []
    for block in blocks_near(patch, block_m=flow.block_m):
        if block.name in blocks:
            inside = _shared(block.bounds, patch)
            clouds += [_within(path, inside) for folder in folders for path in folder.glob(f"{block.name}.*")]
    cloud = Cloud.join(clouds)
    cloud = cloud.take(northward(cloud))
    return cloud.take(~find_duplicates(cloud))


def _within(path: Path, bounds: Bounds) -> Cloud:
    """The usable returns of a folder in a rectangle; the rest is not read into memory."""
    # Most folders of a block hold nothing of a patch, and opening all their columns takes longer than looking.
    at = Cloud(**vars(Cloud.empty()) | arrays.map_arrays(path, ("east", "north", "is_usable")))
    # Places and not a mask, which would be looked through from end to end again for each of the columns.
    which = np.flatnonzero(at.within(bounds) & at.is_usable)
    if not len(which):
        return Cloud.empty()
    columns = arrays.map_arrays(path, [field.name for field in fields(Cloud)])
    return Cloud(**columns).take(which)  # type: ignore[arg-type]


def _shared(one: Bounds, other: Bounds) -> Bounds:
    """The rectangle that two rectangles share."""
    return max(one[0], other[0]), max(one[1], other[1]), min(one[2], other[2]), min(one[3], other[3])
