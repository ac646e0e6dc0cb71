"""The plan of a run: what the area file and the headers of the tiles decide before any point is read.

The Snakefile asks the plan for names, neighbours and settings; both `tussock draft` and plain `snakemake` make the
same plan, and it is written to `work/plan.json` for whoever wants to see it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import cast

import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import InputError, SettingsError
from pipeline.exports.formats import FILES
from pipeline.files import checksums, layers
from pipeline.files.arrays import read_json
from pipeline.files.checksums import mark_of, sha256_of, text_mark
from pipeline.files.disk.atomic import check_writable, write_text
from pipeline.files.disk.lock import hold_folder
from pipeline.files.disk.pieces import pieces_of
from pipeline.files.found.marks import read_marks
from pipeline.files.intake import Intake, take_in
from pipeline.files.written_points import forget_lost
from pipeline.intake.find_tiles import IN_THE_AREA_FILE, find_tiles
from pipeline.intake.placement import Placement
from pipeline.intake.tile_table import Tile
from pipeline.lattice.blocks import Block, block_named, blocks_near, shared_m2, touches
from pipeline.lattice.fields import FIELD_M, Field
from pipeline.marks.progress import done_ids
from pipeline.plan import needs
from pipeline.plan.borrowing import content_of, find_sources
from pipeline.plan.code import fingerprint, how_read, read_package
from pipeline.plan.cut import block_for_density, halo_for
from pipeline.plan.fields import blocks_of, fields_of_area
from pipeline.plan.history import history_content
from pipeline.plan.marked import marks_content, marks_path, take_in_edits
from pipeline.plan.names import safe_name
from pipeline.plan.parking import find_parking
from pipeline.plan.steps import STEPS
from pipeline.settings import Area, Borrowing, Flow, LayerSettings, VegetationSettings, load_area, section_text

CHECKSUMS = Path("work") / "checksums.json"
PLACES = Path("work") / "places.json"
"""Where the points of each tile are, so that they are not looked at for it in every run."""
CODE = Path("work") / "kept" / "code.sqlite"
"""What the modules of the package import and mean, so that they are not parsed in every run."""

NOTE_PLACES = Path("fieldwork") / "note_places.csv"
"""Where `tussock calibrate` says which notes would teach most next, below the output folder."""

CALIBRATED = ("slow_from_m2_per_m3", "walk_from_m2_per_m3", "fight_from_m2_per_m3")
"""Settings of the vegetation section that a calibration replaces."""


@dataclass(frozen=True)
class Plan:
    """All that is decided before any point is read."""

    area_path: Path
    area: Area
    out: Path
    intake: Intake
    boundary_path: Path | None
    borrowing: Borrowing
    """Maps of other people, with whole paths."""
    limits_note: str = ""
    """What a mapper is told of a calibration; "" without one."""
    edits_note: str = ""
    """What a mapper is told of changes found in draft.gpkg and taken in as marks; "" without any."""

    # ------------------------------------------------------------ tiles and blocks

    @property
    def crs(self) -> str:
        """The working CRS."""
        return self.intake.table.crs

    @cached_property
    def _tiles(self) -> dict[str, Tile]:
        return {safe_name(tile.name): tile for tile in self.intake.table.tiles}

    @cached_property
    def tile_names(self) -> list[str]:
        """Names of the tiles among the work files, in fixed order; safe for Snakemake and the shell."""
        return list(self._tiles)

    def tile_path(self, name: str) -> str:
        """File of a tile."""
        return str(Path(self._tiles[name].path).resolve())

    def points_path(self, name: str) -> str:
        """Where a tile is written back, under its own name; below the output folder."""
        return f"points/{self._tiles[name].name}.laz"

    def tile_key(self, name: str) -> int:
        """A number that stands for the content of a tile, whatever other tiles there are."""
        return int(self._tiles[name].sha256[:15], 16)

    @property
    def n_returns(self) -> int:
        """Returns in all tiles, as their headers say."""
        return self.intake.table.n_points

    @cached_property
    def blocks(self) -> list[Block]:
        """The working blocks the tiles touch, in fixed order."""
        return self.intake.table.blocks(block_m=self.flow.block_m)

    @cached_property
    def block_names(self) -> list[str]:
        """Names of the working blocks."""
        return [block.name for block in self.blocks]

    @cached_property
    def flow(self) -> Flow:
        """How the area is cut: the expert setting, else blocks as large as their returns allow."""
        flow = self.area.expert.flow
        table = self.intake.table
        returns_per_m2 = table.n_points / max(1.0, sum(tile.area_m2 for tile in table.tiles))
        halo_m = halo_for(self.area.expert.points.ground_window_m)
        side_m = flow.block_m or block_for_density(returns_per_m2, halo_m=halo_m, max_returns=flow.block_max_returns)
        return Flow(block_m=side_m, halo_m=halo_m)

    def placement(self, name: str) -> Placement:
        """How the coordinates of a tile come into the working CRS."""
        return self._tiles[name].placement

    # ------------------------------------------------------------ fields

    @cached_property
    def fields(self) -> dict[str, Field]:
        """The fields that sections are drawn in, by their names, in fixed order."""
        boundary = layers.read_boundary(self.boundary_path, self.crs) if self.boundary_path else None
        return fields_of_area([tile.bounds for tile in self._tiles.values()], boundary)

    @cached_property
    def field_names(self) -> list[str]:
        """Names of the fields."""
        return list(self.fields)

    def core_of(self, field: str) -> str:
        """west,south,east,north of a field."""
        return ",".join(map(repr, self.fields[field].core))

    def blocks_of_field(self, field: str) -> list[str]:
        """Names of the blocks that a field and its margin reach."""
        return blocks_of(self.fields[field], self._blocks_by_name, block_m=self.flow.block_m)

    @cached_property
    def _blocks_by_name(self) -> dict[str, Block]:
        return {block.name: block for block in self.blocks}

    # ------------------------------------------------------------ who needs whom

    @cached_property
    def _blocks_near(self) -> dict[str, list[Block]]:
        """Tile -> the blocks whose core or halo it reaches, of those that some tile touches."""
        flow = self.flow
        # The blocks themselves and not their likes: a block is near nine tiles of its size.
        worked = {block: block for block in self.blocks}
        return {
            name: [
                worked[b] for b in blocks_near(tile.bounds, block_m=flow.block_m, margin_m=flow.halo_m) if b in worked
            ]
            for name, tile in self._tiles.items()
        }

    @cached_property
    def _tiles_near(self) -> dict[str, list[str]]:
        """Block -> the tiles that reach its core or halo."""
        near: dict[str, list[str]] = {name: [] for name in self.block_names}
        for tile, blocks in self._blocks_near.items():
            for block in blocks:
                near[block.name].append(tile)
        return near

    def tiles_around(self, block: str) -> list[str]:
        """Names of the tiles that may hold returns of a block or its halo."""
        return self._tiles_near[block]

    def splits_around(self, block: str) -> list[str]:
        """Those tiles, split."""
        return [f"work/split/{name}" for name in self._tiles_near[block]]

    def content_around(self, block: str) -> str:
        """One checksum of those tiles: content, not dates, decides what is computed again."""
        return text_mark(" ".join(self._tiles[name].sha256 for name in self._tiles_near[block]))

    def blocks_around(self, block: str) -> list[str]:
        """Names of the blocks that a block's halo reaches, itself included."""
        flow, place = self.flow, block_named(block, self.flow.block_m)
        near = blocks_near(place.bounds, block_m=flow.block_m, margin_m=flow.halo_m)
        return [other.name for other in near if other.name in self._tiles_near]

    def tile_bounds(self, name: str) -> str:
        """west,south,east,north of a tile in the working CRS, to the last digit; what lies outside is stray."""
        return ",".join(map(repr, self._tiles[name].bounds))

    def blocks_reached(self, name: str) -> list[str]:
        """Names of the blocks whose core or halo a tile reaches."""
        return [block.name for block in self._blocks_near[name]]

    def classified_of_tile(self, name: str) -> list[str]:
        """Classified blocks that may hold returns of a tile."""
        bounds = self._tiles[name].bounds
        return [f"work/classified/{block.name}" for block in self._blocks_near[name] if touches(block.bounds, bounds)]

    # ------------------------------------------------------------ exports

    @property
    def export_files(self) -> list[str]:
        """Files of the exports that the area file asks for, below the output folder."""
        return [f"exports/{FILES[kind]}" for kind in dict.fromkeys(self.area.exports)]

    @property
    def backdrop_files(self) -> list[str]:
        """Files of the backdrops that it asks for, upright and turned."""
        kinds = dict.fromkeys(self.area.backdrops)
        return [f"backdrops/{kind}{turned}.tif" for kind in kinds for turned in ("", "_turned")]

    # ------------------------------------------------------------ what a job needs

    def split_mem_mb(self, tile: str) -> int:
        """Memory that splitting a tile needs."""
        return needs.split_mb(self._tiles[tile].n_points)

    def label_mem_mb(self, tile: str) -> int:
        """Memory that writing a tile back needs."""
        return needs.label_mb(self._tiles[tile].n_points)

    def block_mem_mb(self, block: str) -> int:
        """Memory that a block needs, by the returns in it and its halo."""
        return needs.block_mb(self.returns_around(block))

    def returns_around(self, block: str) -> float:
        """Returns in a block and its halo, as the headers of the tiles let expect: strewn evenly over each tile."""
        reach = block_named(block, self.flow.block_m).reach(self.flow.halo_m)
        tiles = [self._tiles[name] for name in self._tiles_near[block]]
        return sum(tile.n_points * shared_m2(tile.bounds, reach) / max(1.0, tile.area_m2) for tile in tiles)

    @property
    def survey_mem_mb(self) -> int:
        """Memory that the survey needs."""
        return needs.SURVEY_MB

    @cached_property
    def decide_mem_mb(self) -> int:
        """Memory that the step needs which decides whose ground is used: a patch with its halo, and squares of 10 m."""
        densest = max(tile.n_points / max(1.0, tile.area_m2) for tile in self._tiles.values())
        return needs.decide_mb(densest, ground_m2=self.ground_m2, halo_m=self.flow.halo_m)

    @cached_property
    def area_mem_mb(self) -> int:
        """Memory that a step needs which works on the whole area at once."""
        return needs.area_mb(self.ground_m2)

    @cached_property
    def field_mem_mb(self) -> int:
        """Memory that a step needs which draws a section of a field."""
        return needs.field_mb(self.ground_m2)

    @cached_property
    def band_mem_mb(self) -> int:
        """Memory that a step needs which makes rasters of the area band by band."""
        return needs.BAND_MB

    @cached_property
    def ground_m2(self) -> float:
        """Ground within the frames of all tiles, overlaps once."""
        return float(shapely.union_all([shapely.box(*tile.bounds) for tile in self._tiles.values()]).area)

    @cached_property
    def most_mem_mb(self) -> tuple[int, str]:
        """Memory of the job that needs most, and what it works on."""
        jobs = [(self.block_mem_mb(name), f"a block of {self.flow.block_m:.0f} m") for name in self.block_names]
        jobs += [(self.split_mem_mb(name), f"tile {self._tiles[name].name}") for name in self.tile_names]
        jobs.append((self.field_mem_mb, "a field of 1 km"))
        return max([*jobs, (self.area_mem_mb, "the whole area"), (self.decide_mem_mb, "the choice of the ground")])

    @cached_property
    def peak_disk_bytes(self) -> float:
        """Room on the disk that a run from the beginning needs at its peak."""
        return needs.peak_disk_bytes(
            n_returns=self.n_returns,
            halo_ratio=(1 + 2 * self.flow.halo_m / self.flow.block_m) ** 2,
            tile_bytes=sum(header.n_bytes for header in self.intake.headers),
            ground_m2=self.ground_m2,
            n_backdrops=len(set(self.area.backdrops)),
        )

    # ------------------------------------------------------------ what Snakemake keeps track of

    @cached_property
    def content(self) -> str:
        """One checksum of all tiles together, with where they lie and how they come into the working CRS."""
        rows = [
            (t.name, t.sha256, t.bounds, t.placement.source_crs, t.placement.height_unit_m)
            for t in self._tiles.values()
        ]
        return text_mark(repr((self.crs, rows)))

    @cached_property
    def survey_mark(self) -> str:
        """A checksum of all the survey is told: tiles, coordinate systems, boundary, who is credited."""
        credits = (self.area.credit, self.borrowed)
        return text_mark(repr((self.content, self.boundary_content, self.intake.working, credits)))

    @property
    def boundary_files(self) -> list[str]:
        """The boundary file, where there is one."""
        return [str(self.boundary_path)] if self.boundary_path else []

    @cached_property
    def boundary_content(self) -> str:
        """A checksum of the boundary in the working CRS; empty without one."""
        return text_mark(layers.read_boundary(self.boundary_path, self.crs).wkb_hex) if self.boundary_path else ""

    @property
    def borrowed(self) -> str:
        """The maps that are borrowed from, as one line of JSON."""
        return section_text(self.borrowing)

    @cached_property
    def borrowed_content(self) -> str:
        """A checksum of their content; that of nothing without one."""
        return content_of(self.borrowing)

    @cached_property
    def parking(self) -> str:
        """Parking places as JSON, a list of latitude and longitude; those of a file are read from it."""
        return json.dumps(find_parking(self.area.parking, self.area_path.parent, self.intake.table))

    @property
    def history_files(self) -> list[str]:
        """The club's history of hours, where the area file names one."""
        history = self.area.effort.history
        return [str((self.area_path.parent / history).resolve())] if history else []

    @cached_property
    def history_content(self) -> str:
        """A checksum of it and of what it names; empty without one.

        Raises
        ------
        InputError
            If it cannot be used.
        """
        return history_content(Path(self.history_files[0]) if self.history_files else None, own_out=self.out)

    @property
    def note_places(self) -> list[str]:
        """The list of places where notes teach most that `tussock calibrate` wrote, where there is one."""
        path = self.out / NOTE_PLACES
        return [str(NOTE_PLACES)] if path.exists() else []

    @property
    def note_places_content(self) -> str:
        """A checksum of it."""
        return text_mark("".join((self.out / path).read_text(encoding="utf-8") for path in self.note_places))

    @property
    def marks_path(self) -> Path:
        """The file beside the area file with what was found on foot; it may be missing."""
        return marks_path(self.area_path)

    @property
    def marks_files(self) -> list[str]:
        """That file, where it is there: an area without marks that moves to another folder is not composed again."""
        return [str(self.marks_path)] if self.marks_path.exists() else []

    @property
    def done_content(self) -> str:
        """A checksum of what need not be looked at any more."""
        return text_mark(" ".join(sorted(done_ids(read_marks(self.marks_path, self.crs)))))

    @property
    def marks_content(self) -> str:
        """A checksum of the marks on features, which decide how the draft is composed; empty without any."""
        return marks_content(self.marks_path, self.crs)

    @property
    def page_content(self) -> str:
        """A checksum of what the page shows and no rule makes: the calibration with its plot, what is done so far."""
        progress = self.out / "fieldwork" / "progress.json"
        shown = [*map(Path, self.calibration_files), *([progress] if progress.exists() else [])]
        return text_mark("".join(map(sha256_of, shown)))

    @property
    def calibration_files(self) -> list[str]:
        """The limits of a calibration and its plot, those that are there."""
        paths = (calibration_path(self.area_path), self.out / "report" / "calibration.png")
        return [str(path) for path in paths if path.exists()]

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

    @cached_property
    def summary(self) -> dict[str, object]:
        """The plan in words and numbers, for `work/plan.json` and the manifest; no path of this machine in it."""
        return {
            "area": self.area.model_dump(mode="json"),
            "working_crs": {"crs": self.crs, "name": self.intake.working.name, "reason": self.intake.working.reason},
            "block_m": self.flow.block_m,
            "blocks": self.block_names,
            "field_m": FIELD_M,
            "fields": {name: field.core for name, field in self.fields.items()},
            "tiles": [
                {
                    "name": name,
                    "file": Path(tile.path).name,
                    "points": self.points_path(name),
                    "sha256": tile.sha256,
                    "returns": tile.n_points,
                }
                for name, tile in self._tiles.items()
            ],
        }

    @cached_property
    def text(self) -> str:
        """The same as the text of `work/plan.json`."""
        return json.dumps(self.summary, indent=1, sort_keys=True, ensure_ascii=False) + "\n"

    @cached_property
    def mark(self) -> str:
        """A checksum of it."""
        return text_mark(self.text)


