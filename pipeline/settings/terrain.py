"""The bare earth."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class TerrainSettings(Section):
    """Bare earth and the grids made from returns."""

    cell_m: float | None = Field(
        None,
        ge=0.25,
        le=5,
        description="Side of a raster cell. Empty: 0.5, 1 or 2, by the density of pulses. Up: quicker, but boulders, small knolls and narrow gaps in the forest are lost. Down: more detail where pulses are dense, noise where they are not, and four times the work for half the side.",
    )
    max_gap_m: float = Field(
        20.0,
        ge=2,
        le=200,
        description="Distance from the nearest ground return beyond which the bare earth is unknown. Up: contours cross lakes and large roofs on guesswork. Down: they break off where the ground is seldom seen.",
    )
