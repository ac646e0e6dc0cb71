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
    fine_cell_from_pulses_per_m2: float = Field(
        3.0,
        ge=0.5,
        le=100,
        description="Density from which cells are 0.5 m: about the spacing of ground returns under light canopy (common "
        "practice, no source).",
    )
    medium_cell_from_pulses_per_m2: float = Field(
        0.5,
        ge=0.05,
        le=20,
        description="Density from which they are 1 m, told in the same way; with less they are 2 m.",
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
