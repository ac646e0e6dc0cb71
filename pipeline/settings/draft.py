"""Where features of different sections meet."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class ComposeSettings(Section):
    """What happens where features of different themes meet."""

    min_clipped_part_m: float = Field(
        2.0,
        ge=0,
        description="Shorter crumbs left by clipping at the edge of the area are dropped; they cannot be drawn.",
    )
    min_cut_area_m2: float = Field(
        60.0,
        ge=0,
        description="Smaller rests of vegetation beside water and buildings are dropped (8 m x 8 m, ISOM 401).",
    )
    clear_of_buildings_m: float = Field(
        2.0, ge=0, description="Points this near to a building or in water are parts of it, not features."
    )
    same_bed_m: float = Field(
        8.0,
        ge=0,
        description="A gully or bank that runs this near to a watercourse is its bed (0.5 mm at 1:15 000).",
    )
    same_bed_ratio: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Share of its length that makes it the bed: most of it (common practice, no source).",
    )
    same_thing_m: float = Field(
        3.0,
        ge=0,
        description="Two point symbols this near stand for one thing; the surer stays (a boulder takes 6 m in print).",
    )
