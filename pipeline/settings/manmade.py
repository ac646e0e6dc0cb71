"""What people made (ISOM section 3.5)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class ManmadeSettings(Section):
    """Buildings and what else people made."""

    building_min_area_m2: float = Field(
        16.0,
        ge=4,
        le=100,
        description="Area of the smallest building drawn. Up: sheds are missing; 521 takes 7.5 m x 7.5 m in print. Down: remains of crowns and boulders that were taken for roofs are drawn as buildings.",
    )
