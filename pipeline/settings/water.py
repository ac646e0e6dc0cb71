"""Water (ISOM section 3.3)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class WaterSettings(Section):
    """Standing and running water."""

    thin_max_ratio: float = Field(
        0.25,
        ge=0,
        le=0.9,
        description="Share of the usual pulses below which level ground is water. Up: more ponds, but dark roofs, asphalt and ground under dense trees become ponds too; from 0.5, so do level strips that one flight line of two covered. Down: ponds with reed or waves are missing.",
    )
    channel_min_drained_m2: float = Field(
        1_000.0,
        ge=100,
        le=1_000_000,
        description="Ground that must drain to a place for a channel to begin there; streams begin at 0.1 to 0.2 ha at least (Montgomery & Dietrich 1988, from memory). Up: channels begin lower down, and those that a track leads astray are lost. Down: ruts and dry hollows become channels.",
    )
    channel_min_depth_m: float = Field(
        0.4,
        ge=0.1,
        le=3,
        description="How much higher than the bed both sides of a channel must stand; the default is four times the error of the bare earth. Up: only deep channels remain. Down: ruts and furrows become channels.",
    )
