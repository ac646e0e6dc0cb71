"""What to look at on foot, ranked, and walks through it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from rasterio.features import rasterize
from shapely.geometry import MultiPolygon

from pipeline.fieldwork.outings.check import Parking, make_check_list
from pipeline.fieldwork.outings.gpx import check_points_gpx
from pipeline.fieldwork.outings.words import outings_in_words
from pipeline.fieldwork.questions.listed import DEGREES
from pipeline.fieldwork.questions.of_draft import questions_of_draft
from pipeline.fieldwork.questions.of_others import (
    questions_of_disagreements,
    questions_of_note_rows,
    questions_of_notes,
)
from pipeline.fieldwork.walking.ground import Ground, Net, net_of
from pipeline.fieldwork.walking.parking import guess_parking
from pipeline.files import layers, rasters
from pipeline.files.disk import atomic
from pipeline.files.found.marks import read_marks
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.marks.progress import done_ids
from pipeline.norm.symbols import norm_table
from pipeline.settings import VegetationSettings
from pipeline.vegetation.calibration.askable import askable_by_draft
from pipeline.vegetation.calibration.next_notes import where_notes_teach
from pipeline.vegetation.draft import limits_of
from pipeline.vegetation.running.runnability import DENSITY_SPREAD_RATIO

LEAST_SQUARE_M = 5.0
"""Side of the squares that ways are searched on, in small areas: two strides off the straight line (our choice)."""
MOST_SQUARES = 60_000
"""Squares of the ground at most: 4 km2 in squares of 8 m. Ways among 200 places take a fifth of a second (measured)."""
NOTES_CELL_M = 5.0
"""Side of the cells in which places for notes are looked for: a note is about ground of some 10 m (our choice)."""
MOST_NOTES = 10
"""Places for notes on the list: with a dozen notes a calibration begins to tell (our choice)."""
ROADS = ("502", "503", "504")
"""What a car comes on, the largest first."""
WAYS = ("501", *ROADS, "505", "506", "507", "532")
BARRIERS = ("201", "515", "518", "520", "521", "529")
WATER = ("301", "302", "307")
DRAWN = ("draft", "imported", "confirmed", "moved", "new")


class NoteGround(NamedTuple):
    """The ground that notes on runnability are about: density (m2/m3), its grid, and where it can be asked (bool)."""

    density: Heights
    grid: Grid
    askable: Mask


def check_list(
    *,
    draft: Path,
    disagreements: Path,
    outline: Path,
    bare_earth: Path,
    running_speed: Path,
    understorey: Path,
    name: str,
    parking: str,
    outing_h: float,
    vegetation: VegetationSettings,
    out: Path,
    gpx: Path,
    outings: Path,
    note_places: list[Path],
    slope: Path,
    marks: list[Path],
) -> None:
    """The check list as a table, as GPX and in words.

    Parameters
    ----------
    parking : JSON, a list of latitude, longitude; empty where the mapper gave none
    outing_h : hours of one walk
    note_places : the list that `tussock calibrate` wrote, where there is one
    marks : what was found on foot, one file or none
    """
    area, crs = layers.read_outline(outline)
    table = {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)}
    parts = [
        questions_of_draft(table, symbols=norm_table(), crs=crs),
        questions_of_disagreements(pd.read_csv(disagreements, keep_default_na=False), crs=crs),
        _note_questions(note_places, _note_ground(understorey, slope, area, table), vegetation, crs),
    ]
    asked = gpd.GeoDataFrame(pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True))
    questions = asked[~asked["id"].isin(done_ids(read_marks(marks[0], crs)) if marks else set())].reset_index(drop=True)
    net = _net(table, bare_earth, running_speed)
    found = make_check_list(questions, net, _parking(parking, area, table, crs), outing_h=outing_h)
    atomic.write_text(out, found.rows.drop(columns="geometry").to_csv(index=False, lineterminator="\n"))
    atomic.write_text(gpx, check_points_gpx(found, area=name))
    atomic.write_text(outings, outings_in_words(found, area=name, outing_h=outing_h))


def _note_questions(
    written: list[Path], ground: NoteGround, vegetation: VegetationSettings, crs: str
) -> gpd.GeoDataFrame:
    """The questions about notes: those of a calibration, else where first notes would teach most."""
    if not written:
        return questions_of_notes(_note_places(ground, vegetation))
    return questions_of_note_rows(pd.read_csv(written[0], keep_default_na=False), crs=crs)


def _note_ground(understorey: Path, slope: Path, area: MultiPolygon, table: dict[str, gpd.GeoDataFrame]) -> NoteGround:
    """How dense the forest is, and where it can be asked how it runs."""
    density, grid = rasters.read_coarse(understorey, least_cell_m=NOTES_CELL_M)
    steep, _ = rasters.read_coarse(slope, least_cell_m=NOTES_CELL_M)
    return NoteGround(density, grid, askable_by_draft(density, grid, area, table.values(), slope_deg=steep))


def _note_places(ground: NoteGround, vegetation: VegetationSettings) -> gpd.GeoDataFrame:
    """Where notes on runnability would teach most, no notes being at hand."""
    return where_notes_teach(
        ground.density,
        ground.grid,
        np.empty((0, 2)),
        limits=limits_of(vegetation),
        spread=DENSITY_SPREAD_RATIO,
        most_places=MOST_NOTES,
        askable=ground.askable,
    )


def _net(table: dict[str, gpd.GeoDataFrame], bare_earth: Path, running_speed: Path) -> Net:
    """The ground as it is walked."""
    whole = rasters.read_grid(bare_earth)
    ground_m2 = whole.rows * whole.cols * whole.cell_m**2
    side_m = max(LEAST_SQUARE_M, float(np.sqrt(ground_m2 / MOST_SQUARES)))
    height, grid = rasters.read_coarse(bare_earth, least_cell_m=side_m)
    share, _ = rasters.read_coarse(running_speed, least_cell_m=side_m)
    ways = _drawn(table, WAYS)
    is_way = (
        rasterize(ways, out_shape=height.shape, transform=grid.transform, all_touched=True).astype(bool)
        if len(ways)
        else np.zeros(height.shape, bool)
    )
    return net_of(Ground(height, share, is_way, grid), _drawn(table, BARRIERS), water=_drawn(table, WATER))


def _drawn(table: dict[str, gpd.GeoDataFrame], numbers: tuple[str, ...]) -> NDArray[np.object_]:
    """Shapes that the map draws with some symbols, in the order of these."""
    of: dict[str, list[object]] = {number: [] for number in numbers}
    for layer in table.values():
        drawn = layer[layer["status"].isin(DRAWN) & layer["symbol"].isin(numbers)] if len(layer) else layer
        for number, shape in zip(drawn["symbol"], drawn.geometry, strict=True):
            of[number].append(shape)
    return np.array([shape for number in numbers for shape in of[number]], object)


def _parking(written: str, area: MultiPolygon, table: dict[str, gpd.GeoDataFrame], crs: str) -> Parking:
    """Parking places that were given, or guessed ones."""
    given = np.array(json.loads(written), np.float64).reshape(-1, 2)
    if len(given):
        places = gpd.GeoSeries(gpd.points_from_xy(given[:, 1], given[:, 0]), crs=DEGREES).to_crs(crs)
        return Parking(np.column_stack([places.x, places.y]), True, "Walks start at the parking place that you named.")
    places_found, words = guess_parking(area, list(_drawn(table, ROADS)))
    return Parking(places_found, False, words)
