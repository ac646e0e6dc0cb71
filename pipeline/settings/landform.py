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
        description="Standard deviation of the smoothing before contours are traced, about half the smallest bend they "
        "can show. Higher: contours run smoother, small spurs and re-entrants vanish. Lower: contours show more detail "
        "and more noise of the lidar.",
    )
    calm_share: float = Field(
        0.1,
        ge=0,
        le=0.25,
        description="Share of the interval contours may leave the ground by to run calmly; the norm allows a quarter in "
        "all. Higher: calmer contours on flat ground, less room to keep off each other and off knolls. Lower: contours "
        "follow every undulation.",
    )
    vertex_spacing_mm: float = Field(
        0.3,
        ge=0.05,
        le=2,
        description="Least distance of two vertices of a line on the sheet. Higher: fewer vertices, easier to edit, but "
        "bends turn angular. Lower: rounder lines with more vertices.",
    )
    form_line_min_error_share: float = Field(
        0.25,
        ge=0.05,
        le=0.5,
        description="How wrong a reader of the contours alone must be about the height of the ground, as a share of the "
        "interval, before a form line is drawn. Higher: fewer form lines. Lower: more.",
    )
    min_knoll_likeness: float = Field(
        0.45,
        ge=0,
        le=1,
        description="Share of its shape that one rounded bump must explain; lips of cliffs and spurs reach 0.4. Higher: "
        "fewer knolls, the round ones. Lower: more knolls, among them spurs and lips.",
    )
    min_hollow_likeness: float = Field(
        0.57,
        ge=0,
        le=1,
        description="Share of its shape that one rounded hollow must explain; uneven ground reaches 0.5. Higher: fewer "
        "depressions and pits, the round ones. Lower: more, among them mere unevenness.",
    )
    min_bump_contrast: float = Field(
        3.3,
        ge=1,
        le=10,
        description="How many times larger than the usual unevenness round about a knoll or hollow must be. Higher: "
        "fewer knolls and hollows, above all on restless ground. Lower: more.",
    )
    min_bank_slope_deg: float = Field(
        22.0,
        ge=5,
        le=60,
        description="Gentlest face of an earth bank. Higher: fewer banks, the steep ones. Lower: more banks, also where "
        "contours alone show the slope.",
    )
    min_broken_m: float = Field(
        0.3,
        ge=0.1,
        le=3,
        description="Unevenness from which ground is drawn as broken: about where a runner has to look at the ground. "
        "Higher: less broken ground. Lower: more.",
    )
    base_level_m: float = Field(
        0.0,
        ge=-50,
        le=50,
        description="Elevation one contour takes. Higher moves every contour up by so much, lower moves it down; a whole "
        "interval changes nothing but which contours are thick. The file report/base_level.txt says what shows most.",
    )
