"""The plan of a run: what the area file and the headers of the tiles decide before any point is read.

The Snakefile asks the plan for names, neighbours and settings; both `tussock draft` and plain `snakemake` make the
same plan, and it is written to `work/plan.json` for whoever wants to see it.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import InputError, SettingsError
from pipeline.files import checksums, layers
from pipeline.files.arrays import read_json
from pipeline.files.checksums import mark_of
from pipeline.files.disk.atomic import check_writable, write_text
from pipeline.files.disk.lock import hold_folder
from pipeline.files.intake import Intake, take_in
from pipeline.intake.find_tiles import find_tiles
from pipeline.intake.placement import Placement
from pipeline.lattice.blocks import Block, block_named
from pipeline.plan.code import fingerprint
from pipeline.plan.steps import STEPS
from pipeline.settings import Area, Flow, LayerSettings, VegetationSettings, load_area, section_text

CHECKSUMS = Path("work") / "checksums.json"

CALIBRATED = ("slow_from_m2_per_m3", "walk_from_m2_per_m3", "fight_from_m2_per_m3")
"""Settings of the vegetation section that a calibration replaces."""
HALO_M = 80.0
"""Metres of its neighbours' returns that a block reads: as far as rasters and boulders look, and from there as far as
classes depend on returns (`pipeline.steps.block.reaches`, for the ground window as it is set by default)."""
CHOICE_BLOCKS = 3
"""Blocks on which it is decided whose ground is used; each takes a few seconds."""
FINE_CELL_FROM_PULSES_PER_M2 = 3.0
"""Density from which raster cells are 0.5 m: about the spacing of ground returns under light canopy (common practice,
no source)."""
MEDIUM_CELL_FROM_PULSES_PER_M2 = 0.5
"""Density from which raster cells are 1 m, told in the same way; with less they are 2 m."""
BLOCK_SIDES_M = (125.0, 250.0, 500.0)
"""Working blocks come in these sizes, so that two surveys of one area are mostly cut alike."""


@dataclass(frozen=True)
class Plan:
    """All that is decided before any point is read."""

    area_path: Path
    area: Area
    out: Path
    intake: Intake
    boundary_path: Path | None

    # ------------------------------------------------------------ tiles and blocks

    @property
    def crs(self) -> str:
        """The working CRS."""
        return self.intake.table.crs

    @property
    def tile_names(self) -> list[str]:
        """Names of the tiles, in fixed order."""
        return self.intake.table.names

    @property
    def tile_paths(self) -> list[str]:
        """Files of the tiles, in the same order."""
        return [self.tile_path(name) for name in self.tile_names]

    def tile_path(self, name: str) -> str:
        """File of a tile."""
        return str(Path(self.intake.table.tile(name).path).resolve())

    def tile_key(self, name: str) -> int:
        """A number that stands for the content of a tile, whatever other tiles there are."""
        return int(self.intake.table.tile(name).sha256[:15], 16)

    @property
    def n_returns(self) -> int:
        """Returns in all tiles, as their headers say."""
        return self.intake.table.n_points

    @cached_property
    def blocks(self) -> list[Block]:
        """The working blocks the tiles touch, in fixed order."""
        return self.intake.table.blocks(block_m=self.flow.block_m)

    @property
    def block_names(self) -> list[str]:
        """Names of the working blocks."""
        return [block.name for block in self.blocks]

    @cached_property
    def cell_m(self) -> float:
        """Side of a raster cell: the expert setting, else by the density of pulses."""
        terrain = self.area.expert.terrain
        return terrain.cell_m or cell_for_density(pulses_per_m2(self.intake))

    @cached_property
    def flow(self) -> Flow:
        """How the area is cut: the expert setting, else blocks as large as their returns allow."""
        flow = self.area.expert.flow
        table = self.intake.table
        returns_per_m2 = table.n_points / max(1.0, sum(tile.area_m2 for tile in table.tiles))
        side_m = flow.block_m or block_for_density(returns_per_m2, halo_m=HALO_M, max_returns=flow.block_max_returns)
        return Flow(block_m=side_m, halo_m=HALO_M)

    def placement(self, name: str) -> Placement:
        """How the coordinates of a tile come into the working CRS."""
        return self.intake.table.tile(name).placement

    # ------------------------------------------------------------ who needs whom

    def splits_around(self, block: str) -> list[str]:
        """Split tiles that may hold returns of a block or its halo."""
        return [f"work/split/{name}" for name in self._tiles_around(block)]

    @property
    def blocks_of_choice(self) -> list[str]:
        """A few blocks, spread evenly, on which it is decided whose ground is used."""
        step = max(1, -(-len(self.block_names) // CHOICE_BLOCKS))
        return self.block_names[step // 2 :: step]

    @property
    def splits_of_choice(self) -> list[str]:
        """Split tiles that those blocks read."""
        names = {name for block in self.blocks_of_choice for name in self._tiles_around(block)}
        return [f"work/split/{name}" for name in sorted(names)]

    def content_around(self, block: str) -> list[str]:
        """Checksums of those tiles: content, not dates, decides what is computed again."""
        return [self.intake.table.tile(name).sha256 for name in self._tiles_around(block)]

    def tile_bounds(self, name: str) -> list[float]:
        """west, south, east, north of a tile in the working CRS; what lies outside is stray."""
        return list(self.intake.table.tile(name).bounds)

    def blocks_reached(self, name: str) -> list[str]:
        """Names of the blocks whose core or halo a tile reaches."""
        flow = self.flow
        return [b.name for b in self.intake.table.blocks_of(name, block_m=flow.block_m, halo_m=flow.halo_m)]

    def classified_of_tile(self, name: str) -> list[str]:
        """Classified blocks that may hold returns of a tile."""
        blocks = self.intake.table.blocks_of(name, block_m=self.flow.block_m)
        return [f"work/classified/{block.name}" for block in blocks]

    def _tiles_around(self, block: str) -> list[str]:
        flow = self.flow
        return self.intake.table.tiles_of(block_named(block, flow.block_m), halo_m=flow.halo_m)

    @property
    def boundary_inputs(self) -> list[str]:
        """The boundary file as input of a rule, where there is one."""
        return [str(self.boundary_path)] if self.boundary_path else []

    # ------------------------------------------------------------ what Snakemake keeps track of

    @property
    def content(self) -> list[str]:
        """Checksums of all tiles."""
        return [tile.sha256 for tile in self.intake.table.tiles]

    def section(self, name: str) -> str:
        """A section of the expert settings as one line of JSON."""
        return section_text(self.flow if name == "flow" else getattr(self.area.expert, name))

    @property
    def layers(self) -> str:
        """The layers that pulses are counted in, as one line of JSON: new limits of the bands count nothing again."""
        vegetation = self.area.expert.vegetation
        return section_text(LayerSettings(**{name: getattr(vegetation, name) for name in LayerSettings.model_fields}))

    def code(self, step: str) -> str:
        """Fingerprint of the code behind a step."""
        return fingerprint(STEPS[step].partition(":")[0])

    @property
    def summary(self) -> dict[str, object]:
        """The plan in words and numbers, for `work/plan.json` and the manifest; no path of this machine in it."""
        return {
            "area": self.area.model_dump(mode="json"),
            "working_crs": {"crs": self.crs, "name": self.intake.working.name, "reason": self.intake.working.reason},
            "cell_m": self.cell_m,
            "block_m": self.flow.block_m,
            "blocks": self.block_names,
            "tiles": [
                {"name": tile.name, "file": Path(tile.path).name, "sha256": tile.sha256, "returns": tile.n_points}
                for tile in self.intake.table.tiles
            ],
        }


def cell_for_density(pulses_per_m2: float, /) -> float:
    """Side of a raster cell in metres that a density of pulses supports."""
    if pulses_per_m2 >= FINE_CELL_FROM_PULSES_PER_M2:
        return 0.5
    return 1.0 if pulses_per_m2 >= MEDIUM_CELL_FROM_PULSES_PER_M2 else 2.0


def pulses_per_m2(intake: Intake, /) -> float:
    """Pulses on a square metre of the tiles' ground; all returns count where they are not numbered."""
    first = [header.n_by_return[0] if header.n_by_return else 0 for header in intake.headers]
    n_pulses = sum(n or header.n_points for n, header in zip(first, intake.headers, strict=True))
    return n_pulses / max(1.0, sum(tile.area_m2 for tile in intake.table.tiles))