def calibration_path(area_path: Path, /) -> Path:
    """The file beside the area file that `tussock calibrate` writes and later runs of the area use."""
    return area_path.with_name(f"{area_path.stem}.calibration.json")


def limits_in_words(limits: Sequence[float], /) -> str:
    """The densities where 406, 408 and 410 begin, as they are named to a mapper."""
    slow, walk, fight = (f"{limit:.3g}" for limit in limits)
    return f"{slow}, {walk} and {fight}"


def _calibrated(area: Area, area_path: Path) -> tuple[Area, str]:
    """The area with the band limits of its calibration, where there is one that counts, and what is to be said of it.

    A calibration counts as long as the area file gives the limits it started from. Who writes others afterwards means
    them: then the area file wins.
    """
    path = calibration_path(area_path)
    if not path.exists():
        return area, ""
    written = [getattr(area.expert.vegetation, name) for name in CALIBRATED]
    try:
        content = read_json(path)
        fitted = {name: content[name] for name in CALIBRATED}
        started_from = [float(limit) for limit in cast("list[float]", content["started_from"])]
        vegetation = VegetationSettings.model_validate(area.expert.vegetation.model_dump() | fitted)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SettingsError(
            f"{path}: is not a calibration; make it again with 'tussock calibrate' or remove it"
        ) from error
    if started_from != written:
        return area, (
            f"{path.name} is not used: it started from the limits {limits_in_words(started_from)}, and the area file "
            f"now gives {limits_in_words(written)} m2/m3. "
            "Run 'tussock calibrate' again to weigh the notes against these."
        )
    expert = area.expert.model_copy(update={"vegetation": vegetation})
    found = [getattr(vegetation, name) for name in CALIBRATED]
    return area.model_copy(update={"expert": expert}), (
        f"406, 408 and 410 begin at {limits_in_words(found)} m2/m3, by {path.name} "
        f"(without it {limits_in_words(written)})."
    )


