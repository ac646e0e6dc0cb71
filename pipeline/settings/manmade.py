"""What people made (ISOM section 3.5)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class ManmadeSettings(Section):
    """Buildings and what else people made."""

    building_min_area_m2: float = Field(
        16.0, ge=4, le=100, description="Smallest building drawn: sheds of 4 m x 4 m; 521 takes 7.5 m x 7.5 m in print."
    )
