"""The draft of water: standing water and channels, each a proposal that somebody has to look at."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np

from pipeline.features import join_features, make_features, no_features
from pipeline.settings import WaterSettings
from pipeline.water.running.channels import Channel, find_channels
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground
from pipeline.water.standing import Water

FLAT_MAX_SPREAD_M = 0.3
"""Half the interquartile range of the heights of a body of water, in metres, up to which it is made flat in the bare
earth: ripples and noise stay below. With more, gaps of the survey on slopes would be made flat too. Our choice."""


def draft_water(
    ground: Ground,
    /,
    *,
    scale: int,  # noqa: ARG001 -- smallest sizes are ground sizes at every scale (ISOM 2017-2)
    settings: WaterSettings,
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
        ground.grid,
        min_drained_m2=settings.channel_min_drained_m2,
        min_depth_m=settings.channel_min_depth_m,
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
    """Surer where the survey calls it water, few pulses came back, it is level and the ground rises around it.

    The figures are our choice: no measurement says how many bodies of water with such signs are real.
    """
    classed = body.classed_share
    thin = 0.45 + 0.4 * (1 - min(1.0, body.thinness / 0.35))
    bank = float(np.select([body.bank_m >= 0.15, body.bank_m >= -0.2], [1.0, 0.6], 0.3))
    level = max(0.4, 1 - body.spread_m / 1.5) if math.isfinite(body.spread_m) else 0.4
    return classed * 0.95 + (1 - classed) * thin * bank * level


def _standing_evidence(body: Water) -> str:
    parts = [f"{body.thinness:.0%} of the usual pulses came back from {body.shape.area:.0f} m2"]
    if math.isfinite(body.spread_m):
        is_level = body.spread_m <= FLAT_MAX_SPREAD_M
        parts.append(f"level to {body.spread_m * 100:.0f} cm" if is_level else "not level: perhaps a gap in the survey")
    if math.isfinite(body.bank_m):
        parts.append(f"ground around it {abs(body.bank_m):.1f} m {'higher' if body.bank_m >= 0 else 'lower'}")
    if body.classed_share > 0:
        parts.append(f"{body.classed_share:.0%} classed as water by the survey")
    return ", ".join(parts) + "; check on foot whether it may be crossed (else 301)"


def _running(found: list[Channel], crs: str) -> gpd.GeoDataFrame:
    if not found:
        return no_features(crs)
    return make_features(
        [channel.line for channel in found],
        crs=crs,
        symbol="306",
        confidence=np.clip([_likelihood(channel) for channel in found], 0.05, 0.9),
        evidence=[_running_evidence(channel) for channel in found],
        height_m=np.array([channel.depth_m for channel in found]),
    )


def _likelihood(channel: Channel) -> float:
    """Likelier the deeper the channel and the more ground it drains.

    The figures are our choice: no measurement says how many such channels carry water.
    """
    deep = min(1.0, channel.depth_m / 1.0)
    large = 1.0 if channel.is_fed_from_outside else min(1.0, channel.drained_m2 / 50_000)
    return 0.25 + 0.35 * deep + 0.3 * large


def _running_evidence(channel: Channel) -> str:
    fed = " and more from outside the survey" if channel.is_fed_from_outside else ""
    return (
        f"sides {channel.depth_m:.1f} m higher over {channel.line.length:.0f} m, "
        f"{channel.drained_m2 / 1e4:.1f} ha drain to it{fed}; water in it was not seen"
    )
