"""Open land, runnability, trees and rides (ISOM section 3.4)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class LayerSettings(Section):
    """The layers of plants that pulses are counted in, block by block; what is made of the counts is not in here."""

    running_bottom_m: float = Field(
        0.3, ge=0.05, le=1, description="Lower edge of the running layer: below it a runner steps over."
    )
    visibility_bottom_m: float = Field(
        1.0, ge=0.5, le=2, description="Lower edge of what blocks the view; what stays below it can be seen over."
    )
    running_top_m: float = Field(
        2.5, ge=1.5, le=4, description="Upper edge of the running layer: above it a runner passes below."
    )


class VegetationSettings(LayerSettings):
    """Density of the running layer, runnability bands, open land, rides."""

    extinction: float = Field(
        0.5, ge=0.3, le=1, description="k of Beer-Lambert: 0.5 for leaves at random angles, whatever the pulse's."
    )
    slow_from_m2_per_m3: float = Field(
        0.1, gt=0, le=1, description="Density where running falls to 80 % (406 begins); calibration moves it."
    )
    walk_from_m2_per_m3: float = Field(
        0.4, gt=0, le=3, description="Density where running falls to 60 % (408 begins); calibration moves it."
    )
    fight_from_m2_per_m3: float = Field(
        0.9, gt=0, le=6, description="Density where running falls to 20 % (410 begins); calibration moves it."
    )
    density_window_m: float = Field(
        1.75, ge=0.5, le=10, description="Sigma of the window pulses are counted in: 38 m2, below the 64 m2 of a 410."
    )
    open_max_cover_ratio: float = Field(
        0.1, ge=0.02, le=0.3, description="Open land has less tree cover than this, seen by pulses."
    )
    open_radius_m: float = Field(
        6.0, ge=2, le=15, description="A gap between crowns is open land only where a circle of this radius fits in."
    )
    rough_growth_ratio: float = Field(
        0.1, ge=0.02, le=0.5, description="Open land where more pulses than this meet grass or heath is rough (403)."
    )
    bush_least_height_m: float = Field(
        1.5, ge=1, le=4, description="Lowest bush drawn in open land (418): one that hides a crouching runner."
    )
    large_tree_height_m: float = Field(
        8.0, ge=4, le=20, description="From here up a tree in open land is large (417), below it small (418)."
    )
    ride_min_contrast: float = Field(
        0.2, ge=0.05, le=0.5, description="A ride lets this share more of the pulses through than its clearer side."
    )
    stand_edge_step_m: float = Field(
        7.0, ge=3, le=25, description="Stands that differ less are no distinct boundary (common practice, no source)."
    )
    edge_smooth_m: float = Field(
        2.0, ge=0.5, le=5, description="Tolerance of area edges: 0.13 mm on the standard's 1:15 000 map."
    )
