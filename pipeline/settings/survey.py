"""When a survey is good enough, and for what."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section

Grades = tuple[float, float, float]
"""Least value for good, usable and poor; below the last a feature cannot be found."""


class SurveySettings(Section):
    """Intake of the tiles and the judgement of the survey."""

    reproject_geographic: bool = Field(
        True,
        description="Reproject tiles in degrees to UTM. Off: they are refused, for those who know theirs to be mislabelled.",
    )
    max_scale_error_ratio: float = Field(
        0.01,
        ge=0.001,
        le=0.5,
        description="Stretch of the tiles' projection above which UTM replaces it; national grids stay below 0.005.",
    )
    sparse_m2_per_point: float = Field(
        4.0,
        ge=0.1,
        le=1000,
        description="Ground per point above which a tile is searched for stray points that blow up its extent.",
    )
    stray_gap_m: float = Field(
        1000.0,
        ge=100,
        le=100_000,
        description="Empty ground between a tile and a few points for them to be strays; no forest is that empty.",
    )
    sample_tiles: int = Field(
        20,
        ge=1,
        le=1000,
        description="Most tiles a sample is taken from; each adds about 0.1 s.",
    )
    ground_cell_m: float = Field(
        3.0,
        ge=1,
        le=20,
        description="Cell whose lowest return stands for the ground in the estimate of ground density: in dense forest "
        "smaller cells often hold no ground return.",
    )
    ground_tolerance_m: float = Field(
        0.5,
        ge=0.1,
        le=2,
        description="Height above the lowest return of a cell that still counts as ground in that estimate.",
    )
    ground_tilt_error_m: float = Field(
        0.25,
        ge=0,
        le=2,
        description="Added to it for each metre of rise over run: the tilt of the lowest surface is good to about a sixth, "
        "over half a cell of 3 m (measured on made scenes).",
    )
    hanging_slope: float = Field(
        0.75,
        ge=0.2,
        le=5,
        description="A lowest return that stands steeper than this above those around is in the canopy; cliffs of 37 "
        "degrees pass.",
    )
    least_overlap_cells: int = Field(
        50,
        ge=5,
        le=10_000,
        description="Cells with ground returns of two flight lines from which their offset is told: their median is "
        "then good to about 2 cm in forest.",
    )
    large_offset_m: float = Field(
        0.1,
        ge=0.02,
        le=1,
        description="Offset of flight lines worth a caution: the USGS Lidar Base Specification allows 0.08 m between "
        "swaths (from memory).",
    )
    void_spacings: float = Field(
        4.0,
        ge=2,
        le=20,
        description="Side of an empty cell that counts as a hole, in pulse spacings: 4 is the data void of the USGS "
        "Lidar Base Specification.",
    )
    contours_ground_per_m2: Grades = Field(
        (0.5, 0.1, 0.02),
        description="Ground returns for good, usable, poor contours: spacings of 1.4, 3 and 7 m against contours that "
        "lie 10 m apart on a slope of 1 in 2. Common practice, no source.",
    )
    landform_ground_per_m2: Grades = Field(
        (2.0, 0.5, 0.1),
        description="The same for knolls, pits and re-entrants: a knoll 5 m across then has 40, 10 and 2 returns.",
    )
    open_land_pulses_per_m2: Grades = Field(
        (2.0, 0.5, 0.1),
        description="Pulses for good, usable, poor open land: gaps of 5 m then have 50, 12 and 2. Common practice.",
    )
    runnability_ground_per_m2: Grades = Field(
        (2.0, 0.7, 0.2),
        description="Returns from the ground, as a measure of the pulses that crossed the running layer: a cell of 5 m "
        "has 50, 17 and 5 of them. Common practice.",
    )
    least_returns_per_pulse: float = Field(
        1.05,
        ge=1,
        le=3,
        description="Returns a pulse below which undergrowth cannot be told: forest gives 1.3 to 2.5. Common practice.",
    )
    boulder_width_m: float = Field(
        2.0, ge=0.5, le=10, description="The boulder that is meant when boulders are judged: 1 m high, 2 m wide."
    )
    boulder_returns: Grades = Field(
        (12.0, 6.0, 2.0),
        description="Returns on such a boulder for good, usable, poor: fewer than 2 cannot be told from noise.",
    )
    boulder_recall: Grades = Field(
        (0.75, 0.5, 0.2),
        description="Share of the boulders of 1 to 2 m to be found for good, usable, poor: three in four leave a mapper "
        "few to add, fewer than half must be looked for everywhere (common practice, no source).",
    )
    cliffs_ground_per_m2: Grades = Field(
        (4.0, 1.0, 0.3),
        description="Ground returns for cliffs: spacings of 0.5, 1 and 1.8 m against a lip and a foot 1 m apart.",
    )
    paths_ground_per_m2: Grades = Field(
        (8.0, 4.0, 1.0),
        description="Ground returns for paths: as many lie on each metre of a path 1 m wide. Common practice.",
    )
    rides_pulses_per_m2: Grades = Field(
        (2.0, 0.5, 0.1), description="Pulses for rides: gaps in the canopy some 5 m wide. Common practice, no source."
    )
    water_pulses_per_m2: Grades = Field(
        (4.0, 1.0, 0.2), description="Pulses for the flatness and the silence of water. Common practice, no source."
    )
    least_water_ratio: float = Field(
        0.001,
        ge=0,
        le=1,
        description="Share of water returns among pulses from which the producer is believed to have marked the lakes.",
    )
    buildings_pulses_per_m2: Grades = Field(
        (4.0, 1.0, 0.3), description="Pulses for buildings: a hut of 4 m has 64, 16 and 5 returns. Common practice."
    )
    whole_points: int = Field(
        6_000_000,
        ge=0,
        le=1_000_000_000,
        description="Points up to which the survey reads everything (about 2 s); above, a sample.",
    )
    sample_points: int = Field(
        2_000_000,
        ge=10_000,
        le=100_000_000,
        description="Points of a sample over all tiles: enough for densities to 1 %, read in about a second.",
    )
    min_points_per_m2: float = Field(
        0.05,
        ge=0.001,
        le=10,
        description="Density below which nothing can be drawn: one return every 4.5 m misses even the contours.",
    )
    min_area_m2: float = Field(
        400.0,
        ge=1,
        le=1_000_000,
        description="Ground below which there is nothing to map: 20 m square is 2 mm on a 1:10000 sheet.",
    )
    leaves_out_days_of_year: tuple[float, float] = Field(
        (110.0, 121.0),
        description="Day of the year on which broadleaved trees come into leaf in the lowlands at 45 degrees north, by the "
        "sea and inland: 20 April and 1 May (common practice, no source).",
    )
    leaves_down_day_of_year: float = Field(
        305.0, ge=240, le=365, description="Day they are bare again there: 1 November (common practice, no source)."
    )
    spring_days_per_deg: tuple[float, float] = Field(
        (2.0, 4.0),
        description="Days by which spring is later for each degree farther north, by the sea and inland: the latter "
        "Hopkins (1918), from memory; the former common practice, no source.",
    )
    spring_days_per_m: float = Field(
        0.033, ge=0, le=0.1, description="The same for each metre higher: four days in 400 feet (Hopkins 1918)."
    )
    leaves_turning_days: float = Field(
        10.0,
        ge=0,
        le=60,
        description="So near to these days it is not said whether leaves were out: one year is earlier.",
    )
    season_least_latitude_deg: float = Field(
        30.0, ge=0, le=90, description="Nearer to the equator trees keep no such seasons, and none is told."
    )
