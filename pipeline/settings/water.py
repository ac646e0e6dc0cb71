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
        description="Water sends back less than this share of the usual pulses; one swath of two, 0.5.",
    )
    channel_min_drained_m2: float = Field(
        1_000.0,
        ge=100,
        le=1_000_000,
        description="Ground a channel must drain: the least at a source is 0.1 to 0.2 ha (Montgomery & Dietrich 1988, "
        "from memory); more would lose what a dam of a track leads astray.",
    )
    channel_min_depth_m: float = Field(
        0.4, ge=0.1, le=3, description="How much both sides must stand higher: four times the error of the bare earth."
    )