def block_for_density(returns_per_m2: float, /, *, halo_m: float, max_returns: int) -> float:
    """Side of a working block in metres: the largest whose returns, halo included, stay below a number."""
    fits = [side for side in BLOCK_SIDES_M if returns_per_m2 * (side + 2 * halo_m) ** 2 <= max_returns]
    return max(fits, default=min(BLOCK_SIDES_M))


def calibration_path(area_path: Path, /) -> Path:
    """The file beside the area file that `tussock calibrate` writes and later runs of the area use."""
    return area_path.with_name(f"{area_path.stem}.calibration.json")


def _calibrated(area: Area, area_path: Path) -> Area:
    """The area with the band limits of its calibration, where there is one."""
    path = calibration_path(area_path)
    if not path.exists():
        return area
    try:
        content = read_json(path)
        fitted = {name: content[name] for name in CALIBRATED}
        vegetation = VegetationSettings.model_validate(area.expert.vegetation.model_dump() | fitted)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SettingsError(
            f"{path}: is not a calibration; make it again with 'tussock calibrate' or remove it"
        ) from error
    expert = area.expert.model_copy(update={"vegetation": vegetation})
    return area.model_copy(update={"expert": expert})


def make_plan(area_path: Path, /) -> Plan:
    """The plan of an area, checked as far as headers allow; writes nothing.

    Raises
    ------
    InputError
        If the area file, a tile or the boundary cannot be used.
    """
    area_path = area_path.resolve()
    area = _calibrated(load_area(area_path), area_path)
    intake = take_in(
        find_tiles(area.tiles, area_path.parent),
        given_crs=area.crs,
        given_height_unit=area.height_unit,
        settings=area.expert.survey,
        known_checksums=checksums.recall((area_path.parent / area.out) / CHECKSUMS),
    )
    boundary = (area_path.parent / area.boundary).resolve() if area.boundary else None
    plan = Plan(area_path, area, (area_path.parent / area.out).resolve(), intake, boundary)
    if boundary:
        _check_boundary(plan, boundary)
    return plan


