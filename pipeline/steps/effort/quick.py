"""`tussock estimate --quick`: the hours of an area from the headers of its tiles, in seconds; writes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import shapely

from pipeline.effort.age import Age, age_of
from pipeline.effort.estimate import Estimate
from pipeline.effort.quick import QUICK_PACE, grades_by_density, ordinary_ground, ranges_and_sides, rise_of_headers
from pipeline.effort.rates.gain import grades_of
from pipeline.effort.rates.measuring import Cells
from pipeline.errors import InputError
from pipeline.files import arrays, layers
from pipeline.files.intake import Intake, take_in
from pipeline.intake.find_tiles import find_tiles
from pipeline.settings import Area, load_area
from pipeline.steps.effort.effort import terms_of


class _NotAsked(dict[str, str]):
    """Stands for the checksum of every tile: the quick look reads headers only, and no tile to its end."""

    def get(self, _key: str, _default: str | None = None) -> str:  # type: ignore[override]
        return "not asked"


def quick_look(area_path: Path, /) -> tuple[Estimate, str]:
    """The estimate of an area from headers alone, and what it was told from in words.

    Where a survey of the area was written down by a draft (`report/survey.json`), its slope, its verdicts and its days
    of flight are used; else they are guessed from the headers.

    Raises
    ------
    InputError
        If the area file, a tile or the boundary cannot be used.
    """
    area_path = area_path.resolve()
    area = load_area(area_path)
    out = (area_path.parent / area.out).resolve()
    intake = take_in(
        find_tiles(area.tiles, area_path.parent, written_by=out / "points"),
        given_crs=area.crs,
        crs_overrides=area.crs_overrides,
        given_height_unit=area.height_unit,
        height_unit_overrides=area.height_unit_overrides,
        known_checksums=_NotAsked(),
    )
    area_km2 = _ground_m2(area, area_path, intake) / 1e6
    density = intake.table.n_points / max(1.0, sum(tile.area_m2 for tile in intake.table.tiles))
    record = _survey_of(out)
    rise = _rise(record, intake)
    estimate = Estimate(
        name=area.name,
        crs=intake.table.crs,
        scale=area.scale,
        currency=area.effort.currency,
        cells=Cells(np.zeros((1, 2), np.int64), np.array([area_km2 * 1e6])),
        measures=ordinary_ground(area_km2, rise=rise, interval_m=area.contour_interval_m),
        grades=grades_of(record) if record else grades_by_density(density),
        pace=QUICK_PACE,
        terms=terms_of(area.effort),
        age=age_of(record, map_date=area.map_date) if record else Age("unknown", None, None, None),
    )
    source = "the survey in report/survey.json" if record else "the headers of the tiles"
    return estimate, f"Told from {source}: {density:.1f} returns a square metre, slope about {rise:.0%}."


def _ground_m2(area: Area, area_path: Path, intake: Intake) -> float:
    """Ground within the frames of the tiles and within the boundary."""
    ground = shapely.union_all([shapely.box(*tile.bounds) for tile in intake.table.tiles])
    if area.boundary:
        boundary = (area_path.parent / area.boundary).resolve()
        ground = shapely.intersection(ground, layers.read_boundary(boundary, intake.table.crs))
        if ground.is_empty:
            raise InputError(f"{boundary}: the boundary lies outside the tiles; check both coordinate systems")
    return float(ground.area)


def _survey_of(out: Path) -> Mapping[str, object]:
    """The survey that a draft wrote down; empty where there is none that can be read."""
    try:
        return arrays.read_json(out / "report" / "survey.json")
    except (OSError, ValueError, TypeError):
        return {}


def _rise(record: Mapping[str, object], intake: Intake) -> float:
    """Rise over run as the survey found it, or guessed from the heights in the headers."""
    usual = record.get("usual_slope")
    if isinstance(usual, float):
        return usual
    tiles = intake.table.tiles
    told = [
        (header, tile.placement.height_unit_m, float(np.sqrt(tile.area_m2)))
        for header, tile in zip(intake.headers, tiles, strict=True)
    ]
    return rise_of_headers(ranges_and_sides(told))
