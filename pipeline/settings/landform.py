"""Contours and landforms (ISOM section 3.1)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class LandformSettings(Section):
    """Contours and landforms. Paper sizes are those of ISOM 2017-2 at 1:15 000, whatever the sheet's scale."""

    contour_smoothing_m: float = Field(
        2.0,
        ge=0,
        le=20,
        description="Standard deviation of the smoothing before tracing: half the smallest bend, 0.25 mm (ISOM 101).",
    )
    calm_share: float = Field(
        0.1,
        ge=0,
        le=0.25,
        description="Share of the interval contours may leave the ground by to run calmly; ISOM allows a quarter.",
    )
    vertex_spacing_mm: float = Field(
        0.3, ge=0.05, le=2, description="Least distance of two vertices on the sheet: a line a mapper can still edit."
    )
    index_every: int = Field(5, ge=2, le=10, description="Every fifth contour is an index contour (ISOM 102).")
    form_line_min_error_share: float = Field(
        0.25,
        ge=0.05,
        le=0.5,
        description="Share of the interval a reader must be wrong by before a form line is drawn: what a contour may be.",
    )
    min_knoll_likeness: float = Field(
        0.45, ge=0, le=1, description="Share of the shape one rounded bump must explain; lips and spurs reach 0.4."
    )
    min_hollow_likeness: float = Field(
        0.57, ge=0, le=1, description="Share of the shape one rounded hollow must explain; uneven ground reaches 0.5."
    )
    min_bump_contrast: float = Field(
        3.3,
        ge=1,
        le=10,
        description="Deviations from the usual unevenness round about that a knoll or hollow must stand out by.",
    )
    min_bank_slope_deg: float = Field(
        22.0, ge=5, le=60, description="Gentlest face of a bank: gentler ones are read from the contours."
    )
    min_broken_m: float = Field(
        0.3, ge=0.1, le=3, description="Unevenness from which a runner has to look at the ground (common practice)."
    )
    base_level_m: float = Field(
        0.0, ge=-50, le=50, description="Elevation one contour takes; shift it to show flat ground better."
    )
