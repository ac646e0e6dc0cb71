"""The survey: what lidar there is, and whether it is good enough for each kind of feature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import SurveyError
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.tile_table import TileTable
from pipeline.intake.working_crs import WorkingCrs
from pipeline.returns.asprs import BUILDING
from pipeline.returns.cloud import Cloud
from pipeline.survey.boulder_recall import RecallTable
from pipeline.survey.cautions import cautions_of
from pipeline.survey.extent import covered_ground, measure_extent
from pipeline.survey.judge import judge
from pipeline.survey.measure import measure_density, measure_flight, share_by_class, usable_within
from pipeline.survey.promises import Table
from pipeline.survey.record import Survey
from pipeline.survey.squares import squares_of
from pipeline.survey.word import coordinates_in_words


def survey_tiles(
    table: TileTable,
    working: WorkingCrs,
    headers: Sequence[TileHeader],
    samples: Mapping[str, Cloud],
    /,
    *,
    boundary: BaseGeometry | None = None,
    boulder_recall: RecallTable | None = None,
    promises: Mapping[str, Table] | None = None,
    leaf_days: LeafDays,
) -> Survey:
    """What a survey holds and what can be made of it.

    Parameters
    ----------
    headers : sequence of TileHeader
        Of the tiles, in any order.
    samples : mapping
        Tile name to points of it in the working CRS, all or some.
    boundary : polygon or None
        Outline of the area in the working CRS; None for the tiles' own extent.
    boulder_recall : RecallTable or None
        What share of smooth boulders is found, above which none is promised; None for no such bound.
    promises : mapping or None
        What share of each kind of feature to expect, by `pipeline.survey.promises`; None to judge by returns alone.
    leaf_days : LeafDays
        When broadleaved trees come into leaf and are bare again, to tell the season from the days of flight.

    Raises
    ------
    SurveyError
        If the boundary lies outside the tiles, or no point of the tiles can be used.
    """
    check_boundary(boundary, table)
    clouds = [usable_within(samples[tile.name], tile.bounds) for tile in table.tiles if tile.name in samples]
    n_read = sum(map(len, samples.values()))
    if not any(map(len, clouds)):
        raise SurveyError(f"{table.tiles[0].path}: every point is withheld, synthetic or noise; nothing can be drawn.")
    is_whole = n_read >= table.n_points
    extent = measure_extent(table, clouds if is_whole else None, boundary)
    density = measure_density(clouds, per_m2=table.n_points / n_read / extent.covered_m2)
    read_ratio = min(1.0, n_read / table.n_points)
    squares = squares_of(clouds, read_ratio=read_ratio)
    classes = share_by_class(list(samples.values()))
    flight = measure_flight(headers, clouds, lat_deg=_latitude_deg(table), leaf_days=leaf_days)
    return Survey(
        n_tiles=len(table.tiles),
        n_points=table.n_points,
        read_ratio=read_ratio,
        coordinates=coordinates_in_words(working, headers, table),
        extent=extent,
        density=density,
        flight=flight,
        share_by_class=classes,
        ground_kinds=squares.share_by_kind,
        usual_slope=squares.usual_slope,
        cautions=working.cautions + cautions_of(headers, clouds, flight, n_read=n_read),
        verdicts=judge(
            density,
            season=flight.season,
            boulder_recall=boulder_recall,
            squares=squares,
            promises=promises,
            has_buildings=classes.get(BUILDING, 0) > 0,
        ),
    )


def check_boundary(boundary: BaseGeometry | None, table: TileTable, /) -> None:
    """Refuse a boundary that lies outside the tiles.

    Raises
    ------
    SurveyError
        Saying how far away it is.
    """
    if boundary is None:
        return
    tiles = covered_ground(table)
    if boundary.is_empty or shapely.intersection(boundary, tiles).area == 0:
        away = "" if boundary.is_empty else f", {shapely.distance(boundary, tiles) / 1000:,.1f} km away"
        raise SurveyError(
            f"the boundary lies outside the tiles{away}. Choose tiles that cover it, or check the coordinate system "
            "of the boundary file."
        )


def _latitude_deg(table: TileTable) -> float:
    west, south, east, north = table.bounds
    to_degrees = pyproj.Transformer.from_crs(table.crs, "EPSG:4326", always_xy=True)
    return float(to_degrees.transform((west + east) / 2, (south + north) / 2)[1])
