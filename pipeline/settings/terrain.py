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
        description="Side of a raster cell. Empty: 0.5 from 3 pulses/m2, 1 from 0.5, else 2.",
    )
    max_gap_m: float = Field(
        20.0, ge=2, le=200, description="Further than this from any ground return the surface is unknown."
    )
    water_max_off_m: float = Field(
        0.5,
        ge=0.05,
        le=5,
        description="Ground in a lake's outline that lies further from its level is an island or the bank.",
    )
