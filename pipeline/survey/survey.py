"""The survey: what lidar there is, and whether it is good enough for each kind of feature, in plain words."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Literal

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from pipeline.errors import SurveyError
from pipeline.intake.coordinates import WorkingCrs, unit_in_words
from pipeline.intake.leaf_calendar import Season, season_of
from pipeline.intake.tiles import TileHeader, TileTable
from pipeline.lattice.grid import Bounds, Mask
from pipeline.points.duplicates import find_duplicates
from pipeline.points.flight_lines import LineOffset, line_offsets
from pipeline.returns import asprs
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders.recall import RecallTable
from pipeline.settings import Grades, SurveySettings
from pipeline.survey.near_ground import GROUND_CELL_M, GROUND_TOLERANCE_M, above_lowest, near_ground

LEAST_OVERLAP_CELLS = 50
"""Cells with ground returns of two flight lines from which their offset is told: their median is then good to about 2
cm in forest."""
LARGE_OFFSET_M = 0.1
"""Offset of flight lines worth a caution: the USGS Lidar Base Specification allows 0.08 m between swaths (from
memory)."""
VOID_SPACINGS = 4.0
"""Side of an empty cell that counts as a hole, in pulse spacings: 4 is the data void of the USGS Lidar Base
Specification."""
CONTOURS_GROUND_PER_M2 = (0.5, 0.1, 0.02)
"""Ground returns for good, usable, poor contours: spacings of 1.4, 3 and 7 m against contours that lie 10 m apart on
a slope of 1 in 2. Common practice, no source."""
LANDFORM_GROUND_PER_M2 = (2.0, 0.5, 0.1)
"""The same for knolls, pits and re-entrants: a knoll 5 m across then has 40, 10 and 2 returns."""
OPEN_LAND_PULSES_PER_M2 = (2.0, 0.5, 0.1)
"""Pulses for good, usable, poor open land: gaps of 5 m then have 50, 12 and 2. Common practice."""
RUNNABILITY_GROUND_PER_M2 = (2.0, 0.7, 0.2)
"""Returns from the ground, as a measure of the pulses that crossed the running layer: a cell of 5 m has 50, 17 and 5
of them. Common practice."""
LEAST_RETURNS_PER_PULSE = 1.05
"""Returns a pulse below which undergrowth cannot be told: forest gives 1.3 to 2.5. Common practice."""
BOULDER_WIDTH_M = 2.0
"""The boulder that is meant when boulders are judged: 1 m high, 2 m wide."""
BOULDER_RETURNS = (12.0, 6.0, 2.0)
"""Returns on such a boulder for good, usable, poor: fewer than 2 cannot be told from noise."""
BOULDER_RECALL = (0.75, 0.5, 0.2)
"""Share of the boulders of 1 to 2 m to be found for good, usable, poor: three in four leave a mapper few to add,
fewer than half must be looked for everywhere (common practice, no source)."""
CLIFFS_GROUND_PER_M2 = (4.0, 1.0, 0.3)
"""Ground returns for cliffs: spacings of 0.5, 1 and 1.8 m against a lip and a foot 1 m apart."""
PATHS_GROUND_PER_M2 = (8.0, 4.0, 1.0)
"""Ground returns for paths: as many lie on each metre of a path 1 m wide. Common practice."""
RIDES_PULSES_PER_M2 = (2.0, 0.5, 0.1)
"""Pulses for rides: gaps in the canopy some 5 m wide. Common practice, no source."""
WATER_PULSES_PER_M2 = (4.0, 1.0, 0.2)
"""Pulses for the flatness and the silence of water. Common practice, no source."""
LEAST_WATER_RATIO = 0.001
"""Share of water returns among pulses from which the producer is believed to have marked the lakes."""
BUILDINGS_PULSES_PER_M2 = (4.0, 1.0, 0.3)
"""Pulses for buildings: a hut of 4 m has 64, 16 and 5 returns. Common practice."""

Grade = Literal["good", "usable", "poor", "not possible"]

_CLASS_NAMES = {
    asprs.NEVER_CLASSIFIED: "never classified",
    asprs.UNCLASSIFIED: "unclassified",
    asprs.GROUND: "ground",
    asprs.LOW_VEGETATION: "low vegetation",
    asprs.MEDIUM_VEGETATION: "medium vegetation",
    asprs.HIGH_VEGETATION: "high vegetation",
    asprs.BUILDING: "building",
    asprs.LOW_NOISE: "low noise",
    asprs.KEY_POINT: "key points",
    asprs.WATER: "water",
    asprs.OVERLAP: "overlap",
    asprs.WIRE: "wires",
    asprs.BRIDGE: "bridge",
    asprs.HIGH_NOISE: "high noise",
}
# GPS time begins here; adjusted time is that less a thousand million seconds (LAS 1.4 R15, table 7).
_GPS_EPOCH = datetime.datetime(1980, 1, 6)
_ADJUSTED_S = 1e9
_WEEK_S = 7 * 24 * 3600.0
# Adjusted times stay below this until 2033, full ones have been above it since 2002 (arithmetic).
_FULL_TIME_S = 7e8
_WORTH_SAYING = 0.01
_TILE_GAP_M = 0.1
# Pulses per square metre by quality level (USGS, Lidar Base Specification 2025 rev. A, table of quality levels).
_USGS_LEVELS = ((8.0, "1"), (2.0, "2"), (0.5, "3"))
# A survey of 7.9 pulses is one of 8 to a mapper.
_NEARLY = 0.98


@dataclass(frozen=True)
class Extent:
    """Ground the survey covers.

    Attributes
    ----------
    covered_m2 : float
        Ground within the tiles, overlaps once, holes left out where they are known.
    outside_m2 : float
        Boundary that no tile covers.
    holes_m2, largest_hole_m2 : float or None
        Empty ground within tiles and boundary, all and the largest piece; None where only a sample was read.
    """

    covered_m2: float
    outside_m2: float
    holes_m2: float | None
    largest_hole_m2: float | None


@dataclass(frozen=True)
class Density:
    """How closely the ground was sampled.

    Attributes
    ----------
    pulses_per_m2, returns_per_pulse : float
    ground_per_m2 : float
        Returns near the lowest surface: our own estimate, in forest good to about a tenth.
    class_ground_per_m2, class_water_per_m2 : float
        Returns the producer calls ground, or water; 0 without any.
    """

    pulses_per_m2: float
    returns_per_pulse: float
    ground_per_m2: float
    class_ground_per_m2: float
    class_water_per_m2: float


@dataclass(frozen=True)
class Flight:
    """When and how it was flown.

    Attributes
    ----------
    days : tuple of date
        UTC days with returns; empty where they cannot be told.
    note : str
        What else is to be said about the times, "" for nothing.
    season : Season
        Of broadleaved trees.
    n_lines : int
        Number of point source IDs.
    worst_offset : LineOffset or None
        The two lines that differ most in height where they overlap; None where none share enough ground.
    """

    days: tuple[datetime.date, ...]
    note: str
    season: Season
    n_lines: int
    worst_offset: LineOffset | None


@dataclass(frozen=True)
class Verdict:
    """How well one kind of feature can be found, and why."""

    feature: str
    grade: Grade
    reason: str


@dataclass(frozen=True)
class Survey:
    """What there is and what can be made of it.

    Attributes
    ----------
    n_tiles, n_points : int
    read_ratio : float
        Share of the points that was read for it.
    coordinates : tuple of str
        CRS and units in words.
    share_by_class : mapping
        ASPRS class to its share of the points.
    cautions : tuple of str
    verdicts : tuple of Verdict
    """

    n_tiles: int
    n_points: int
    read_ratio: float
    coordinates: tuple[str, ...]
    extent: Extent
    density: Density
    flight: Flight
    share_by_class: Mapping[int, float]
    cautions: tuple[str, ...]
    verdicts: tuple[Verdict, ...]


def survey_tiles(
    table: TileTable,
    working: WorkingCrs,
    headers: Sequence[TileHeader],
    samples: Mapping[str, Cloud],
    /,
    *,
    boundary: BaseGeometry | None = None,
    boulder_recall: RecallTable | None = None,
    settings: SurveySettings,
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
        What share of boulders to expect; None to judge by the returns a boulder would get.

    Raises
    ------
    SurveyError
        If the boundary lies outside the tiles, or no point of the tiles can be used.
    """
    check_boundary(boundary, table)
    clouds = [_usable_within(samples[tile.name], tile.bounds) for tile in table.tiles if tile.name in samples]
    n_read = sum(map(len, samples.values()))
    if not any(map(len, clouds)):
        raise SurveyError(f"{table.tiles[0].path}: every point is withheld, synthetic or noise; nothing can be drawn.")
    is_whole = n_read >= table.n_points
    extent = _measure_extent(table, clouds if is_whole else None, boundary)
    density = _measure_density(clouds, table.n_points / n_read / extent.covered_m2)
    flight = _measure_flight(headers, clouds, lat_deg=_latitude_deg(table), settings=settings)
    return Survey(
        n_tiles=len(table.tiles),
        n_points=table.n_points,
        read_ratio=min(1.0, n_read / table.n_points),
        coordinates=_coordinates_in_words(working, headers, table),
        extent=extent,
        density=density,
        flight=flight,
        share_by_class=_shares(list(samples.values())),
        cautions=working.cautions + _cautions(headers, clouds, n_read) + _stripes(flight),
        verdicts=judge(density, season=flight.season, boulder_recall=boulder_recall),
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
    tiles = _covered(table)
    if boundary.is_empty or shapely.intersection(boundary, tiles).area == 0:
        away = "" if boundary.is_empty else f", {shapely.distance(boundary, tiles) / 1000:,.1f} km away"
        raise SurveyError(
            f"the boundary lies outside the tiles{away}. Choose tiles that cover it, or check the coordinate system "
            "of the boundary file."
        )


def _covered(table: TileTable) -> BaseGeometry:
    covered: BaseGeometry = shapely.union_all([shapely.Polygon(tile.outline) for tile in table.tiles])
    return covered


def _usable_within(cloud: Cloud, bounds: Bounds) -> Cloud:
    """The points that count: usable, no noise, no repeats, no strays outside the tile (by more than a metre)."""
    west, south, east, north = bounds
    inside = (cloud.east > west - 1) & (cloud.east < east + 1) & (cloud.north > south - 1) & (cloud.north < north + 1)
    return cloud.take(inside & cloud.is_usable & ~np.isin(cloud.producer_class, asprs.NOISE) & ~find_duplicates(cloud))


# ---------------------------------------------------------------- extent


def _measure_extent(table: TileTable, clouds: Sequence[Cloud] | None, boundary: BaseGeometry | None) -> Extent:
    """Ground covered and holes; `clouds` are all points, or None where only a sample was read."""
    covered = _covered(table)
    outline = covered if boundary is None else boundary
    outside_m2 = float(shapely.difference(outline, covered).area)
    if clouds is None:
        return Extent(float(covered.area), outside_m2, None, None)
    n_pulses = sum(_n_pulses(cloud) for cloud in clouds)
    # Below a metre, cells would only show the pattern of the scanner.
    side_m = max(1.0, VOID_SPACINGS / math.sqrt(n_pulses / covered.area))
    everywhere, _ = _measure_holes(clouds, covered, covered, side_m)
    holes_m2, largest_m2 = _measure_holes(clouds, covered, outline, side_m)
    return Extent(max(float(covered.area) - everywhere, side_m**2), outside_m2, holes_m2, largest_m2)


def _measure_holes(
    clouds: Sequence[Cloud], covered: BaseGeometry, outline: BaseGeometry, side_m: float
) -> tuple[float, float]:
    """Area of all cells without a return, and of the largest group of them, in square metres.

    Cells cut by the edge of the tiles or of the outline are left out: half a cell is easily empty.
    """
    all_m2, largest_m2 = 0.0, 0.0
    # Tiles end a centimetre before the next begins; that must not part a hole in two.
    closed = covered.buffer(side_m / 2, join_style="mitre").buffer(-side_m / 2, join_style="mitre")
    wanted = shapely.intersection(closed, outline.buffer(_TILE_GAP_M, join_style="mitre")).buffer(-side_m * 0.75)
    for part in shapely.get_parts(closed):
        inner = shapely.intersection(part, wanted)
        if inner.is_empty:
            continue
        seen, east, north = _seen_cells(clouds, inner.bounds, side_m)
        shapely.prepare(inner)
        empty = ~seen & shapely.contains_xy(inner, *np.meshgrid(east, north))
        groups, n_groups = ndimage.label(empty)
        if n_groups:
            all_m2 += float(empty.sum()) * side_m**2
            largest_m2 = max(largest_m2, float(np.bincount(groups.ravel())[1:].max()) * side_m**2)
    return all_m2, largest_m2


def _seen_cells(
    clouds: Sequence[Cloud], bounds: Bounds, side_m: float
) -> tuple[Mask, NDArray[np.float64], NDArray[np.float64]]:
    """(rows, cols) which cells hold a return, with the east of the columns and the north of the rows (upwards)."""
    west, south, east, north = bounds
    first_col, first_row = math.floor(west / side_m), math.floor(south / side_m)
    n_cols, n_rows = math.floor(east / side_m) - first_col + 1, math.floor(north / side_m) - first_row + 1
    seen = np.zeros((n_rows, n_cols), np.bool_)
    for cloud in clouds:
        col = np.floor(cloud.east / side_m).astype(np.int64) - first_col
        row = np.floor(cloud.north / side_m).astype(np.int64) - first_row
        inside = (col >= 0) & (col < n_cols) & (row >= 0) & (row < n_rows)
        seen[row[inside], col[inside]] = True
    cols, rows = np.arange(n_cols, dtype=np.float64), np.arange(n_rows, dtype=np.float64)
    return seen, (cols + first_col + 0.5) * side_m, (rows + first_row + 0.5) * side_m


# ---------------------------------------------------------------- density


def _n_pulses(cloud: Cloud) -> int:
    """Pulses of a cloud: its first returns, or all returns where they carry no numbers."""
    return int((cloud.return_number <= 1).sum())


def _measure_density(clouds: Sequence[Cloud], per_m2: float, /) -> Density:
    """Density of what was read; `per_m2` makes counts of it into densities."""
    n_pulses = sum(_n_pulses(cloud) for cloud in clouds)
    n_ground = sum(int(near_ground(cloud).sum()) for cloud in clouds)
    by_class = sum((np.bincount(cloud.producer_class, minlength=256) for cloud in clouds), np.zeros(256, np.int64))
    return Density(
        pulses_per_m2=n_pulses * per_m2,
        returns_per_pulse=sum(map(len, clouds)) / max(1, n_pulses),
        ground_per_m2=n_ground * per_m2,
        class_ground_per_m2=float(by_class[asprs.GROUND]) * per_m2,
        class_water_per_m2=float(by_class[asprs.WATER]) * per_m2,
    )


# ---------------------------------------------------------------- flight


def _measure_flight(
    headers: Sequence[TileHeader], clouds: Sequence[Cloud], *, lat_deg: float, settings: SurveySettings
) -> Flight:
    """Days, season and flight lines."""
    elevation_m = float(np.median(np.concatenate([cloud.height for cloud in clouds])))
    times = np.concatenate([cloud.gps_time[cloud.gps_time != 0] for cloud in clouds])
    lines = {int(line) for cloud in clouds for line in np.unique(cloud.flight_line)}
    days = flight_days(times)
    if days:
        wrong = [header for header in headers if header.time_kind == "week"]
        note = "the header calls the times seconds of a week, which they cannot be" if wrong else ""
    elif len(times) == 0:
        note = "the points carry no time"
    else:
        note = "the points carry seconds of an unknown week, which cannot be dated"
    season = season_of(days, lat_deg=lat_deg, elevation_m=elevation_m, settings=settings)
    return Flight(days, note, season, len(lines), _worst_offset(clouds))


def _worst_offset(clouds: Sequence[Cloud]) -> LineOffset | None:
    """The two flight lines that differ most in any tile, by the ground both have seen."""
    found: list[LineOffset] = []
    for cloud in clouds:
        if len(np.unique(cloud.flight_line)) > 1:
            above_m, _ = above_lowest(cloud)
            above_m[np.abs(above_m) > GROUND_TOLERANCE_M] = np.nan
            found += line_offsets(cloud, above_m, cell_m=GROUND_CELL_M, least_cells=LEAST_OVERLAP_CELLS)
    return max(found, key=lambda pair: (abs(pair.offset_m), pair), default=None)


def flight_days(times_s: NDArray[np.float64], /) -> tuple[datetime.date, ...]:
    """Days (UTC, but for the leap seconds) of GPS times; none where they are seconds of a week.

    Adjusted times lack 1e9 seconds since 6 January 1980; some files hold the full count (LAS 1.4 R15, table 7).
    """
    if len(times_s) == 0 or times_s.max() <= _WEEK_S:
        return ()
    full_s = np.where(times_s < _FULL_TIME_S, times_s + _ADJUSTED_S, times_s)
    days = np.unique(np.floor(full_s / 86400).astype(np.int64))
    return tuple((_GPS_EPOCH + datetime.timedelta(days=int(day))).date() for day in days)


def _latitude_deg(table: TileTable) -> float:
    west, south, east, north = table.bounds
    to_degrees = pyproj.Transformer.from_crs(table.crs, "EPSG:4326", always_xy=True)
    return float(to_degrees.transform((west + east) / 2, (south + north) / 2)[1])


# ---------------------------------------------------------------- judgement


def judge(density: Density, /, *, season: Season, boulder_recall: RecallTable | None = None) -> tuple[Verdict, ...]:
    """How well each kind of feature can be found with such a survey."""
    pulses, ground = density.pulses_per_m2, density.ground_per_m2
    beside_m = 1 / math.sqrt(ground) if ground > 0 else math.inf
    spacing = f"a ground return every {beside_m:.1f} m" if ground > 0 else "no ground returns"
    by_pulses = f"{pulses:.2g} pulses/m2"
    on_path = f"{ground:.1f} ground returns on each metre of a path 1 m wide"
    plain = (
        ("contours", ground, CONTOURS_GROUND_PER_M2, spacing),
        ("landform detail", ground, LANDFORM_GROUND_PER_M2, spacing),
        ("open land", pulses, OPEN_LAND_PULSES_PER_M2, by_pulses),
        ("cliffs", ground, CLIFFS_GROUND_PER_M2, spacing),
        ("paths", ground, PATHS_GROUND_PER_M2, on_path),
        ("rides", pulses, RIDES_PULSES_PER_M2, by_pulses),
        ("buildings", pulses, BUILDINGS_PULSES_PER_M2, by_pulses),
    )
    verdicts = [Verdict(feature, _grade(value, grades), reason) for feature, value, grades, reason in plain]
    verdicts.insert(3, _judge_runnability(density, season))
    verdicts.insert(4, _judge_boulders(density, boulder_recall))
    verdicts.insert(8, _judge_water(density))
    return tuple(verdicts)


_GRADES: tuple[Grade, ...] = ("good", "usable", "poor", "not possible")


def _grade(value: float, grades: Grades) -> Grade:
    return _GRADES[sum(value < least for least in grades)]


def _at_best(grade: Grade, limit: Grade) -> Grade:
    return max(grade, limit, key=_GRADES.index)


def _judge_runnability(density: Density, season: Season) -> Verdict:
    """Undergrowth needs pulses that come through the canopy, several returns, and bare trees."""
    grade = _grade(density.ground_per_m2, RUNNABILITY_GROUND_PER_M2)
    reason = f"{density.ground_per_m2:.2g} returns/m2 came through to the ground"
    if density.returns_per_pulse < LEAST_RETURNS_PER_PULSE:
        grade = _at_best(grade, "poor")
        reason += f"; only {density.returns_per_pulse:.2f} returns a pulse: the canopy hides the rest"
    elif season in ("leaf-on", "in between"):
        grade = _at_best(grade, "usable")
        seen = "in leaf," if season == "leaf-on" else "perhaps in leaf, when"
        reason += f"; {seen} broadleaved forest looks denser"
    return Verdict("runnability", grade, reason)


def _judge_boulders(density: Density, recall: RecallTable | None, /) -> Verdict:
    """By the share of boulders that were found where as many pulses came down, or else by the returns on one."""
    if recall is None:
        hits = math.pi / 4 * BOULDER_WIDTH_M**2 * density.ground_per_m2
        reason = f"a boulder {BOULDER_WIDTH_M:g} m wide stops about {hits:.1f} pulses"
        return Verdict("boulders", _grade(hits, BOULDER_RETURNS), reason)
    stopped = 1 - density.ground_per_m2 / density.pulses_per_m2 if density.pulses_per_m2 > 0 else 1.0
    small, large = recall.expected(density.pulses_per_m2, stopped)
    reason = f"expect {_in_ten(small)} in 10 of those 1 to 2 m high to be found, {_in_ten(large)} of the higher ones"
    return Verdict("boulders", _grade(small, BOULDER_RECALL), reason)


def _in_ten(share: float) -> str:
    """A share as a count of ten in words of a mapper; never all, as no survey finds all."""
    return str(min(9, round(10 * share)))


def _judge_water(density: Density) -> Verdict:
    """Standing water is known where the producer marked it, else guessed from flatness and silence."""
    if density.class_water_per_m2 > LEAST_WATER_RATIO * density.pulses_per_m2:
        return Verdict("water", "good", "lakes are marked in the tiles; streams follow from the ground")
    grade = _at_best(_grade(density.pulses_per_m2, WATER_PULSES_PER_M2), "usable")
    return Verdict("water", grade, "not marked in the tiles: guessed from flat ground and missing returns")


def _cautions(headers: Sequence[TileHeader], clouds: Sequence[Cloud], n_read: int) -> tuple[str, ...]:
    """What a mapper should know before trusting the draft."""
    cautions = []
    systems = sorted({header.crs.height_name for header in headers if header.crs.height_name})
    if len(systems) > 1:
        cautions.append(f"tiles give heights in different systems ({'; '.join(systems)}): look for steps between them")
    if any(header.has_synthetic_returns for header in headers):
        cautions.append("the return numbers were made up by software")
    numbered = [cloud for cloud in clouds if len(cloud) and cloud.return_number.max() > 1]
    if numbered and max(int(cloud.n_returns[cloud.return_number == 1].max(initial=0)) for cloud in numbered) <= 1:
        cautions.append("the returns are numbered, but their total is not given: last returns cannot be told")
    if not numbered:
        cautions.append("there is one return a pulse, or the returns are not numbered")
    n_usable, n_overlap = sum(map(len, clouds)), sum(int(cloud.is_overlap.sum()) for cloud in clouds)
    if n_usable < n_read * (1 - _WORTH_SAYING):
        share = f"{1 - n_usable / n_read:.0%}"
        cautions.append(f"{share} of the points are withheld, synthetic, repeated or noise: they decide nothing")
    if n_overlap > n_usable * _WORTH_SAYING:
        cautions.append(
            f"{n_overlap / n_usable:.0%} of the points are marked as overlap of flight lines; they are used"
        )
    return tuple(cautions)


def _stripes(flight: Flight) -> tuple[str, ...]:
    worst = flight.worst_offset
    if worst is None or abs(worst.offset_m) < LARGE_OFFSET_M:
        return ()
    lines = f"flight lines {worst.first} and {worst.second} differ by {abs(worst.offset_m):.2f} m in height"
    return (f"{lines}: low banks and small knolls along their edges may be made by that",)


# ---------------------------------------------------------------- in words


def _shares(clouds: Sequence[Cloud]) -> Mapping[int, float]:
    counts = sum((np.bincount(cloud.producer_class, minlength=256) for cloud in clouds), np.zeros(256, np.int64))
    return {int(kind): float(counts[kind] / counts.sum()) for kind in np.flatnonzero(counts)}


def _coordinates_in_words(working: WorkingCrs, headers: Sequence[TileHeader], table: TileTable) -> tuple[str, ...]:
    """CRS and units of plan and height, and what happens to them."""
    units_m = sorted({tile.placement.height_unit_m for tile in table.tiles})
    names = sorted({header.crs.height_name for header in headers if header.crs.height_name})
    heights = "Heights in " + " and ".join(map(unit_in_words, units_m)) + (f" ({', '.join(names)})" if names else "")
    if working.given_height_unit_m is not None:
        heights += ", as the area file says"
    elif any(header.crs.height_unit_m is None for header in headers):
        heights += ", assumed: the tiles do not say. If wrong, write 'height_unit:' in the area file"
    plan_units = sorted({unit_in_words(header.crs.plan_unit_m) for header in headers if header.crs.plan_wkt})
    plan = f"Tiles in {working.source_name} ({working.source_crs[:40]})"
    plan += f", {' and '.join(plan_units)}" if plan_units else ", as the area file says"
    if working.is_reprojected:
        return plan, heights, f"Worked on in {working.name} ({working.crs[:40]}), metres: {working.reason}"
    return plan, heights


def describe_survey(survey: Survey, /) -> str:
    """The survey as plain text for a mapper, about 35 lines of at most 110 characters."""
    return "\n".join(_lines(survey)) + "\n"


def _lines(survey: Survey) -> Iterator[str]:
    extent, density, flight = survey.extent, survey.density, survey.flight
    tiles = "1 tile" if survey.n_tiles == 1 else f"{survey.n_tiles} tiles"
    yield f"Survey: {tiles}, {survey.n_points:,} points, {_area(extent.covered_m2)}"
    for sentence in survey.coordinates:
        yield f"  {sentence}."
    yield f"Density: {density.pulses_per_m2:.2g} pulses/m2{_usgs_level(density.pulses_per_m2)}, " + (
        f"{density.returns_per_pulse:.2f} returns a pulse"
    )
    own = f"Ground: about {density.ground_per_m2:.2g} returns/m2 near the lowest surface (estimate)"
    given = density.class_ground_per_m2
    yield own + (f"; {given:.2g} are marked as ground in the tiles" if given else "; none is marked in the tiles")
    yield "Classes: " + ", ".join(
        f"{kind} {_CLASS_NAMES.get(kind, 'of the producer' if kind >= 64 else 'other')} {share:.1%}"
        for kind, share in survey.share_by_class.items()
    )
    yield "Flown: " + _flown(flight)
    yield "Gaps: " + _gaps(extent)
    if survey.read_ratio < 1:
        yield f"Read for this: a sample of {survey.read_ratio:.0%} of the points."
    for caution in survey.cautions:
        yield f"Caution: {caution}."
    yield ""
    yield "What this survey is good enough for:"
    for verdict in survey.verdicts:
        yield f"  {verdict.feature:<16} {verdict.grade:<13} {verdict.reason}"
    yield ""
    yield from _outlook(survey.verdicts)


def _outlook(verdicts: Sequence[Verdict]) -> Iterator[str]:
    by_grade = {grade: [v.feature for v in verdicts if v.grade == grade] for grade in _GRADES}
    if by_grade["good"]:
        yield f"The draft can be trusted, after a look on foot, for {', '.join(by_grade['good'])}."
    if by_grade["usable"]:
        yield f"Expect misses and false finds in {', '.join(by_grade['usable'])}."
    if by_grade["poor"]:
        yield f"Little will be right in {', '.join(by_grade['poor'])}: survey these on foot."
    if by_grade["not possible"]:
        yield f"Not to be had from this survey: {', '.join(by_grade['not possible'])}."


def _area(area_m2: float) -> str:
    if area_m2 < 1e4:
        return f"{area_m2:.0f} m2"
    return f"{area_m2 / 1e6:.2f} km2" if area_m2 >= 1e5 else f"{area_m2 / 1e4:.2f} ha"


def _usgs_level(pulses_per_m2: float) -> str:
    for least, level in _USGS_LEVELS:
        if pulses_per_m2 >= least * _NEARLY:
            return f" (as dense as USGS quality level {level} asks for)"
    return " (less than USGS quality level 3 asks for)"


def _flown(flight: Flight) -> str:
    if flight.days:
        first, last = flight.days[0], flight.days[-1]
        when = str(first) if first == last else f"{first} to {last}, {len(flight.days)} days"
        if flight.season == "in between":
            when += ", when broadleaved trees may have had leaves or not"
        elif flight.season != "unknown":
            when += f", {flight.season} for broadleaved trees"
    else:
        when = "date unknown"
    note = f" ({flight.note})" if flight.note else ""
    lines = "1 flight line" if flight.n_lines == 1 else f"{flight.n_lines} flight lines"
    worst = flight.worst_offset
    agreement = f" that agree to {max(0.01, abs(worst.offset_m)):.2f} m in height" if worst else ""
    return f"{when}{note}; {lines}{agreement}"


def _gaps(extent: Extent) -> str:
    outside = f"{_area(extent.outside_m2)} of the boundary has no tile" if extent.outside_m2 >= 1 else ""
    if extent.holes_m2 is None:
        holes = "holes within the tiles not looked for in a sample"
    elif extent.holes_m2 == 0 or extent.largest_hole_m2 is None:
        holes = "no holes"
    else:
        holes = f"{_area(extent.holes_m2)} without returns (often water), the largest {_area(extent.largest_hole_m2)}"
    return "; ".join(part for part in (outside, holes) if part)


def survey_record(survey: Survey, /) -> dict[str, object]:
    """The survey as plain values for a JSON file; days as year-month-day."""
    record: dict[str, object] = json.loads(json.dumps(asdict(survey), default=str))
    return record
