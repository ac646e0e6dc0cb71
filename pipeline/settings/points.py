"""Noise, ground, and the classes of returns."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.settings.section import Section


class PointsSettings(Section):
    """Noise, ground and classes of the returns."""

    engine: Literal["embedded", "pdal"] = Field(
        "embedded", description="Who classifies the ground: Tussock's own filter, or a PDAL command line."
    )
    pdal_command: str = Field("pdal", description="The PDAL command line, a name on PATH or a path.")
    pdal_filter: Literal["smrf", "pmf"] = Field(
        "smrf",
        description="PDAL's ground filter: simple (SMRF) or progressive (PMF) morphological; SMRF is the better on the ISPRS samples.",
    )
    ground_from: Literal["auto", "producer", "own"] = Field(
        "auto",
        description="Keep the producer's ground class, make our own, or decide from measured evidence.",
    )
    noise_below_m: float = Field(
        1.5, ge=0.2, le=20, description="Returns this far below the bare earth are low noise; cliffs' feet are ground."
    )
    ground_window_m: float = Field(
        24.0, ge=2, le=60, description="Half the width of the widest object to take off the ground: large halls."
    )
    ground_plant_m: float = Field(
        0.05, ge=0.02, le=2, description="Height above its neighbours' plane from which a return is a plant."
    )


class RoofSettings(Section):
    """Roofs among the returns (ASPRS class 6)."""

    min_patch_m2: float = Field(15.0, ge=4, le=100, description="Smallest roof: a shed of 4 m by 4 m.")


class WireSettings(Section):
    """Wires among the returns (ASPRS class 14); precision comes before completeness."""

    min_height_m: float = Field(
        4.0, ge=2, le=15, description="Lowest wire: lines hang above 5 m, less what the bare earth may be off."
    )
