"""The page: one HTML file of everything that a draft knows, to show to the club and to carry in the forest."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import cast

from pipeline.advice.never import what_is_never_shown
from pipeline.advice.refreshed import sentences
from pipeline.files import arrays, layers, rasters
from pipeline.files.disk import atomic
from pipeline.files.tables import read_table
from pipeline.norm.symbols import norm_table
from pipeline.report.changes import before_of, changes_of
from pipeline.report.grounds import GROUNDS, pictures_of_ground
from pipeline.report.lists import LEFT_OUT, checks_of, effort_of, plain, rows_of
from pipeline.report.looks import Json
from pipeline.report.page import Parts, page_of
from pipeline.report.pictures import Raster, uri_of
from pipeline.report.place import Place, place_of_page
from pipeline.report.quality import quality_of
from pipeline.report.shapes import features_of
from pipeline.report.told import Told, about_of
from pipeline.shipped import MAP_LIBRARY, PAGE_PARTS
from pipeline.steps.area.sheet import survey_line
from pipeline.words.language import Language

LISTS = {"candidate": "check_list.csv", "disagreement": "disagreements.csv"}
"""Lists of places to look at: the kind of their rows, where they do not say it themselves -> file."""
NOTES = {"Ground": "ground.txt", "Running water": "running_water.txt", "Base level": "base_level.txt"}
"""Reports in words that the page repeats: heading -> file."""


def report(
    *,
    draft: Path,
    outline: Path,
    reports: Path,
    ground: Path,
    fieldwork: Path,
    out: Path,
    name: str,
    map_date: str,
    scale: int,
    interval_m: float,
    calibration: list[Path],
    changes: Path | None = None,
    before: Path | None = None,
    refreshed: Path | None = None,
) -> None:
    """Put the page together from a draft; what is missing among reports, lists and rasters is not shown.

    Parameters
    ----------
    reports, fieldwork, ground : folders of the run: `report`, `fieldwork`, `rasters`
    calibration : the limits that a calibration found and its plot, those that are there
    changes, before : what a refresh found, and the earlier map in the frame of the new survey, GeoPackages
    refreshed : the summary of that refresh, `refresh.json`
    """
    area, crs = layers.read_outline(outline)
    place = place_of_page(area, crs=crs, map_date=datetime.date.fromisoformat(map_date))
    symbols = norm_table()
    grounds = _grounds(ground)
    blocks: dict[str, Json] = {
        "about": about_of(_told(reports, name, scale, interval_m, map_date), place, symbols),
        "place": {"width_m": place.width_m, "height_m": place.height_m, "degrees": cast("Json", place.degrees_by())},
        "features": features_of(
            {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)}, place, symbols
        ),
        "pictures": pictures_of_ground(grounds, area, place),
        "left_out": rows_of(read_table(reports / "left_out.csv"), place, columns=LEFT_OUT),
        "checks": _checks(fieldwork, place),
    }
    if "ground_support" in grounds:
        blocks["quality"] = quality_of(grounds["ground_support"], place)
    effort = _json(fieldwork / "effort.json")
    if effort:
        blocks["effort"] = effort_of(effort, place)
    progress = _json(fieldwork / "progress.json")
    if progress:
        blocks["progress"] = plain(progress)
    if changes:
        listed = read_table(fieldwork / "changes_list.csv")
        told = sentences(arrays.read_json(refreshed)) if refreshed else []
        blocks["changes"] = changes_of(layers.read_layer(changes, "changes"), listed, place, told=told)
    if before:
        blocks["before"] = before_of(layers.read_features(before), place, symbols)
    if calibration:
        blocks["calibration"] = _calibration(calibration)
    atomic.write_text(out, page_of(name, blocks, Parts(_texts(PAGE_PARTS), _texts(MAP_LIBRARY))))


def _checks(folder: Path, place: Place) -> list[Json]:
    """The places of the first list there is: the later ones are parts of it."""
    for kind, file in LISTS.items():
        if (folder / file).exists():
            return checks_of(read_table(folder / file), place, kind=kind)
    return []


def _grounds(folder: Path) -> dict[str, Raster]:
    """The rasters that pictures are made from, no finer than is shown: the overviews in the files make that quick."""
    found = {}
    for ground in GROUNDS.values():
        path = folder / f"{ground.raster}.tif"
        if path.exists():
            found[ground.raster] = rasters.read_thinned(path, largest_cells=ground.most_pixels)
    return found


def _told(reports: Path, name: str, scale: int, interval_m: float, map_date: str) -> Told:
    paths = [reports / file for file in ("survey.json", "leaf_season.json", "borrowed.json")]
    survey, season, borrowed = paths
    made_from = survey_line(survey, season, borrowed, Language("en")) if all(path.exists() for path in paths) else ""
    texts = {heading: reports / file for heading, file in NOTES.items()}
    notes = {heading: path.read_text(encoding="utf-8") for heading, path in texts.items() if path.exists()}
    return Told(
        name, scale, interval_m, map_date, what_is_never_shown(), made_from, _json(survey), _json(season), notes
    )


def _json(path: Path) -> dict[str, object]:
    return arrays.read_json(path) if path.exists() else {}


def _calibration(files: list[Path]) -> dict[str, Json]:
    """The limits and how well they agree with the notes, and the plot as a picture inside the page."""
    told: dict[str, Json] = {}
    for path in files:
        if path.suffix == ".json":
            told |= cast("dict[str, Json]", plain(arrays.read_json(path)))
        else:
            told["plot"] = uri_of("png", path.read_bytes())
    return told


def _texts(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir() if path.is_file()}
