"""The survey in plain words for a mapper."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from pipeline.errors import counted
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.tile_table import TileTable
from pipeline.intake.units import unit_in_words
from pipeline.intake.working_crs import WorkingCrs
from pipeline.returns import asprs
from pipeline.survey.extent import Extent
from pipeline.survey.judge import GRADES, Verdict
from pipeline.survey.measure import Flight
from pipeline.survey.record import Survey

WIDEST = 110
"""Characters in a line: what a terminal shows side by side with another."""
REASON_FROM = 33
"""Characters before the reasons, which stand one below the other."""


def describe_survey(survey: Survey, /) -> str:
    """The survey as plain text for a mapper, about 40 lines of at most WIDEST characters but for cautions."""
    return "\n".join(_lines(survey)) + "\n"


def _lines(survey: Survey) -> Iterator[str]:
    extent, density, flight = survey.extent, survey.density, survey.flight
    tiles, points = counted(survey.n_tiles, "tile"), counted(survey.n_points, "point")
    yield f"Survey: {tiles}, {points}, {_area(extent.covered_m2)}"
    for sentence in survey.coordinates:
        yield f"  {sentence}."
    yield f"Density: {density.pulses_per_m2:.2g} pulses/m2{_usgs_level(density.pulses_per_m2)}, " + (
        f"{density.returns_per_pulse:.2f} returns a pulse"
    )
    own = f"Ground: about {density.ground_per_m2:.2g} returns/m2 near the lowest surface (estimate)"
    given = density.class_ground_per_m2
    yield own + (f"; {given:.2g} are marked as ground in the tiles" if given else "")
    if given:
        yield "  They are judged against Tussock's own, place by place: report/ground.txt of a draft says where the"
        yield "  two are far apart, how far, and which was taken."
    else:
        yield "  None is marked in the tiles, and none need be: Tussock finds the ground itself."
    kinds = survey.ground_kinds
    yield f"Terrain: {kinds['steep']:.0%} of the ground is steep, {kinds['restless']:.0%} restless, the rest calm"
    yield "Classes: " + ", ".join(
        f"{_CLASS_NAMES.get(kind, 'of the producer' if kind >= 64 else 'other')} ({kind}) {share:.1%}"
        for kind, share in survey.share_by_class.items()
    )
    yield "Flown: " + _flown(flight)
    yield "Gaps: " + _gaps(extent)
    if survey.read_ratio < 1:
        yield f"Read for this: a sample of {survey.read_ratio:.0%} of the points."
    for caution in survey.cautions:
        yield f"Caution: {caution}."
    yield ""
    yield "How well each kind of feature can be found:"
    for verdict in survey.verdicts:
        first, *more = textwrap.wrap(verdict.reason, WIDEST - REASON_FROM)
        yield f"  {verdict.feature:<16} {verdict.grade:<13} {first}"
        yield from (" " * REASON_FROM + line for line in more)
    yield ""
    yield from _outlook(survey.verdicts)


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


def _outlook(verdicts: Sequence[Verdict]) -> Iterator[str]:
    by_grade = {grade: [v.feature for v in verdicts if v.grade == grade] for grade in GRADES}
    if by_grade["good"]:
        yield f"Most will be right, after a look on foot, in {', '.join(by_grade['good'])}."
    if by_grade["usable"]:
        yield f"Expect misses and false finds in {', '.join(by_grade['usable'])}."
    if by_grade["poor"]:
        yield f"Little will be right in {', '.join(by_grade['poor'])}: survey these on foot."
    if by_grade["not possible"]:
        yield f"Not to be had from this survey: {', '.join(by_grade['not possible'])}."
    if by_grade["not drawn"]:
        yield f"Not drawn by this version, whatever the survey: {', '.join(by_grade['not drawn'])}."


def _area(area_m2: float) -> str:
    if area_m2 < 1e4:
        return f"{area_m2:.0f} m2"
    return f"{area_m2 / 1e6:.2f} km2" if area_m2 >= 1e5 else f"{area_m2 / 1e4:.2f} ha"


# Pulses per square metre by quality level (USGS, Lidar Base Specification 2025 rev. A, table of quality levels).
_USGS_LEVELS = ((8.0, "1"), (2.0, "2"), (0.5, "3"))

# A survey this near to a level counts as of that level: to a mapper 7.9 pulses are 8 (our choice).
_NEARLY_RATIO = 0.98


def _usgs_level(pulses_per_m2: float) -> str:
    for least, level in _USGS_LEVELS:
        if pulses_per_m2 >= least * _NEARLY_RATIO:
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
    lines = counted(flight.n_lines, "flight line")
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


def coordinates_in_words(working: WorkingCrs, headers: Sequence[TileHeader], table: TileTable, /) -> tuple[str, ...]:
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
