"""The draft of water: standing water and channels, each a proposal that somebody has to look at."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, make_features, no_features
from pipeline.settings import WaterSettings
from pipeline.water.running.channels import Channel, Runoff, find_channels
from pipeline.water.running.kinds import SEEN_M
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground
from pipeline.water.standing import FLAT_MAX_SPREAD_M, THIN_BODY_MAX_RATIO, Water

SUREST = 0.95
"""How likely a body with all signs of water is water. All 51 bodies were that were found among ponds planted in five
real tiles, in five made scenes and in a town mapped by its council; so many tell no more than that one in twenty may be
wrong."""
BEGINS_M2 = {"wet": 5_000.0, "moderate": 20_000.0, "dry": 100_000.0}
"""Ground in square metres that must drain to a valley floor for a stream to run on it, by climate. 1 to 10 ha is usual
in work with lidar in boreal and temperate land, 2 ha often (from memory); the other two are our choice."""
LOWER_BANK_M = -0.2
"""Median height of the ground around a body above its surface, in metres, from which its bank speaks for water: with
less it is a roof or stands behind a dam. Our choice."""


def draft_water(
    ground: Ground,
    /,
    *,
    scale: int,  # noqa: ARG001 -- smallest sizes are ground sizes at every scale (ISOM 2017-2)
    settings: WaterSettings,
    climate: str = "moderate",
    is_porous: bool | None = None,
) -> gpd.GeoDataFrame:
    """Standing water (302) and minor water channels (306) of the area as features.

    Whether water may be crossed is a legal fact of the map (301 forbids it) that lidar cannot see: standing water is
    proposed as shallow water, 302, and its evidence asks for the answer.

    Returns
    -------
    GeoDataFrame of `pipeline.features`.
    """
    bodies = standing_water(ground, thin_max_ratio=settings.thin_max_ratio)
    lines = find_channels(
        ground.bare_earth,
        ground.aimed_pulses,
        ground.grid,
        Runoff(BEGINS_M2[climate], settings.channel_min_drained_m2, settings.channel_min_depth_m, is_porous),
    )
    crs = ground.grid.crs
    return join_features([_standing(bodies, crs), _running(lines, crs)], crs)


def _standing(bodies: list[Water], crs: str) -> gpd.GeoDataFrame:
    """Standing water as 302; with its elevation where its surface is level, so that the bare earth is made flat."""
    if not bodies:
        return no_features(crs)
    return make_features(
        [body.shape for body in bodies],
        crs=crs,
        symbol="302",
        confidence=np.clip([_surety(body) for body in bodies], 0.05, 0.95),
        evidence=[_standing_evidence(body) for body in bodies],
        elevation_m=np.array([body.level_m if body.spread_m <= FLAT_MAX_SPREAD_M else np.nan for body in bodies]),
    )


def _surety(body: Water) -> float:
    """How likely the body is water: `SUREST`, less where more pulses came back or the ground around lies lower.

    By how much less is our choice: hardly any body with such signs could be measured.
    """
    thin = 1 - 2 * max(0.0, body.thinness - THIN_BODY_MAX_RATIO)
    bank = 0.7 if body.bank_m < LOWER_BANK_M else 1.0
    return SUREST * (body.classed_share + (1 - body.classed_share) * thin * bank)


def _standing_evidence(body: Water) -> str:
    parts = [f"{body.thinness:.0%} of the pulses aimed at {body.shape.area:.0f} m2 came back"]
    if body.spread_m <= FLAT_MAX_SPREAD_M:
        parts.append(f"level to {body.spread_m * 100:.0f} cm")
    if body.bank_m >= LOWER_BANK_M:
        parts.append(f"ground around it {max(0.0, body.bank_m):.1f} m higher")
    elif math.isfinite(body.bank_m):
        parts.append(f"ground around it {-body.bank_m:.1f} m lower: is there a dam?")
    if body.classed_share > 0:
        parts.append(f"{body.classed_share:.0%} classed as water by the survey")
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
    bed = f"a bed is cut in along {channel.bed_share:.0%} of it" if channel.bed_share > 0 else "no bed seen in the valley"
    dug = ", straight as a ditch" if channel.is_dug else ""
    water = f"open water {channel.water_m:.1f} m wide" if channel.water_m >= SEEN_M else "water in it was not seen"
    return (
        f"sides {channel.depth_m:.1f} m higher over {channel.line.length:.0f} m, {bed}{dug}, "
        f"{channel.drained_m2 / 1e4:.1f} ha drain to it{fed}; {water}"
    )