def plan_run(area_path: Path, /) -> Plan:
    """The plan of a run: its folder is ready and held for this process, and the plan is written down there.

    Raises
    ------
    InputError
        As `make_plan`, or if the output folder cannot be written to or another run is at work there.
    """
    plan = make_plan(area_path)
    hold_folder(plan.out)
    check_writable(plan.out / "work")
    checksums.remember(plan.out / CHECKSUMS, {mark_of(Path(t.path)): t.sha256 for t in plan.intake.table.tiles})
    text = json.dumps(plan.summary, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    write_text(plan.out / "work" / "plan.json", text)
    return plan


def _check_boundary(plan: Plan, boundary: Path) -> None:
    outline = layers.read_boundary(boundary, plan.crs)
    covered = shapely.union_all([shapely.box(*tile.bounds) for tile in plan.intake.table.tiles])
    if not shapely.intersects(outline, covered):
        raise InputError(
            f"{boundary}: the boundary lies outside the tiles (it is around {_middle(outline)}, the tiles around "
            f"{_middle(covered)} in {plan.intake.working.name}); check both coordinate systems"
        )


def _middle(shape: BaseGeometry) -> str:
    west, south, east, north = shape.bounds
    return f"{(west + east) / 2:.0f} {(south + north) / 2:.0f}"


def plan_or_exit(area_path: str, /, *, is_job: bool = False) -> Plan:
    """The plan for the Snakefile: a problem ends Snakemake with its message and no traceback.

    Parameters
    ----------
    is_job : bool
        Whether this is a process that Snakemake started for one job. It reads the Snakefile again, in a folder that
        the Snakemake which started it holds, and writes nothing but what its job makes.
    """
    try:
        return make_plan(Path(area_path)) if is_job else plan_run(Path(area_path))
    except InputError as error:
        sys.exit(f"error: {error}")
