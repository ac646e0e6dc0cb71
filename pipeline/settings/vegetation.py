"""Open land, runnability, trees and rides (ISOM section 3.4), how notes move the limits, and when leaves were out."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from pipeline.settings.section import Section


class LayerSettings(Section):
    """The layers of plants that pulses are counted in, block by block; what is made of the counts is not in here."""

    running_bottom_m: float = Field(
        0.3,
        ge=0.05,
        le=1,
        description="Lower edge of the running layer: a runner steps over what is lower. Higher, heath and brash turn from green to white; lower, they turn green, and so does rough ground.",
    )
    visibility_bottom_m: float = Field(
        1.0,
        ge=0.5,
        le=2,
        description="Lower edge of what blocks the view. Higher, more green is hatched (407, 409) rather than full (406, 408), as more can be seen over; lower, less of it is.",
    )
    running_top_m: float = Field(
        2.5,
        ge=1.5,
        le=4,
        description="Upper edge of the running layer: a runner passes below what is higher. Higher, low branches turn forest green; lower, branches at head height no longer count, and forest that has them turns white.",
    )


class VegetationSettings(LayerSettings):
    """Density of the running layer, runnability bands, open land, trees, rides."""

    slow_from_m2_per_m3: float = Field(
        0.1,
        gt=0,
        le=1,
        description="Density of the running layer at which 406 begins, where running falls to 80 % (ISOM 2017-2, 2.3). The density is our choice: no notes made on foot are behind it, and it lies between the grades of 0.03 and 0.22 that invented scenes were made of. Higher, light green turns white; lower, white turns light green. Calibration starts from it and replaces it, until it is changed here again.",
    )
    walk_from_m2_per_m3: float = Field(
        0.4,
        gt=0,
        le=3,
        description="Density of the running layer at which 408 begins, where running falls to 60 % (ISOM 2017-2, 2.3). The density is our choice: no notes made on foot are behind it, and it lies between the grades of 0.22 and 0.55 that invented scenes were made of. Higher, medium green turns light green; lower, light green turns medium. Calibration starts from it and replaces it, until it is changed here again.",
    )
    fight_from_m2_per_m3: float = Field(
        0.9,
        gt=0,
        le=6,
        description="Density of the running layer at which 410 begins, where running falls to 20 % (ISOM 2017-2, 2.3). The density is our choice: no notes made on foot are behind it, and it lies between the grades of 0.55 and 1.2 that invented scenes were made of. Higher, dark green turns medium green; lower, medium green turns dark. Calibration starts from it and replaces it, until it is changed here again.",
    )
    density_window_m: float = Field(
        1.75,
        ge=0.5,
        le=10,
        description="Sigma of the window that pulses are counted in: 1.75 counts over 38 m2, well below the smallest 410. Higher, small thickets and gaps melt into their surroundings; lower, more of them show, and more by chance where pulses are few.",
    )
    open_max_cover_ratio: float = Field(
        0.1,
        ge=0.02,
        le=0.3,
        description="A place is open land where a smaller share of the pulses than this meets trees. Higher, yellow reaches in under the forest's edge and into thin forest; lower, it draws back from the crowns and small clearings are lost.",
    )
    open_radius_m: float = Field(
        6.0,
        ge=2,
        le=15,
        description="A gap between crowns is open land only where a circle of this radius fits in. Higher, narrow clearings turn from yellow to white; lower, gaps between crowns and tracks turn yellow.",
    )
    rough_growth_ratio: float = Field(
        0.1,
        ge=0.02,
        le=0.5,
        description="Open land where a greater share of the pulses than this meets grass or heath is rough. Higher, 403 turns into 401; lower, 401 turns into 403.",
    )
    bush_least_height_m: float = Field(
        1.5,
        ge=1,
        le=4,
        description="Lowest bush drawn in open land (418): 1.5 hides a crouching runner. Higher, fewer green dots; lower, more of them, tall weeds among them.",
    )
    large_tree_height_m: float = Field(
        8.0,
        ge=4,
        le=20,
        description="A tree in open land is drawn large (417) from this height up, small (418) below. Higher, green rings turn into green dots; lower, dots turn into rings.",
    )
    ride_min_contrast: float = Field(
        0.2,
        ge=0.05,
        le=0.5,
        description="A ride lets through a share of the pulses greater by this than the clearer of its sides does. Higher, only wide, clean rides are drawn; lower, overgrown ones too, and chance rows of gaps between crowns.",
    )
    stand_edge_step_m: float = Field(
        7.0,
        ge=3,
        le=25,
        description="Stands whose heights differ by this or more have a distinct boundary (416; common practice, no source). Higher, fewer dotted lines; lower, more, down to differences no runner sees.",
    )
    edge_smooth_m: float = Field(
        1.5,
        ge=0.5,
        le=5,
        description="How far edges of areas may be moved to be smooth: 1.5 is 0.1 mm on a map at 1:15 000. Higher, outlines are simpler and small bays are lost; lower, they follow every crown.",
    )


class CalibrationSettings(Section):
    """How notes made on foot move the limits of the runnability bands (`tussock calibrate`)."""

    note_radius_m: float = Field(
        5.0,
        ge=1,
        le=50,
        description="A note made at a point is compared with the median density this far around it. Higher, notes speak of whole stands, but one beside a path or a thicket is compared with both; lower, of single bushes, and they scatter more.",
    )
    next_notes: int = Field(
        8,
        ge=0,
        le=100,
        description="Places proposed for the next notes: an hour or two on foot. Higher, the list goes on with places that teach less; lower, it stops at the most telling ones. The map itself changes only with the notes.",
    )


SpringDay = Annotated[float, Field(ge=1, le=200)]
"""A day of the year in spring or early summer."""


class SurveySettings(Section):
    """When leaves were out."""

    leaves_out_days_of_year: tuple[SpringDay, SpringDay] = Field(
        (110.0, 121.0),
        description="Days of the year on which broadleaved trees come into leaf in the lowlands at 45 degrees north, by the sea and inland: 20 April and 1 May (common practice, no source). Latitude and height are allowed for.",
    )
    leaves_down_day_of_year: float = Field(
        305.0,
        ge=240,
        le=365,
        description="Day of the year on which broadleaved trees are bare again, in the lowlands at 45 degrees north: 1 November (common practice, no source).",
    )
