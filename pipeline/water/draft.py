"""The draft of water: standing water and channels, each a proposal that somebody has to look at."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import join_features, make_features, no_features
from pipeline.lattice.grid import Grid
from pipeline.norm.symbols import isom
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.settings import WaterSettings
from pipeline.water.running.channels import Channel, find_channels
from pipeline.water.running.flow import Runoff, lead_water
from pipeline.water.running.kinds import SEEN_M
from pipeline.water.running.porous import Floors
from pipeline.water.running.shores import on_land
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground, in_pieces
from pipeline.water.standing import FLAT_MAX_SPREAD_M, THIN_BODY_MAX_RATIO, Water
from pipeline.water.wet.marsh import Marsh, find_marshes, standing_on
from pipeline.water.wet.springs import SPRING, Spring, find_springs

SUREST = 0.95
"""How likely a body with all signs of water is water. All 51 bodies were that were found among ponds planted in five
real tiles, in five made scenes and in a town mapped by its council; so many tell no more than that one in twenty may be
wrong."""
BEGINS_M2 = {"wet": 5_000.0, "moderate": 20_000.0, "dry": 100_000.0}
"""Ground in square metres that must drain to a valley floor for a stream to run on it, by climate. 1 to 10 ha is usual
in work with lidar in boreal and temperate land, 2 ha often (from memory); the other two are our choice."""
WATERHOLE = 0.9
"""How likely a body of water too small to be drawn as an area is water, as a share of a larger one: all nine were that
were found among ponds planted in five real tiles, so few that one in ten may be wrong."""
SEA_MAX_LEVEL_M = 2.5
"""Level in metres up to which, above or below zero, water may be the sea: the tide, and what zeros of heights differ
by. Our choice."""
SEA_MIN_M2 = 50_000.0
"""Area of water in square metres, as far as the survey saw it, from which it may be the sea: more than a harbour or a
ditch of low land. Our choice."""
LOWER_BANK_M = -0.2
"""Median height of the ground around a body above its surface, in metres, from which its bank speaks for water: with
less it is a roof or stands behind a dam. Our choice."""


class WaterDraft(NamedTuple):
    """The water of an area as features, and its valley floors, which tell whether water sinks in the ground."""

    features: gpd.GeoDataFrame
    floors: Floors


def draft_water(
    ground: Ground,
    /,
    *,
    scale: int,  # noqa: ARG001 -- smallest sizes are ground sizes at every scale (ISOM 2017-2)
    settings: WaterSettings,
    climate: str = "moderate",
    is_porous: bool | None = None,
    remembered: Remembered = nothing_remembered,
) -> WaterDraft:
    """Standing water (302, 303), watercourses (304 to 306), marshes (310) and springs (312) of the area as features.

    Whether water may be crossed is a legal fact of the map (301 forbids it) that lidar cannot see: standing water is
    proposed as shallow water, 302, and its evidence asks for the answer. Only what may be the sea is proposed as 301.

    Parameters
    ----------
    climate : a key of `BEGINS_M2`
    is_porous : whether water sinks into the ground; None where the ground itself shall tell
    remembered : where the cross-sections of an earlier run are found

    Returns
    -------
    Features as GeoDataFrame of `pipeline.features`, and what the valley floors say about the ground.
    """
    bare_earth, aimed_pulses = (in_pieces(read, ground.grid) for read in (ground.bare_earth, ground.aimed_pulses))
    ground = replace(ground, bare_earth=bare_earth, aimed_pulses=aimed_pulses)
    bodies = standing_water(ground, thin_max_ratio=settings.thin_max_ratio)
    runoff = Runoff(BEGINS_M2[climate], settings.channel_min_drained_m2, settings.channel_min_depth_m, porous=is_porous)
    flow = lead_water(bare_earth, ground.grid, runoff)
    lines, floors = find_channels(flow, bare_earth, aimed_pulses, ground.grid, runoff, remembered=remembered)
    crs = ground.grid.crs
    shapes = [body.shape for body in bodies]
    marshes = [] if is_porous else find_marshes(flow, ground, standing_on(shapes, flow))
    least_m2 = isom("302").smallest.area_m2
    tables = [
        _standing([body for body in bodies if body.shape.area >= least_m2], ground.grid),
        _waterholes([body for body in bodies if body.shape.area < least_m2], crs),
        _running(on_land(lines, shapes), crs),
        _marshes(marshes, crs),
        _springs(find_springs(lines, flow), crs),
    ]
    return WaterDraft(join_features(tables, crs), floors)


def _standing(bodies: list[Water], grid: Grid) -> gpd.GeoDataFrame:
    """Standing water as 302, the sea as 301; where it is level with its elevation, to make the bare earth flat."""
    if not bodies:
        return no_features(grid.crs)
    is_sea = [_may_be_sea(body, grid) for body in bodies]
    return make_features(
        [body.shape for body in bodies],
        crs=grid.crs,
        symbol=["301" if sea else "302" for sea in is_sea],
        confidence=np.clip([_surety(body) for body in bodies], 0.05, 0.95),
        evidence=[_standing_evidence(body, is_sea=sea) for body, sea in zip(bodies, is_sea, strict=True)],
        elevation_m=np.array([body.level_m if body.spread_m <= FLAT_MAX_SPREAD_M else np.nan for body in bodies]),
    )


def _may_be_sea(body: Water, grid: Grid) -> bool:
    """Whether water lies at the level of the sea, is large, and goes on beyond the survey."""
    reaches_edge = body.shape.distance(shapely.box(*grid.bounds).exterior) < 2 * grid.cell_m
    return abs(body.level_m) <= SEA_MAX_LEVEL_M and body.shape.area >= SEA_MIN_M2 and reaches_edge


def _waterholes(bodies: list[Water], crs: str) -> gpd.GeoDataFrame:
    """Bodies of water too small for their area to be drawn, as 303."""
    if not bodies:
        return no_features(crs)
    return make_features(
        [body.shape.representative_point() for body in bodies],
        crs=crs,
        symbol="303",
        confidence=np.clip([WATERHOLE * _surety(body) for body in bodies], 0.05, 0.95),
        evidence=[_standing_evidence(body) for body in bodies],
    )


def _marshes(marshes: list[Marsh], crs: str) -> gpd.GeoDataFrame:
    """Places that may be marsh as 310, the marsh whose edge is indistinct."""
    if not marshes:
        return no_features(crs)
    return make_features(
        [marsh.shape for marsh in marshes],
        crs=crs,
        symbol="310",
        confidence=np.array([marsh.likelihood for marsh in marshes]),
        evidence=[
            f"flat, gathers water (wetness index {marsh.wetness:.1f}), few trees, {marsh.weak_share:.0%} of it dark or "
            "thin in returns; look whether it is wet (308 where its edge is plain)"
            for marsh in marshes
        ],
    )


def _springs(springs: list[Spring], crs: str) -> gpd.GeoDataFrame:
    if not springs:
        return no_features(crs)
    return make_features(
        [spring.place for spring in springs],
        crs=crs,
        symbol="312",
        confidence=np.full(len(springs), SPRING),
        evidence=[f"a stream begins below a step of {spring.step_m:.1f} m; look for water" for spring in springs],
        angle_deg=np.array([spring.angle_deg for spring in springs]),
    )


def _surety(body: Water) -> float:
    """How likely the body is water: `SUREST`, less where more pulses came back or the ground around lies lower.

    By how much less is our choice: hardly any body with such signs could be measured.
    """
    thin = 1 - 2 * max(0.0, body.thinness - THIN_BODY_MAX_RATIO)
    bank = 0.7 if body.bank_m < LOWER_BANK_M else 1.0
    return SUREST * (body.classed_share + (1 - body.classed_share) * thin * bank)


def _standing_evidence(body: Water, *, is_sea: bool = False) -> str:
    parts = [f"{body.thinness:.0%} of the pulses aimed at {body.shape.area:.0f} m2 came back"]
    if body.spread_m <= FLAT_MAX_SPREAD_M:
        parts.append(f"level to {body.spread_m * 100:.0f} cm")
    if body.bank_m >= LOWER_BANK_M:
        parts.append(f"ground around it {max(0.0, body.bank_m):.1f} m higher")
    elif math.isfinite(body.bank_m):
        parts.append(f"ground around it {-body.bank_m:.1f} m lower: is there a dam?")
    if body.classed_share > 0:
        parts.append(f"{body.classed_share:.0%} classed as water by the survey")
    if is_sea:
        return ", ".join(parts) + f"; at {body.level_m:.1f} m and open to the edge: the sea?"
    return ", ".join(parts) + "; check on foot whether it may be crossed (else 301)"


def _running(found: list[Channel], crs: str) -> gpd.GeoDataFrame:
    if not found:
        return no_features(crs)
    return make_features(
        [channel.line for channel in found],
        crs=crs,
        symbol=[channel.symbol for channel in found],
        confidence=np.clip([_likelihood(channel) for channel in found], 0.05, 0.9),
        evidence=[_running_evidence(channel) for channel in found],
        height_m=np.array([channel.depth_m for channel in found]),
    )


WITH_BED, WITHOUT_BED = 0.9, 0.15
"""How likely a stream or ditch runs where a bed is seen along the whole course, and where along none of it. Fitted on
two made scenes (moraine, farmland): there and in four others 0.97 of the length with a bed was true, and 0.10 of that
without."""


def _likelihood(channel: Channel) -> float:
    """Likelier the more of a course shows a bed; how deep the valley is and what it drains told nothing more."""
    seen = 1.0 if channel.water_m >= SEEN_M else channel.bed_share
    return WITHOUT_BED + (WITH_BED - WITHOUT_BED) * seen


def _running_evidence(channel: Channel) -> str:
    fed = " and more from outside the survey" if channel.is_fed_from_outside else ""
    bed = (
        f"a bed is cut in along {channel.bed_share:.0%} of it" if channel.bed_share > 0 else "no bed seen in the valley"
    )
    dug = ", straight as a ditch" if channel.is_dug else ""
    water = f"open water {channel.water_m:.1f} m wide" if channel.water_m >= SEEN_M else "water in it was not seen"
    return (
        f"sides {channel.depth_m:.1f} m higher over {channel.line.length:.0f} m, {bed}{dug}, "
        f"{channel.drained_m2 / 1e4:.1f} ha drain to it{fed}; {water}"
    )