def make_plan(area_path: Path, /) -> Plan:
    """The plan of an area, checked as far as headers allow; writes nothing.

    Raises
    ------
    InputError
        If the area file, a tile or the boundary cannot be used.
    """
    area_path = area_path.resolve()
    area, limits_note = _calibrated(load_area(area_path), area_path)
    return plan_of(area, area_path, limits_note=limits_note)


def plan_of(area: Area, area_path: Path, /, *, limits_note: str = "", advice: str = IN_THE_AREA_FILE) -> Plan:
    """The plan of an area whose file is read already, or has yet to be written at that whole path; writes nothing.

    Parameters
    ----------
    advice : what a mapper is told to do when there are no tiles

    Raises
    ------
    InputError
        As `make_plan`.
    """
    out = (area_path.parent / area.out).resolve()
    intake = take_in(
        find_tiles(area.tiles, area_path.parent, written_by=out / "points", advice=advice),
        given_crs=area.crs,
        crs_overrides=area.crs_overrides,
        given_height_unit=area.height_unit,
        height_unit_overrides=area.height_unit_overrides,
        known_checksums=checksums.recall(out / CHECKSUMS),
        known_bounds=_known_bounds(out),
    )
    boundary = (area_path.parent / area.boundary).resolve() if area.boundary else None
    borrowing = find_sources(area.borrow, area_path.parent)
    plan = Plan(area_path, area, out, intake, boundary, borrowing, limits_note)
    if boundary:
        _check_boundary(plan, boundary)
    # Read now: a mapper is told before the long work begins that the place cannot be right.
    _ = plan.parking
    return plan


