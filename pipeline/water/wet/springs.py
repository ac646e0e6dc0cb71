"""Springs: where a stream begins at a step of the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import Point

from pipeline.water.running.channels import Channel
from pipeline.water.running.flow import Flow

ABOVE_M = 10.0
"""How far above the head of a stream, in metres, the step is looked for. Our choice."""
STEP_MIN_M = 1.5
"""Height in metres by which the ground rises within `ABOVE_M` above a spring. Our choice."""
STEEPER_TIMES = 3.0
"""How many times steeper than the bed below it that step is. Our choice."""
LEAST_BED_M = 0.15
"""Depth in metres of the bed of a stream that begins at a spring: water that gathers little by little cuts none at
once. Our choice."""
LEAST_BED_SHARE = 0.7
"""Share of such a stream along which its bed is seen. Our choice."""
SPRING = 0.25
"""How likely such a head is a spring that a mapper would draw. No spring could be measured: our choice."""


@dataclass(frozen=True)
class Spring:
    """A place that may be a spring.

    Attributes
    ----------
    place : Point in the working CRS
    step_m : float
        By how much the ground rises just above it.
    angle_deg : float
        Direction in which its water runs, degrees counter-clockwise from east.
    """

    place: Point
    step_m: float
    angle_deg: float


def find_springs(channels: list[Channel], flow: Flow, /) -> list[Spring]:
    """Heads of streams below a step, in the order of the channels."""
    heads = [_spring(channel, flow) for channel in channels if _may_rise(channel, channels)]
    return [spring for spring in heads if spring is not None]


def _may_rise(channel: Channel, channels: list[Channel]) -> bool:
    """Whether a channel has a bed from its first place on, and no other ends there."""
    begins = Point(channel.line.coords[0])
    return (
        channel.bed_m >= LEAST_BED_M
        and channel.bed_share >= LEAST_BED_SHARE
        and not channel.is_dug
        and not channel.is_fed_from_outside
        and not any(Point(other.line.coords[-1]).distance(begins) < ABOVE_M for other in channels)
    )


def _spring(channel: Channel, flow: Flow) -> Spring | None:
    """The spring at the head of a channel; None where the ground above rises no more steeply than its bed falls."""
    cell_m = flow.lattice.cell_m
    head, below = (np.asarray(channel.line.interpolate(at).coords[0]) for at in (0.0, ABOVE_M))
    row, col = flow.lattice.row_col(np.array([head[0], below[0]]), np.array([head[1], below[1]]))
    heights = flow.heights.reshape(flow.lattice.shape)
    reach = round(ABOVE_M / cell_m)
    if min(row[0], col[0]) < reach or row[0] + reach >= heights.shape[0] or col[0] + reach >= heights.shape[1]:
        return None
    ahead = (below - head) / max(float(np.hypot(*(below - head))), 1e-9)
    behind = heights[round(row[0] + ahead[1] * reach), round(col[0] - ahead[0] * reach)]
    step_m, fall_m = float(behind - heights[row[0], col[0]]), float(heights[row[0], col[0]] - heights[row[1], col[1]])
    if not (step_m >= STEP_MIN_M and step_m >= STEEPER_TIMES * max(fall_m, 0.0)):
        return None
    return Spring(Point(head), step_m, float(np.degrees(np.arctan2(ahead[1], ahead[0])) % 360))
