"""Water (ISOM section 3.3)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class WaterSettings(Section):
    """Standing and running water."""

    flat_max_spread_m: float = Field(
        0.3,
        ge=0,
        le=2,
        description="Water whose surface varies by no more (half the interquartile range) is made flat in the bare earth; ripples and noise stay below.",
    )

    thin_max_ratio: float = Field(
        0.25,
        ge=0,
        le=0.9,
        description="Water sends back less than this share of the usual pulses; one swath of two, 0.5.",
    )
    void_max_ratio: float = Field(
        0.15, ge=0, le=0.5, description="With less than this share, the ground is drawn from bank to bank, not seen."
    )
    void_max_spread_m: float = Field(
        1.0,
        ge=0.05,
        le=2,
        description="Half the range of heights such a void may have: its banks, seen up to 1 m high.",
    )
    calm_max_ratio: float = Field(
        0.45, ge=0, le=0.9, description="Water below the aircraft may send back this share; one swath of two sends 0.5."
    )
    calm_max_spread_m: float = Field(
        0.05,
        ge=0.01,
        le=0.3,
        description="Then half the range of heights is at most this: range noise, no ground is so level.",
    )
    pond_min_core_m2: float = Field(
        20.0, ge=5, le=100, description="Smaller thin patches are no start of a pond: a third of the smallest drawn."
    )
    mirror_max_ratio: float = Field(
        0.8, ge=0.2, le=1, description="Straight below the aircraft water sends back more, but still less than land."
    )
    mirror_tolerance_m: float = Field(
        0.06, ge=0.02, le=0.2, description="How near to the level water found must be what continues it: range noise."
    )
    thin_window_pulses: float = Field(
        20.0, ge=5, le=200, description="Usual pulses in the window in which they are counted: 20 vary by a quarter."
    )
    level_tolerance_m: float = Field(
        0.12, ge=0.03, le=0.5, description="Ground within this of the level belongs to the water: ripples and noise."
    )
    shore_max_ratio: float = Field(
        0.55,
        ge=0.3,
        le=1,
        description="Share of the usual returns at a shore: half, where half the window lies on land, and half of the "
        "little that water sends back.",
    )
    level_max_spread_m: float = Field(
        0.25,
        ge=0.05,
        le=1,
        description="Half the range of heights a thin patch may have: shores drawn between returns.",
    )
    survey_mouth_m: float = Field(
        20.0,
        ge=1,
        le=100,
        description="A lake that the survey's edge cuts over less than this is still within the survey.",
    )
    shore_reach_m: float = Field(
        3.0,
        ge=1,
        le=10,
        description="How far beyond the thin patch the shore may lie: half the counting window and more.",
    )
    class_window_m: float = Field(
        3.0, ge=1, le=10, description="Side of the window in which returns of the water class are counted."
    )
    class_min_ratio: float = Field(
        0.5, ge=0.1, le=1, description="Share of them that makes a cell water, as the survey says: most, as at an edge."
    )
    bank_from_m: float = Field(
        2.0,
        ge=0,
        le=10,
        description="The ground around water is looked at from this far beyond the shore: past its blur.",
    )
    bank_to_m: float = Field(
        4.0, ge=1, le=30, description="And up to here: near enough to be the bank and not the slope behind it."
    )
    pond_close_m: float = Field(
        1.0,
        ge=0.25,
        le=5,
        description="Radius of the gaps in water that are closed: stray returns from waves and reed.",
    )
    pond_min_area_m2: float = Field(
        64.0, ge=10, le=500, description="Smallest standing water drawn as an area: 8 m x 8 m (ISOM 2017-2, 302)."
    )
    pond_min_width_m: float = Field(
        4.5, ge=1, le=20, description="Narrower water is no area: 0.3 mm at 1:15 000 (ISOM 2017-2, 302)."
    )
    flow_cell_m: float = Field(
        2.0, ge=0.5, le=10, description="Side of the cells water is led over: about the width of a small channel."
    )
    channel_min_drained_m2: float = Field(
        1_000.0,
        ge=100,
        le=1_000_000,
        description="Ground a channel must drain: the least at a source is 0.1 to 0.2 ha (Montgomery & Dietrich 1988, "
        "from memory); more would lose what a dam of a track leads astray.",
    )
    dam_max_width_m: float = Field(
        14.0,
        ge=2,
        le=40,
        description="Widest barrier water is led through: the foot of a track's bank, with its ditch.",
    )
    dam_max_height_m: float = Field(
        2.5, ge=0.2, le=10, description="Highest barrier water is led through: a bank over a culvert, not a spur."
    )
    dam_min_drop_m: float = Field(
        0.05, ge=0, le=1, description="How much lower the ground beyond must be: less is the noise of the bare earth."
    )
    channel_noise_m: float = Field(
        0.75, ge=0.1, le=3, description="Sigma of the smoothing of the bare earth before channels are looked for."
    )
    channel_side_m: float = Field(
        6.0, ge=2, le=15, description="Distance at which the sides of a channel are compared with its bed."
    )
    channel_min_depth_m: float = Field(
        0.4, ge=0.1, le=3, description="How much both sides must stand higher: four times the error of the bare earth."
    )
    channel_smooth_m: float = Field(
        20.0,
        ge=4,
        le=60,
        description="Length over which the depth is judged, so that one culvert does not end a stream.",
    )
    channel_tolerance_m: float = Field(
        0.5,
        ge=0.05,
        le=5,
        description="Vertices that move a channel by less are dropped: a quarter of its line's width.",
    )
    channel_min_length_m: float = Field(
        41.0, ge=5, le=200, description="Shortest channel: two dashes of 306, 2.75 mm at 1:15 000 (from memory)."
    )