def plan_run(area_path: Path, /) -> Plan:
    """The plan of a run: its folder is ready and held for this process, and the plan is written down there.

    Raises
    ------
    InputError
        As `make_plan`, or if the club's history cannot be used, the output folder cannot be written to or another run
        is at work there.
    """
    plan = make_plan(area_path)
    _ = plan.history_content  # refused before anything is made, not after an hour
    hold_folder(plan.out)
    check_writable(plan.out / "work")
    if note := take_in_edits(plan.out, plan.marks_path, plan.crs):
        plan = replace(plan, edits_note=note)
    checksums.remember(plan.out / CHECKSUMS, {mark_of(Path(t.path)): t.sha256 for t in plan.intake.table.tiles})
    read_by = _read_by()
    checksums.remember(
        plan.out / PLACES, {f"{mark}|{read_by}": told for mark, told in plan.intake.bounds_of_files.items()}
    )
    write_text(plan.out / "work" / "plan.json", plan.text)
    forget_lost(plan.out)
    with pieces_of(plan.out / CODE, how_read()) as remembered:
        read_package(remembered)
    return plan


def _known_bounds(out: Path) -> dict[str, str]:
    """Where the points of tiles are, as far as an earlier run with this code looked."""
    known = checksums.recall(out / PLACES)
    read_by = f"|{_read_by()}" if known else ""
    return {mark.removesuffix(read_by): told for mark, told in known.items() if mark.endswith(read_by)}


