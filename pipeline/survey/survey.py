"""The survey: what lidar there is, and whether it is good enough for each kind of feature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import SurveyError
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.tile_table import Tile, TileTable
from pipeline.intake.working_crs import WorkingCrs
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.returns.asprs import BUILDING
from pipeline.returns.cloud import Cloud
from pipeline.survey.boulder_recall import RecallTable
from pipeline.survey.cautions import cautions_of
from pipeline.survey.extent import covered_ground, measure_extent
from pipeline.survey.judge import judge
from pipeline.survey.measure import measure_density, measure_flight, share_by_class
from pipeline.survey.promises import Table
from pipeline.survey.record import Survey
from pipeline.survey.sample.sample import Sample, sample_of, usable_within
from pipeline.survey.sample.seen import SeenCells
from pipeline.survey.squares import squares_from
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
    most_read: int | None = None,
    remembered: Remembered = nothing_remembered,
) -> Survey:
    """What a survey holds and what can be made of it.

    Parameters
    ----------
    headers : sequence of TileHeader
        Of the tiles, in any order.
    samples : mapping
        Tile name to points of it in the working CRS, all or some; what is remembered of a tile is not asked for.
    boundary : polygon or None
        Outline of the area in the working CRS; None for the tiles' own extent.
    boulder_recall : RecallTable or None
        What share of smooth boulders is found, above which none is promised; None for no such bound.
    promises : mapping or None
        What share of each kind of feature to expect, by `pipeline.survey.promises`; None to judge by returns alone.
    leaf_days : LeafDays
        When broadleaved trees come into leaf and are bare again, to tell the season from the days of flight.
    most_read : int or None
        Points that `samples` hold of a tile at most; None for all.
    remembered : Remembered
        What the samples of earlier runs told, by the content of the tile and where it lies.

    Raises
    ------
    SurveyError
        If the boundary lies outside the tiles, or no point of the tiles can be used.
    """
    check_boundary(boundary, table)
    tiles = _Tiles([tile for tile in table.tiles if tile.name in samples], samples, most_read, remembered)
    found = tiles.told()
    n_read = sum(sample.n_read for sample in found)
    if not any(sample.n_usable for sample in found):
        raise SurveyError(f"{table.tiles[0].path}: every point is withheld, synthetic or noise; nothing can be drawn.")
    is_whole = n_read >= table.n_points
    n_pulses = sum(sample.n_pulses for sample in found)
    extent = measure_extent(table, boundary, n_pulses=n_pulses, seen_at=tiles.seen_at if is_whole else None)
    density = measure_density(found, per_m2=table.n_points / n_read / extent.covered_m2)
    read_ratio = min(1.0, n_read / table.n_points)
    squares = squares_from([sample.squares for sample in found], read_ratio=read_ratio)
    classes = share_by_class(found)
    flight = measure_flight(headers, found, lat_deg=_latitude_deg(table), leaf_days=leaf_days)
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
        cautions=working.cautions + cautions_of(headers, found, flight),
        verdicts=judge(
            density,
            season=flight.season,
            boulder_recall=boulder_recall,
            squares=squares,
            promises=promises,
            has_buildings=classes.get(BUILDING, 0) > 0,
        ),
    )


class _Tiles:
    """The tiles that a survey reads, each read once and only if something of it is not remembered."""

    def __init__(
        self, tiles: Sequence[Tile], samples: Mapping[str, Cloud], most_read: int | None, remembered: Remembered
    ) -> None:
        self.tiles, self.samples, self.remembered = tiles, samples, remembered
        asked = [tile.n_points if most_read is None else min(tile.n_points, most_read) for tile in tiles]
        self.known_by = [
            repr((tile.sha256, tile.bounds, tile.placement, n)) for tile, n in zip(tiles, asked, strict=True)
        ]
        self.usable: dict[int, Cloud] = {}

    def told(self) -> list[Sample]:
        """The sample of each."""
        made_from = [known_by.encode() for known_by in self.known_by]
        return list(map(Sample.from_bytes, self.remembered("sample of a tile", made_from, self._sampled)))

    def seen_at(self, side_m: float) -> list[SeenCells]:
        """The cells of each that hold a return, in cells of that side."""
        made_from = [repr((known_by, side_m)).encode() for known_by in self.known_by]
        found = self.remembered(
            "seen cells of a tile",
            made_from,
            lambda numbers: [SeenCells.of(self._usable(number), side_m).to_bytes() for number in numbers],
        )
        return list(map(SeenCells.from_bytes, found))

    def _sampled(self, numbers: list[int]) -> list[bytes]:
        return [self._sample(number).to_bytes() for number in numbers]

    def _sample(self, number: int) -> Sample:
        tile = self.tiles[number]
        read = self.samples[tile.name]
        self.usable[number] = usable_within(read, tile.bounds)
        return sample_of(read, self.usable[number])

    def _usable(self, number: int) -> Cloud:
        """What counts of a tile; read again where its sample was remembered."""
        tile = self.tiles[number]
        if number not in self.usable:
            self.usable[number] = usable_within(self.samples[tile.name], tile.bounds)
        return self.usable[number]


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
