"""Noise, ground and the classes of returns; the bare earth made from them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.settings.section import Section


class PointsSettings(Section):
    """Noise, ground and classes of the returns."""

    engine: Literal["embedded", "pdal"] = Field(
        "embedded", description="What finds the ground: Tussock's own filter, or a PDAL command line."
    )
    pdal_command: str = Field("pdal", description="The PDAL command line, a name on PATH or a path.")
    pdal_filter: Literal["smrf", "pmf"] = Field(
        "smrf",
        description="PDAL's ground filter: simple (SMRF) or progressive (PMF) morphological; SMRF is the better on the ISPRS samples.",
    )
    ground_from: Literal["auto", "producer", "own"] = Field(
        "auto",
        description="Whose ground is used: the producer's ground class, our own, or of both, return by return, what has nothing below it.",
    )
    noise_below_m: float = Field(
        1.5,
        ge=0.2,
        le=20,
        description="Returns further below the bare earth than this are noise and decide nothing. Up: echoes from below the ground may show as cliffs that are not there. Down: returns from pits and from the foot of cliffs are lost, and real cliffs with them.",
    )
    ground_window_m: float = Field(
        24.0,
        ge=2,
        le=60,
        description="Half the width of the widest object taken off the ground. Up: larger halls go, but hilltops and spurs may be cut flat. Down: the roofs of halls become hills with contours.",
    )
    ground_plant_m: float = Field(
        0.05,
        ge=0.02,
        le=2,
        description="Height above the plane of its neighbours from which a return is a plant, on level ground of a dense survey. Up: heath and grass become ground, and contours turn restless. Down: small rocks and edges are taken for plants, and knolls and banks get lower.",
    )


class RoofSettings(Section):
    """Roofs among the returns (ASPRS class 6)."""

    min_patch_m2: float = Field(
        15.0,
        ge=4,
        le=100,
        description="Area of the smallest roof among the returns. Up: sheds are missing from the map. Down: boulders and dense crowns become buildings.",
    )


class WireSettings(Section):
    """Wires among the returns (ASPRS class 14); precision comes before completeness."""

    min_height_m: float = Field(
        4.0,
        ge=2,
        le=15,
        description="Height above ground of the lowest wire: power lines hang above 5 m. Up: returns of low wires count as vegetation, which then seems to stand under the line. Down: rows of young trees and fences are taken for wires and are missing from the vegetation.",
    )


class TerrainSettings(Section):
    """Bare earth and the grids made from returns."""

    cell_m: float | None = Field(
        None,
        ge=0.25,
        le=5,
        description="Side of a raster cell. Empty: 0.5, 1 or 2, by the density of pulses. Up: quicker, but boulders, small knolls and narrow gaps in the forest are lost. Down: more detail where pulses are dense, noise where they are not, and four times the work for half the side.",
    )
    max_gap_m: float = Field(
        20.0,
        ge=2,
        le=200,
        description="Distance from the nearest ground return beyond which the bare earth is unknown. Up: contours cross lakes and large roofs on guesswork. Down: they break off where the ground is seldom seen.",
    )