def _read_by() -> str:
    """A mark of the code that looks at the points of a tile."""
    return fingerprint("pipeline.files.las.tiles")


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


_HANDED_OVER: dict[Path, Plan] = {}
"""Plans for Snakefiles that this process reads, by area file."""


@contextmanager
def handed_over(plan: Plan, /) -> Iterator[None]:
    """While this lasts, a Snakefile of that area which is read in this process gets this plan and makes none itself.

    Reading the headers of all tiles a second time would double the seconds and the memory that planning takes.
    """
    _HANDED_OVER[plan.area_path] = plan
    try:
        yield
    finally:
        del _HANDED_OVER[plan.area_path]


def plan_or_exit(area_path: str, /, *, is_job: bool = False) -> Plan:
    """The plan for the Snakefile: a problem ends Snakemake with its message and no traceback.

    Parameters
    ----------
    is_job : bool
        Whether this is a process that Snakemake started for one job. It reads the Snakefile again, in a folder that
        the Snakemake which started it holds, and writes nothing but what its job makes.
    """
    if (handed := _HANDED_OVER.get(Path(area_path))) and not is_job:
        return handed
    try:
        plan = make_plan(Path(area_path)) if is_job else plan_run(Path(area_path))
        if plan.edits_note:
            print(plan.edits_note, file=sys.stderr)
        return plan
    except InputError as error:
        sys.exit(f"error: {error}")
