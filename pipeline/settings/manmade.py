"""What people made (ISOM section 3.5)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class ManmadeSettings(Section):
    """Buildings and what else people made."""

    roof_window_m: float = Field(
        1.5, ge=0.5, le=5, description="Side of the window in which roof returns are counted against all returns."
    )
    roof_min_ratio: float = Field(
        0.5, ge=0.1, le=1, description="Roof where this share of the returns is of class 6: half, as an edge should be."
    )
    building_min_width_m: float = Field(
        2.5, ge=0.5, le=8, description="Narrower patches of roof are walls, eaves or strays, not buildings."
    )
    building_min_area_m2: float = Field(
        16.0, ge=4, le=100, description="Smallest building drawn: sheds of 4 m x 4 m; 521 takes 7.5 m x 7.5 m in print."
    )
    building_min_part_m2: float = Field(
        8.0, ge=1, le=60, description="A wing or notch must bring this much area: 2 m x 4 m, 0.13 mm on the map."
    )
    building_max_parts: int = Field(
        6, ge=1, le=20, description="Most wings, and most notches, of a plan: more is the noise of the returns."
    )
    building_most_cells: int = Field(
        120,
        ge=30,
        le=1000,
        description="Most cells across a building in which walls are looked for: a house has 30 of half a metre; a hall "
        "is looked at more coarsely, as the work grows with the cube of them.",
    )
    building_sure_returns: int = Field(
        100, ge=1, le=10_000, description="Roof returns from which the fit of the plan alone decides (common practice)."
    )
