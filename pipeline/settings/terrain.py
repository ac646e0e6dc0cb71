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
        description="Side of a raster cell. Empty: 0.5, 1 or 2, by the density of pulses as the next two say.",
    )
    max_gap_m: float = Field(
        20.0, ge=2, le=200, description="Further than this from any ground return the surface is unknown."
    )
