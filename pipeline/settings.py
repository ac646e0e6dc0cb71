"""The area file and the expert settings: what a mapper decides, what a lidar engineer may tune.

The area file is about fifteen lines of YAML. Everything else has a default here, with its unit in its name and its
reason in its description; `config/settings.md` and `config/area.schema.json` are made from this file
(`make settings`). A file that does not fit is refused with every problem at once: the line, what is allowed, and
the nearest name.
"""

from __future__ import annotations

import datetime
import difflib
import json
import typing
from pathlib import Path
from typing import Annotated, Literal, Self

import pyproj
import yaml
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from pipeline.errors import SettingsError


class Section(BaseModel):
    """A group of settings; unknown names are refused and values never change after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class FlowSettings(Section):
    """How the work is cut up. Results do not depend on it."""

    block_m: float | None = Field(
        None,
        ge=100,
        le=2000,
        description="Side of a working block. Empty: the largest of 500, 250 and 125 that keeps to block_max_returns.",
    )
    block_max_returns: int = Field(
        6_000_000,
        ge=100_000,
        le=100_000_000,
        description="Returns a block and its halo may hold; a job needs about 0.3 GiB for each million.",
    )
    halo_m: float = Field(
        60.0,
        ge=20,
        le=200,
        description="Margin of neighbouring points a block reads; must exceed the reach of all neighbourhood work.",
    )


Grades = tuple[float, float, float]
"""Least value for good, usable and poor; below the last a feature cannot be found."""


class Flow(Section):
    """How the work of one area is cut up, decided: what steps are told."""

    block_m: float = Field(gt=0)
    halo_m: float = Field(ge=0)


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
    pdal_threshold_m: float = Field(
        0.5, ge=0.05, le=5, description="SMRF's tolerance on level ground: the single set of Pingel et al. 2013."
    )
    pdal_scalar_m: float = Field(
        1.25, ge=0, le=5, description="SMRF's tolerance per rise over run: the single set of Pingel et al. 2013."
    )
    choice_blocks: int = Field(
        3, ge=1, le=100, description="Blocks on which it is decided whose ground is used; each takes a few seconds."
    )
    ground_from: Literal["auto", "producer", "own"] = Field(
        "auto",
        description="Keep the producer's ground class, make our own, or decide from measured evidence.",
    )
    noise_below_m: float = Field(
        1.5, ge=0.2, le=20, description="Returns this far below the bare earth are low noise; cliffs' feet are ground."
    )
    ground_pit_m: float = Field(
        1.5, ge=0.5, le=20, description="A lone return this much deeper than the plane of its neighbours took a detour."
    )
    producer_min_ground_per_m2: float = Field(
        0.05,
        ge=0,
        le=10,
        description="Fewer ground returns of the producer than this, where returns are, make no surface of 4 m detail.",
    )
    producer_max_above_m: float = Field(
        0.1,
        ge=0.02,
        le=1,
        description="The producer's ground may lie this far above ours on the whole; more means plants in it.",
    )
    producer_max_spread_m: float = Field(
        0.25,
        ge=0.05,
        le=2,
        description="And spread this much about it: 5 to 10 cm are noise, the rest is what the two filters dispute.",
    )
    producer_min_share: float = Field(
        0.85,
        ge=0,
        le=1,
        description="Share of cells with our ground in which the producer's must be near; less means holes in it.",
    )
    producer_near_m: float = Field(
        4.0, ge=1, le=20, description="How near: between the producer's ground returns a mapper's detail is lost."
    )
    producer_join_m: float = Field(
        0.08,
        ge=0,
        le=0.5,
        description="Where the producer's ground is kept, our returns this near its surface join: thinned, not refused.",
    )
    noise_cell_m: float = Field(
        5.0, ge=1, le=20, description="Side of the cubes in which lone returns are sought; a few pulse spacings."
    )
    noise_max_returns: int = Field(
        3, ge=1, le=50, description="A return with at most this many in its own and the 26 cubes around is alone."
    )
    noise_min_gap_m: float = Field(
        1.0, ge=0.1, le=50, description="A lone return is noise when it is this far below or above all others near by."
    )
    ground_cell_m: float = Field(
        1.0, ge=0.25, le=4, description="Side of the cells whose lowest return starts the ground filter."
    )
    ground_window_m: float = Field(
        24.0, ge=2, le=60, description="Half the width of the widest object to take off the ground: large halls."
    )
    ground_edge_m: float = Field(
        3.0,
        ge=0,
        le=20,
        description="How far a window may reach beyond the returns: spares banks at the survey's edge.",
    )
    ground_first_slope: float = Field(
        0.15,
        ge=0.01,
        le=2,
        description="Rise over run a window may cut off at first sight (Pingel et al. 2013, one set for all).",
    )
    ground_slope: float = Field(
        0.1, ge=0.01, le=2, description="Rise over run a window may cut off on level ground: shapes of flat land."
    )
    ground_slope_share: float = Field(
        0.3, ge=0, le=2, description="Share of the slope around that a window may cut off in addition: crests, edges."
    )
    ground_slope_sigma_m: float = Field(
        6.0,
        ge=1,
        le=20,
        description="How far around the slope is taken: wider than objects' edges, narrower than hills.",
    )
    ground_step_m: float = Field(
        0.1, ge=0, le=1, description="Height any window may cut off: noise of the heights and roughness of the ground."
    )
    ground_spread_m: float = Field(
        4.0, ge=1, le=10, description="Holes without returns narrower than twice this do not stop a gentle way."
    )
    ground_way_from_m: float = Field(
        2.0, ge=1, le=10, description="Only what windows of this radius and wider cut off can be terrain after all."
    )
    ground_way_m: float = Field(
        12.0, ge=2, le=40, description="Longest gentle way from a cut cell to the ground: half a crest's width."
    )
    ground_way_step_m: float = Field(
        0.1, ge=0, le=1, description="Step a gentle way may take from cell to cell on the level."
    )
    ground_way_slope: float = Field(
        0.2, ge=0, le=2, description="Slope a gentle way may have in addition; walls and plants are steeper."
    )
    ground_ways: int = Field(
        2,
        ge=1,
        le=8,
        description="Of 8 directions, how many must lead gently to the ground; the edge of an object has one.",
    )
    ground_plant_m: float = Field(
        0.05, ge=0.02, le=2, description="Height above its neighbours' plane from which a return is a plant."
    )
    ground_plant_m_per_m: float = Field(
        0.12,
        ge=0,
        le=1,
        description="Added to it for each metre between returns: sparse surveys are old, less exact, and see less of bends.",
    )
    ground_plant_slope_share: float = Field(
        0.4, ge=0, le=5, description="Share of the plane's rise over the neighbourhood's width added to it."
    )
    ground_plant_roughness: float = Field(
        4.0, ge=0, le=10, description="Added to it for each metre of roughness below the plane; spares rocks and edges."
    )
    ground_lip_m: float = Field(
        1.0, ge=0.3, le=10, description="What stands out this far, level with many neighbours, is the lip of a cliff."
    )
    ground_lip_share: float = Field(
        0.5, ge=0.2, le=1, description="Which share: at a straight edge half or more lie behind it or beside it."
    )
    ground_plane_neighbours: int = Field(
        7, ge=3, le=24, description="Fewest neighbours through which a plane is drawn; else wider cells are looked at."
    )
    ground_plane_rounds: int = Field(
        3, ge=1, le=20, description="How often the planes are drawn anew with less weight on what stands out."
    )
    ground_rounds: int = Field(
        2, ge=0, le=5, description="How often cells near the surface join it and plants are taken off again."
    )
    ground_join_m: float = Field(
        0.3, ge=0.02, le=2, description="How far above the surface the lowest return of a joining cell may lie."
    )
    ground_join_slope_m: float = Field(0.7, ge=0, le=5, description="Added to it for each metre of rise over run.")
    ground_tolerance_m: float = Field(
        0.05,
        ge=0.02,
        le=2,
        description="How far from the surface a return on level ground may lie: noise of the heights.",
    )
    ground_tolerance_m_per_m: float = Field(
        0.25,
        ge=0,
        le=1,
        description="Added to it for each metre between returns: sparse surveys are less exact and miss bends.",
    )
    ground_spacing_sigma_m: float = Field(
        3.0, ge=1, le=20, description="How far around the spacing of the returns is taken: some of them even if sparse."
    )
    ground_spacing_limit_m: float = Field(
        1.5, ge=0.5, le=10, description="Sparser surveys get no wider tolerance: low plants would pass."
    )
    ground_tolerance_slope_share: float = Field(
        0.8, ge=0, le=5, description="Share of the rise from one return to the next added to it."
    )
    ground_tolerance_cliff_m: float = Field(
        1.3,
        ge=0,
        le=5,
        description="Added for each metre of rise over run beyond 1 (45 degrees): foot and lip share a cell.",
    )
    ground_cliff_rise: float = Field(
        2.5, ge=0.5, le=20, description="Rise over run from cell to cell from which a cell may hold both foot and lip."
    )
    ground_below_factor: float = Field(
        4.0,
        ge=1,
        le=20,
        description="Returns may lie this many tolerances below the surface: nothing grows below ground.",
    )
    vegetation_from_m: float = Field(
        0.1, ge=0, le=0.5, description="Height above ground where vegetation begins; lower returns stay unclassified."
    )
    medium_vegetation_from_m: float = Field(
        0.5, ge=0.1, le=2, description="Height where low becomes medium vegetation: common practice, no source."
    )
    high_vegetation_from_m: float = Field(
        2.0, ge=0.5, le=10, description="Height where medium becomes high vegetation: common practice, no source."
    )


class RoofSettings(Section):
    """Roofs among the returns (ASPRS class 6)."""

    cell_m: float = Field(
        0.5, ge=0.25, le=2, description="Cells in which roofs are told: a sixth of a shed, and 1 return at 4 pulses/m2."
    )
    window_m: float = Field(
        1.5, ge=0.5, le=5, description="Side of the window a plane is fitted in: narrower than a dormer."
    )
    wide_window_m: float = Field(
        2.5, ge=1, le=8, description="The same where returns are few: 6 returns at 1 pulse/m2, still within a shed."
    )
    small_window_returns: int = Field(
        7, ge=4, le=50, description="With fewer returns in the window the wide one is taken."
    )
    min_returns: int = Field(5, ge=4, le=50, description="Fewest returns a plane is judged by: three fit any plane.")
    min_height_m: float = Field(
        2.0, ge=1, le=5, description="Lowest roof: what a person can stand under; common practice, no source."
    )
    max_height_m: float = Field(
        40.0, ge=10, le=200, description="Highest roof looked for: what stands in or near a forest is lower."
    )
    max_residual_m: float = Field(
        0.12,
        ge=0.02,
        le=0.5,
        description="Roughest roof: tiles and the noise of a survey give 0.03 to 0.08, crowns 0.5.",
    )
    max_slope_deg: float = Field(
        60.0, ge=30, le=80, description="Steeper planes are walls; steep roofs reach 60 degrees."
    )
    min_closed_ratio: float = Field(
        0.8,
        ge=0.5,
        le=1,
        description="Share of pulses that must end on the plane; a roof lets none through but at its edge.",
    )
    min_facet_m2: float = Field(
        2.0, ge=0.5, le=20, description="Smallest piece of smooth plane; crowns have smooth spots of one or two cells."
    )
    eaves_m: float = Field(
        1.5,
        ge=0.5,
        le=4,
        description="How far a plane is followed beyond its smooth cells: a window's width, to the eaves.",
    )
    plane_tolerance_m: float = Field(
        0.35, ge=0.05, le=1, description="Distance of roof returns from the plane: three times the roughest roof."
    )
    min_patch_m2: float = Field(15.0, ge=4, le=100, description="Smallest roof: a shed of 4 m by 4 m.")
    min_smooth_ratio: float = Field(
        0.3,
        ge=0.1,
        le=1,
        description="Share of smooth cells in a patch: 0.37 in a square of 4 m, whose edge is 0.75 m wide.",
    )
    max_flush_ratio: float = Field(
        0.15,
        ge=0,
        le=1,
        description="Share of the edge at which low returns carry the plane on: slopes and banks, not eaves.",
    )
    max_hole_m2: float = Field(6.0, ge=0, le=50, description="Largest hole filled: chimneys and dormers.")
    chimney_m: float = Field(2.5, ge=0, le=6, description="How far what stands on a roof may rise above its plane.")
    wall_from_m: float = Field(
        1.0,
        ge=0.3,
        le=3,
        description="Lowest returns of a building's walls and eaves: above grass and what lies about.",
    )
    boulder_max_m2: float = Field(
        50.0, ge=10, le=200, description="Largest patch that may be the top of a boulder: 8 m across."
    )
    boulder_max_height_m: float = Field(
        5.0, ge=2, le=15, description="Mean height of a patch above which it is no boulder: rock as high is rare."
    )
    boulder_roundness: float = Field(
        0.8, ge=0.5, le=1, description="Low small patches may be boulders if rounder than this: a square has 0.785."
    )
    hut_fill_ratio: float = Field(
        0.87, ge=0.79, le=1, description="They are huts if they fill this share of a rectangle: a disc fills 0.785."
    )


class WireSettings(Section):
    """Wires among the returns (ASPRS class 14); precision comes before completeness."""

    cell_m: float = Field(
        1.0, ge=0.5, le=3, description="Cells whose columns, three by three, must be empty around a wire: 1 m clear."
    )
    min_height_m: float = Field(
        4.0, ge=2, le=15, description="Lowest wire: lines hang above 5 m, less what the bare earth may be off."
    )
    growth_from_m: float = Field(
        3.0, ge=0.5, le=8, description="Growth below a wire may be as high: corridors are mown every few years."
    )
    clear_m: float = Field(
        2.0,
        ge=1,
        le=10,
        description="Distance within which most of what is high must hang; a line keeps more clearance.",
    )
    min_hanging_ratio: float = Field(
        0.5, ge=0, le=1, description="Share of it that must: at the edge of a deck or a crown it is far less."
    )
    max_layer_m: float = Field(
        2.5, ge=0.5, le=8, description="Thickest layer in a column: a bundle of wires; crowns are deeper than 3 m."
    )
    max_stopped_ratio: float = Field(
        0.6, ge=0.1, le=2, description="High returns per low last return of a column: wires stop few pulses, roofs all."
    )
    window_m: float = Field(
        8.0, ge=3, le=15, description="Reach in which returns must lie along a line: 10 of them at 1 return a metre."
    )
    min_returns: int = Field(
        6, ge=4, le=50, description="Fewest returns within the reach: fewer lie in line by chance."
    )
    max_spread_m: float = Field(
        1.5, ge=0.3, le=4, description="Standard deviation across: three wires 1.5 m apart have 1.2 m."
    )
    min_spread_ratio: float = Field(
        0.4, ge=0.2, le=0.57, description="Standard deviation along, per reach: 0.58 on an even line, 0.29 at its end."
    )
    least_length_m: float = Field(
        30.0, ge=10, le=40, description="Shortest chain: a row of crowns is shorter, a span is 50 m; below the halo."
    )
    bundle_m: float = Field(
        2.5, ge=0.5, le=6, description="Hanging returns this near to a wire are wires of its bundle."
    )


class TerrainSettings(Section):
    """Bare earth and the grids made from returns."""

    cell_m: float | None = Field(
        None,
        ge=0.25,
        le=5,
        description="Side of a raster cell. Empty: 0.5 from 3 pulses/m2, 1 from 0.5, else 2.",
    )
    max_gap_m: float = Field(
        20.0, ge=2, le=200, description="Further than this from any ground return the surface is unknown."
    )
    water_max_off_m: float = Field(
        0.5,
        ge=0.05,
        le=5,
        description="Ground in a lake's outline that lies further from its level is an island or the bank.",
    )


class LandformSettings(Section):
    """Contours and landforms. Paper sizes are those of ISOM 2017-2 at 1:15 000, whatever the sheet's scale."""

    contour_cell_m: float = Field(
        1.0,
        ge=0.5,
        le=5,
        description="Cell the contours are traced on. The smallest bend is 4 m on the ground; finer cells show noise.",
    )
    contour_smoothing_m: float = Field(
        2.0,
        ge=0,
        le=20,
        description="Standard deviation of the smoothing before tracing: half the smallest bend, 0.25 mm (ISOM 101).",
    )
    corner_smoothing_m: float = Field(
        2.0, ge=0, le=10, description="Smoothing that turns creases into bends as round as a pen draws them."
    )
    calm_share: float = Field(
        0.1,
        ge=0,
        le=0.25,
        description="Share of the interval contours may leave the ground by to run calmly; ISOM allows a quarter.",
    )
    calm_steep_deg: float = Field(
        25.0,
        ge=5,
        le=80,
        description="Slope from which contours are hardly calmed: half a metre moves them by less than 1 m there.",
    )
    calm_smoothing_m: float = Field(4.0, ge=1, le=50, description="Smoothing of one calming pass, one smallest bend.")
    calm_passes: int = Field(8, ge=0, le=100, description="Calming passes; eight of 4 m reach shapes 30 m across.")
    smallest_bend_mm: float = Field(
        0.25, ge=0.05, le=2, description="Smallest bend of a contour, from centre to centre of the line (ISOM 101)."
    )
    shape_width_m: float = Field(
        15.0, ge=5, le=60, description="Width over which a re-entrant or spur is measured: about a millimetre of map."
    )
    shape_depth_share: float = Field(
        0.5,
        ge=0.1,
        le=2,
        description="Share of the interval a re-entrant or spur is deep from which calming may not cut it short.",
    )
    min_contour_gap_mm: float = Field(
        0.15, ge=0.05, le=1, description="White between two contours (ISOM 2.6, from memory: thin brown lines 0.15)."
    )
    max_shift_share: float = Field(
        0.15,
        ge=0,
        le=0.5,
        description="Share of the interval a contour may move to keep off its neighbours; with calm_share ISOM's 25 %.",
    )
    neck_shift_share: float = Field(
        0.25,
        ge=0,
        le=0.45,
        description="Share of the interval the surface may be off where contours of one level nearly touch (ISOM 101).",
    )
    neck_passes: int = Field(8, ge=2, le=50, description="Rounds of parting contours that nearly touch.")
    contour_line_mm: float = Field(0.14, ge=0.05, le=0.5, description="Width of a contour (ISOM 101).")
    index_line_mm: float = Field(0.25, ge=0.05, le=0.5, description="Width of an index contour (ISOM 102).")
    min_hill_mm: tuple[float, float] = Field(
        (0.9, 0.6), description="Length and width over all of the smallest hill drawn with a contour (ISOM 101)."
    )
    min_hollow_mm: tuple[float, float] = Field(
        (1.1, 0.7), description="Length and width over all of the smallest hollow drawn with a contour (ISOM 101)."
    )
    ring_shift_share: float = Field(
        0.25,
        ge=0,
        le=0.5,
        description="Share of the interval a closed contour may be off to be large enough (ISOM 101: 25 %). Calming has "
        "already lowered the hill, so the ground itself is missed by less.",
    )
    min_open_contour_mm: float = Field(
        0.6, ge=0, le=5, description="Shorter stubs of contours, cut off at the edge of the survey, are left out."
    )
    vertex_spacing_mm: float = Field(
        0.3, ge=0.05, le=2, description="Least distance of two vertices on the sheet: a line a mapper can still edit."
    )
    index_every: int = Field(5, ge=2, le=10, description="Every fifth contour is an index contour (ISOM 102).")
    vertex_tolerance_m: float = Field(
        0.1, ge=0, le=2, description="Vertices that move the line by less are dropped; well below its own width, 2 m."
    )
    half_seen_gap_m: float = Field(
        4.0,
        gt=0,
        le=50,
        description="Distance to the nearest ground return at which half the confidence is gone: the smallest bend.",
    )
    half_noise_m: float = Field(
        0.5,
        gt=0,
        le=5,
        description="Noise of the bare earth at which half the confidence is gone: half of what makes the lowest knoll.",
    )
    noise_finest_m: float = Field(
        4.0, ge=1, le=10, description="Smaller shapes are noise: the smallest bend (ISOM 101)."
    )
    noise_reach_m: float = Field(
        10.0, ge=2, le=50, description="Distance within which noise is taken together: the size of a knoll."
    )
    tall_canopy_m: float = Field(20.0, gt=0, le=80, description="Trees from this height count fully as cover.")
    canopy_share: float = Field(
        0.1, ge=0, le=1, description="Confidence lost under tall trees, where the ground filter itself is less sure."
    )
    slope_line_mm: float = Field(0.4, ge=0.2, le=2, description="Length of a slope line (ISOM 101.1, from memory).")
    lone_contour_mm: float = Field(
        8.0,
        ge=1,
        le=100,
        description="Length of an open contour without a neighbour in sight from which a slope line is drawn: there is "
        "nothing else to tell up from down (common practice).",
    )
    form_line_mm: float = Field(0.10, ge=0.05, le=0.5, description="Width of a form line (ISOM 103).")
    form_line_min_error_share: float = Field(
        0.25,
        ge=0.05,
        le=0.5,
        description="Share of the interval a reader must be wrong by before a form line is drawn: what a contour may be.",
    )
    form_line_gap_mm: float = Field(
        0.3, ge=0.1, le=5, description="Room a form line needs beside a contour: steeper ground speaks for itself."
    )
    form_line_reach_m: float = Field(
        60.0, ge=20, le=200, description="Distance beyond which a contour no longer tells a reader about the ground."
    )
    form_line_step_m: float = Field(3.0, ge=1, le=10, description="Distance of the places a form line is judged at.")
    form_line_bridge_mm: float = Field(
        2.0, ge=0, le=10, description="Interruptions drawn all the same: one dash (ISOM 103, from memory)."
    )
    form_line_min_length_mm: float = Field(
        4.2, ge=1, le=20, description="Shortest open form line: two dashes of 2.0 and a gap of 0.2 (ISOM 103)."
    )
    min_closed_form_line_mm: float = Field(
        1.1, ge=0.5, le=5, description="Length over all of the smallest closed form line (ISOM 103)."
    )
    min_form_line_height_m: float = Field(
        1.0, ge=0.2, le=5, description="Least height or depth of a hill or hollow drawn with a form line (ISOM 103)."
    )
    knoll_symbol_mm: float = Field(0.5, ge=0.2, le=2, description="Width of the symbol of a small knoll (ISOM 109).")
    hollow_symbol_mm: float = Field(
        0.8, ge=0.2, le=2, description="Width of the symbols of small depression and pit (ISOM 111, 112, from memory)."
    )
    knoll_radii_m: tuple[float, ...] = Field(
        (2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 9.0),
        description="Sizes of knoll looked for, middle to foot; larger ones have contours of their own (ISOM 101).",
    )
    min_knoll_height_m: float = Field(
        0.85, ge=0.3, le=3, description="Lowest knoll: 1 m (ISOM 109) less what smoothing takes from a small one."
    )
    min_knoll_likeness: float = Field(
        0.45, ge=0, le=1, description="Share of the shape one rounded bump must explain; lips and spurs reach 0.4."
    )
    min_knoll_evidence: float = Field(
        1.8,
        ge=0,
        le=20,
        description="Likeness times contrast: what just passes in both shape and size is a swell of the slope.",
    )
    min_lump_height_m: float = Field(
        0.4,
        ge=0.1,
        le=2,
        description="Lowest lump a runner sees beside a knoll: half the lowest knoll (common practice).",
    )
    min_lump_likeness: float = Field(
        0.4, ge=0, le=1, description="Share of its shape one rounded bump must explain for a place to count as a lump."
    )
    min_lump_contrast: float = Field(
        2.0, ge=1, le=10, description="Deviations from the usual unevenness from which a place counts as a lump."
    )
    lump_reach_m: float = Field(
        30.0, ge=10, le=100, description="Lumps so near are seen together with a knoll: a few symbols' widths (2 mm)."
    )
    max_equal_lumps: int = Field(
        2, ge=0, le=10, description="Lumps within that reach that may be as high as a knoll; more make restless ground."
    )
    max_equal_knolls: int = Field(
        6, ge=0, le=30, description="The same for what is surely a knoll: a group of more is broken ground (113)."
    )
    min_taller_ratio: float = Field(
        1.5, ge=1, le=5, description="Height of a knoll over that of all other lumps around it (common practice)."
    )
    min_knoll_radius_m: float = Field(
        2.5, ge=0.5, le=10, description="Smaller lumps are boulders, stumps or brush that passed for ground."
    )
    widest_boulder_lump_m: float = Field(
        5.0,
        ge=1,
        le=20,
        description="Radius of the widest lump a boulder makes: few are 5 m wide, what the filter leaves of one twice that.",
    )
    steepest_earth_deg: float = Field(
        33.0,
        ge=20,
        le=80,
        description="Lumps with steeper sides are rock or wood: loose earth rests at 30 to 35 degrees (common practice).",
    )
    steepest_wide_earth_deg: float = Field(
        35.0, ge=20, le=80, description="The same for lumps wider than any boulder: all that loose earth can hold."
    )
    max_knoll_gap_ratio: float = Field(
        1.4,
        ge=1,
        le=10,
        description="Gap between ground returns on a knoll over that round about; above it the lump may be a boulder "
        "that was cut away.",
    )
    min_covered_knoll_returns: float = Field(
        8.0,
        ge=3,
        le=500,
        description="Ground returns on a knoll where they are sparser than round about: a boulder of this width that was "
        "cut away leaves about five at its sides (measured on made scenes), bushes on a knoll let more through.",
    )
    min_elongation: float = Field(
        1.6, ge=1, le=4, description="Length over width from which a knoll is elongated: the symbol 110 is 2 to 1."
    )
    hollow_radii_m: tuple[float, ...] = Field(
        (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0),
        description="Sizes of hollow looked for, middle to rim; larger ones have contours of their own.",
    )
    min_hollow_depth_m: float = Field(
        0.75,
        ge=0.3,
        le=3,
        description="Shallowest hollow: 1 m (ISOM 111, 112) less what smoothing fills of a small one.",
    )
    min_hollow_likeness: float = Field(
        0.57, ge=0, le=1, description="Share of the shape one rounded hollow must explain; uneven ground reaches 0.5."
    )
    steepest_hollow_deg: float = Field(
        55.0,
        ge=40,
        le=89,
        description="Hollows with steeper sides are returns below the ground: earth holds 50 degrees with roots in it.",
    )
    min_pit_side_deg: float = Field(
        30.0, ge=10, le=80, description="Hollows with steeper sides are pits (112), gentler ones depressions (111)."
    )
    max_pit_width_m: float = Field(5.0, ge=1, le=20, description="Widest pit half way down (ISOM 112).")
    min_bump_contrast: float = Field(
        3.3,
        ge=1,
        le=10,
        description="Deviations from the usual unevenness round about that a knoll or hollow must stand out by.",
    )
    min_bump_returns: float = Field(
        3.0, ge=1, le=50, description="Ground returns that must lie on a knoll or in a hollow: fewer may be stray ones."
    )
    contrast_reach_m: float = Field(
        100.0, ge=30, le=1000, description="How far round about the usual unevenness is taken: more than any landform."
    )
    least_bump_m: float = Field(
        0.1, ge=0.01, le=1, description="Unevenness even ground has from lidar noise (ASPRS: RMSEz 0.1 m and better)."
    )
    line_cell_m: float = Field(
        1.0, ge=0.25, le=5, description="Cell on which banks, walls and gullies are sought; they are 3 m wide and more."
    )
    line_max_gap_m: float = Field(
        3.0,
        ge=0.5,
        le=20,
        description="Distance to the nearest ground return beyond which none are sought: as wide as the narrowest.",
    )
    line_scale_m: float = Field(
        1.2, ge=0.5, le=5, description="Smoothing before they are sought: a third of the narrowest, above lidar noise."
    )
    min_axis_contrast: float = Field(
        1.8,
        ge=1,
        le=20,
        description="Times the usual size of such places round about that a place on a line must reach.",
    )
    min_line_contrast: float = Field(
        2.8, ge=1, le=20, description="The same for a whole line of the least length; longer lines need less."
    )
    line_bridge_m: float = Field(4.0, ge=0, le=20, description="Gaps in a bank, wall or gully drawn all the same.")
    min_bank_height_m: float = Field(1.0, ge=0.3, le=10, description="Lowest earth bank (ISOM 104).")
    min_bank_mm: float = Field(
        1.0, ge=0.1, le=10, description="Shortest earth bank: ISOM 104 allows 0.6, shorter than 15 m is often chance."
    )
    min_bank_slope_deg: float = Field(
        22.0, ge=5, le=60, description="Gentlest face of a bank: gentler ones are read from the contours."
    )
    max_bank_face_m: float = Field(
        4.5,
        ge=1,
        le=20,
        description="Widest face of a bank on the ground, the smallest bend of a contour: wider ones contours show.",
    )
    max_bank_beyond_share: float = Field(
        0.65,
        ge=0.1,
        le=1,
        description="Steepness of the ground beside a bank over that of its face, above which it is a bend of the slope.",
    )
    least_face_rise: float = Field(
        0.1, ge=0.01, le=1, description="Rise over run by which even ground bends: 1 in 10 (common practice)."
    )
    min_face_contrast: float = Field(
        1.5,
        ge=1,
        le=20,
        description="Times the usual sharpness of bends round about that the face of a bank must have.",
    )
    min_bank_contrast: float = Field(
        3.5, ge=1, le=20, description="The same for a whole bank of the least length; longer ones need less."
    )
    side_share: float = Field(
        1.3,
        ge=1,
        le=3,
        description="Share of a knoll, hollow or gully, from its middle, within which a step is its side.",
    )
    steepest_bank_deg: float = Field(
        50.0, ge=30, le=90, description="Steeper faces are rock (202); earth holds 50 degrees with roots in it at most."
    )
    min_wall_height_m: float = Field(1.0, ge=0.3, le=10, description="Lowest earth wall (ISOM 105, from memory).")
    min_wall_mm: float = Field(1.4, ge=0.1, le=10, description="Shortest earth wall (ISOM 105, from memory).")
    min_ruined_wall_height_m: float = Field(0.5, ge=0.2, le=5, description="Lowest ruined earth wall (ISOM 106).")
    min_ruined_wall_mm: float = Field(
        3.65, ge=0.1, le=20, description="Shortest ruined earth wall: two dashes (ISOM 106, from memory)."
    )
    min_gully_depth_m: float = Field(1.0, ge=0.3, le=10, description="Shallowest erosion gully (ISOM 107).")
    min_small_gully_depth_m: float = Field(
        0.5, ge=0.2, le=5, description="Shallowest small erosion gully (ISOM 108, from memory)."
    )
    min_gully_mm: float = Field(1.15, ge=0.1, le=10, description="Shortest erosion gully (ISOM 107, 108).")
    broken_finest_m: float = Field(3.0, ge=1, le=10, description="Smaller shapes are noise of the survey.")
    broken_coarsest_m: float = Field(10.0, ge=3, le=50, description="Larger shapes are drawn one by one.")
    broken_reach_m: float = Field(
        10.0, ge=3, le=50, description="Ground is broken together: the least area is 10 m wide."
    )
    min_broken_m: float = Field(
        0.3, ge=0.1, le=3, description="Unevenness from which a runner has to look at the ground (common practice)."
    )
    broken_max_slope_deg: float = Field(
        20.0, ge=5, le=60, description="Steeper ground is shaped by its slope; unevenness there is the slope's own."
    )
    min_broken_contrast: float = Field(
        1.8, ge=1, le=10, description="Times the usual unevenness round about from which ground is called broken."
    )
    min_broken_area_m2: float = Field(
        300.0,
        ge=10,
        le=10000,
        description="Least area of broken ground: three dots are 100 m2 (ISOM 113), three times it.",
    )
    base_level_m: float = Field(
        0.0, ge=-50, le=50, description="Elevation one contour takes; shift it to show flat ground better."
    )


class RockSettings(Section):
    """Boulders, cliffs and stony ground."""

    least_height_m: float = Field(
        0.6,
        ge=0.3,
        le=2,
        description="Lowest lump that is looked at. Below the 1 m that ISOM 2017-2 (204) asks for, because the very top "
        "is rarely hit.",
    )
    boulder_min_height_m: float = Field(1.0, ge=0.5, le=3, description="Lowest boulder drawn: ISOM 2017-2, 204.")
    boulder_height_error_m: float = Field(
        0.1,
        ge=0,
        le=0.5,
        description="A lump measured this much below the least height is still drawn: one height in ten is measured as "
        "much too low in made scenes, and a boulder of a metre is worth a look.",
    )
    large_boulder_min_height_m: float = Field(2.0, ge=1, le=5, description="Lowest large boulder: ISOM 2017-2, 205.")
    boulder_max_width_m: float = Field(
        9.0,
        ge=4,
        le=12,
        description="Widest lump that can be one boulder; wider rises belong to the ground (common practice, no source).",
    )
    boulder_max_height_m: float = Field(
        6.0, ge=3, le=10, description="Highest boulder looked for; returns above are crowns to this step."
    )
    least_lump_returns: int = Field(
        3, ge=2, le=20, description="Fewer last returns than this cannot show a shape, so nothing is proposed."
    )
    ring_m: float = Field(
        2.5,
        ge=1,
        le=4,
        description="Width of the ring around a lump in which the ground is measured: wide enough to hold ground returns "
        "under trees, narrow enough to be a plane on a slope.",
    )
    least_confidence: float = Field(
        0.3, ge=0, le=1, description="Cliffs less likely than this are left out of the draft."
    )
    disc_ground_m: float = Field(
        0.3,
        ge=0.1,
        le=0.6,
        description="Returns lower than this above the ground around lie on the ground or its litter.",
    )
    disc_least_m: float = Field(
        0.4, ge=0.2, le=1, description="Lowest last return inside the top of a boulder: two thirds of the least height."
    )
    disc_roughness_m: float = Field(
        0.3, ge=0.1, le=1, description="A disc rougher than this is foliage; rock shows 0.1, boughs 0.3 to 0.5."
    )
    disc_open_share: float = Field(
        0.2, ge=0, le=1, description="Share of a lump's surroundings in which the ground must be down."
    )
    cap_roughness_m: float = Field(
        0.35, ge=0.1, le=1, description="Returns that scatter more than this about a smooth cap are no rock."
    )
    least_boulder_confidence: float = Field(
        0.18,
        ge=0,
        le=1,
        description="Boulders less likely than this are left out of the draft: five wrong dots for a right one tire a "
        "mapper, a boulder missed is found on foot (common practice, no source).",
    )
    least_thicket_confidence: float = Field(
        0.12,
        ge=0,
        le=1,
        description="The same where lookalikes are thick: there no boulder is sure, and this draws some four wrong dots "
        "a hectare in dense conifers (measured), which is what a mapper can still visit.",
    )
    open_lookalikes_per_ha: float = Field(
        20.0, ge=1, le=1000, description="Up to here the first limit holds; clean forest shows 5 to 20 (measured)."
    )
    thicket_lookalikes_per_ha: float = Field(
        100.0, ge=1, le=5000, description="From here the second limit holds; dense conifers show 90 to 180 (measured)."
    )
    lookalike_most_confidence: float = Field(
        0.25,
        ge=0.05,
        le=0.5,
        description="A lump that looks less like a boulder than this counts as a lookalike of its surroundings.",
    )
    company_reach_m: float = Field(
        25.0,
        ge=5,
        le=100,
        description="Width (sigma) of the bell over which lookalikes are counted: a stand, not a single bush.",
    )
    least_candidate_confidence: float = Field(
        0.02,
        ge=0,
        le=1,
        description="Lumps that look less like a boulder than this are not handed on as candidates at all.",
    )
    cluster_distance_m: float = Field(
        6.0, ge=2, le=15, description="Boulders closer than this would touch on paper: the dot of 204 covers 6 m."
    )
    cluster_outstanding: float = Field(
        2.0,
        ge=1,
        le=3,
        description="Of two boulders that would touch, one this many times higher is drawn alone: it is what is seen. "
        "Twice is the step from 204 to 205; two of more even height are a cluster.",
    )
    cluster_max_width_m: float = Field(
        16.0, ge=8, le=30, description="Widest group drawn as one triangle 207, which covers 12 m; wider is a field."
    )
    dense_field_min_per_ha: float = Field(
        100.0,
        ge=20,
        le=1000,
        description="Boulders per hectare that make a field 209 instead of 208 (common practice, no source).",
    )
    gigantic_min_width_mm: float = Field(0.25, ge=0.1, le=1, description="ISOM 2017-2, 206, at 1:15000.")
    gigantic_min_area_m2: float = Field(67.0, ge=20, le=200, description="0.3 mm2 at 1:15000: ISOM 2017-2, 206.")
    stony_window_m: float = Field(
        4.0, ge=2, le=10, description="Ground over which roughness is taken: a few strides of a runner."
    )
    stony_slow_m: float = Field(
        0.30,
        ge=0.05,
        le=1,
        description="Roughness from which ground is proposed as 210. A clean forest floor shows 0.05, filtered ground "
        "under dense conifers up to 0.25 (measured), so less would draw the undergrowth.",
    )
    stony_walk_m: float = Field(0.40, ge=0.1, le=1, description="The same for 211 (common practice, no source).")
    stony_fight_m: float = Field(0.50, ge=0.1, le=1, description="The same for 212 (common practice, no source).")
    stony_min_area_m2: float = Field(
        225.0, ge=50, le=2000, description="Smallest stony area; ISOM 2017-2 asks for three dots, about 10 by 10 m."
    )
    stony_confidence: float = Field(
        0.35, ge=0, le=1, description="Roughness cannot tell stones from roots, ruts and undergrowth taken for ground."
    )
    stony_max_canopy_m: float = Field(
        30.0,
        ge=0,
        le=60,
        description="Stony ground is looked for under crowns up to this height; lower it where dense forest looks stony.",
    )
    rocky_pit_min_depth_m: float = Field(1.0, ge=0.5, le=3, description="ISOM 2017-2, 203.1.")
    rocky_pit_min_width_m: float = Field(
        1.5, ge=0, le=5, description="One stray low return makes a funnel about as wide as the returns lie apart."
    )
    rocky_pit_max_width_m: float = Field(5.0, ge=2, le=10, description="ISOM 2017-2, 203.1: larger ones are cliffs.")
    rocky_pit_min_slope_deg: float = Field(
        60.0, ge=30, le=80, description="Walls steeper than earth stands: loose soil lies at 30 to 40 degrees."
    )
    rocky_pit_confidence: float = Field(0.4, ge=0, le=1, description="A steep little hollow may be an earth pit 112.")
    cliff_min_height_m: float = Field(1.0, ge=0.5, le=5, description="Lowest cliff: ISOM 2017-2, 202.")
    impassable_min_height_m: float = Field(
        3.0,
        ge=1.5,
        le=10,
        description="From here a steep cliff is proposed as 201. ISOM gives no height, only that it cannot be passed "
        "(common practice, no source).",
    )
    cliff_run_m: float = Field(
        2.0, ge=1, le=4, description="Ground distance over which a face must fall, across its lip and foot."
    )
    cliff_excess_m: float = Field(
        1.0,
        ge=0.3,
        le=3,
        description="Fall over the run beyond what the slope above and below explains; less is a steep slope.",
    )
    cliff_min_slope_deg: float = Field(
        35.0,
        ge=25,
        le=70,
        description="Mean slope over the run. A vertical step of 1 m seen by 1 m cells with noise falls to about this.",
    )
    cliff_most_turn_deg: float = Field(
        90.0,
        ge=45,
        le=360,
        description="A face turning farther than this round one way is the side of a pit or dam: left to earth bank 104.",
    )
    cliff_turning_confidence: float = Field(
        0.25, ge=0, le=1, description="Most that such a face is believed to be rock; below the least confidence drawn."
    )
    impassable_min_slope_deg: float = Field(
        50.0, ge=40, le=80, description="Least mean slope from lip to foot of a 201 (common practice, no source)."
    )
    cliff_min_length_mm: float = Field(0.6, ge=0.3, le=2, description="ISOM 2017-2, 201 and 202, at 1:15000.")
    cliff_keep_length_m: float = Field(
        5.0, ge=2, le=15, description="Shorter faces are left out; from here to the least length they are drawn longer."
    )


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
    channel_min_length_m: float = Field(
        41.0, ge=5, le=200, description="Shortest channel: two dashes of 306, 2.75 mm at 1:15 000 (from memory)."
    )


class VegetationSettings(Section):
    """Density of the running layer, runnability bands, open land, rides."""

    running_bottom_m: float = Field(
        0.3, ge=0.05, le=1, description="Lower edge of the running layer: below it a runner steps over."
    )
    visibility_bottom_m: float = Field(
        1.0, ge=0.5, le=2, description="Lower edge of what blocks the view; what stays below it can be seen over."
    )
    running_top_m: float = Field(
        2.5, ge=1.5, le=4, description="Upper edge of the running layer: above it a runner passes below."
    )
    growth_bottom_m: float = Field(
        0.12, ge=0.05, le=0.3, description="Lowest return taken for grass or heath: about four times the range noise."
    )
    tree_height_m: float = Field(
        3.0, ge=2.5, le=6, description="Plants with returns from here up are trees: cover, copses, rides."
    )
    max_scan_angle_deg: float = Field(
        45.0, ge=20, le=60, description="Larger scan angles are broken headers; the path correction stops here."
    )
    max_returns_above: int = Field(
        1,
        ge=0,
        le=10,
        description="Pulses with more returns above the running layer are no witnesses: in a survey of conifer forest "
        "those with one met as much below as those with none, with two 2 % less, with three 5 %.",
    )
    extinction: float = Field(
        0.5, ge=0.3, le=1, description="k of Beer-Lambert: 0.5 for leaves at random angles, whatever the pulse's."
    )
    note_radius_m: float = Field(
        5.0,
        ge=1,
        le=50,
        description="A note made at a point speaks of the forest this far around it: what one sees there.",
    )
    next_notes: int = Field(8, ge=0, le=100, description="Places proposed for the next notes: an hour or two on foot.")
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
    widest_window_m: float = Field(
        6.0, ge=1, le=8, description="Widest sigma where few pulses reach the layer; 1:15 000 shows nothing smaller."
    )
    enough_pulses: float = Field(
        40.0, ge=5, le=500, description="A window widens until it holds this many: 0.1 m2/m3 error at the 408 limit."
    )
    least_pulses: float = Field(
        20.0, ge=1, le=100, description="With fewer even in the widest window the layer is not seen: error above 0.15."
    )
    open_max_cover_ratio: float = Field(
        0.1, ge=0.02, le=0.3, description="Open land has less tree cover than this, seen by pulses."
    )
    open_radius_m: float = Field(
        6.0, ge=2, le=15, description="A gap between crowns is open land only where a circle of this radius fits in."
    )
    clear_view_m2_per_m3: float = Field(
        0.1, gt=0, le=1, description="Below this density of the visibility layer one sees 20 m: 407, 409 not 406, 408."
    )
    clear_view_ratio: float = Field(
        0.5, gt=0, le=1, description="And it is thinner than this share of the running layer: growth stays low there."
    )
    view_window_m: float = Field(
        3.0, ge=1, le=10, description="Sigma of the window for the view: wider than for density, a view is of an area."
    )
    lone_crown_max_m2: float = Field(
        110.0, ge=20, le=400, description="Crowns up to this size are trees in open land; larger ones drawn as forest."
    )
    scattered_max_cover_ratio: float = Field(
        0.3, ge=0.1, le=0.5, description="With more cover around them lone crowns are forest (common practice)."
    )
    scattered_min_cover_ratio: float = Field(
        0.08, ge=0.02, le=0.3, description="With less cover trees in open land are drawn one by one: 8 crowns in 1 ha."
    )
    scattered_window_m: float = Field(
        15.0, ge=5, le=50, description="Sigma in which lone crowns are counted together: the smallest 402 is 30 m wide."
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
    least_crown_m2: float = Field(
        3.0, ge=0.5, le=20, description="Smaller crowns are posts, wires or noise (common practice, no source)."
    )
    crown_through_ratio: float = Field(
        0.05, ge=0, le=0.5, description="A crown lets at least this share of pulses through; a boulder lets none."
    )
    tree_apart_m: float = Field(
        13.5, ge=5, le=30, description="Least distance of 417 and 418: 0.9 mm at 1:15 000, from memory of the standard."
    )
    ride_directions: int = Field(
        36, ge=8, le=72, description="Directions tried for rides: 5 degrees apart, 1.5 m aside after 20 m."
    )
    ride_along_m: float = Field(
        18.0, ge=4, le=40, description="Sigma along a ride: counts over the 64 m that the shortest 508 is long."
    )
    ride_across_m: float = Field(
        1.2, ge=0.5, le=4, description="Sigma across a ride: counts over some 4 m, the width of a ride."
    )
    ride_side_m: float = Field(
        6.0, ge=4, le=12, description="Distance of the two sides a ride is compared with: clear of an 8 m strip."
    )
    ride_min_pulses_per_m2: float = Field(0.2, ge=0.05, le=5, description="With fewer pulses a strip tells nothing.")
    ride_min_contrast: float = Field(
        0.2, ge=0.05, le=0.5, description="A ride lets this share more of the pulses through than its clearer side."
    )
    ride_min_steady_ratio: float = Field(
        0.7, ge=0.3, le=1, description="Share of a ride's sections that must be clearer: rows of crown gaps are patchy."
    )
    ride_min_evidence: float = Field(
        1.3,
        ge=0.5,
        le=5,
        description="Contrast times root of sections of 8 m; rows of crown gaps reach 1.05 in some hectares of forest.",
    )
    ride_min_end_evidence: float = Field(
        0.75, ge=0, le=3, description="The same for each end of a ride beyond open land: a lone gap may be in line."
    )
    ride_max_width_m: float = Field(
        12.0, ge=4, le=30, description="Wider openings are open land; 15 m is the least side of 403 (1 mm at 1:15 000)."
    )
    ride_section_m: float = Field(
        8.0, ge=4, le=20, description="Length of the sections a ride is followed in: a crown's width."
    )
    ride_min_length_m: float = Field(
        64.0, ge=20, le=300, description="Shortest ride: two dashes of 508, 4.25 mm at 1:15 000 (from memory)."
    )
    ride_gap_m: float = Field(
        40.0, ge=0, le=100, description="Longest gap in forest over which a ride is joined: crowns closing above it."
    )
    ride_open_gap_m: float = Field(
        120.0, ge=0, le=300, description="Longest gap in open land over which it is joined, where it is in line beyond."
    )
    cover_window_m: float = Field(
        1.0, ge=0.5, le=5, description="Sigma in which tree cover is told: half a crown, so that edges stay sharp."
    )
    growth_window_m: float = Field(
        2.0, ge=0.5, le=10, description="Sigma in which grass and heath are told: 100 pulses at 4 pulses/m2."
    )
    area_spare_ratio: float = Field(
        1.15, ge=1, le=2, description="Areas are kept this much above their smallest size, as smoothing takes a little."
    )
    band_spread_ratio: float = Field(
        0.35, ge=0.05, le=1.5, description="One sigma of what density means to a runner, as a factor; notes lower it."
    )
    rows_min_area_m2: float = Field(
        3000.0, ge=900, le=50000, description="Smaller areas hold too few plants to tell rows from chance."
    )
    rows_min_share: float = Field(
        0.35, ge=0.1, le=0.9, description="Share of a pattern in its strongest waves; chance reaches 0.17 in 0.5 ha."
    )
    rows_max_height_m: float = Field(
        6.0, ge=2, le=12, description="Higher plants in rows are a plantation, which is forest (common practice)."
    )
    stand_crown_m: float = Field(
        7.0, ge=3, le=15, description="Width of a crown: gaps narrower than this do not count as steps of a stand."
    )
    stand_least_height_m: float = Field(
        4.0, ge=2, le=15, description="Lower growth is no stand; its edges show as open land or undergrowth."
    )
    stand_edge_step_m: float = Field(
        7.0, ge=3, le=25, description="Stands that differ less are no distinct boundary (common practice, no source)."
    )
    stand_edge_along_m: float = Field(
        12.0, ge=5, le=40, description="Sigma along a boundary: heights over the 37 m that the shortest 416 is long."
    )
    stand_edge_apart_m: float = Field(
        8.0, ge=4, le=20, description="Distance of the two sides from the line: a crown's width, so both are stands."
    )
    stand_edge_length_m: float = Field(
        37.0, ge=20, le=200, description="Shortest 416: five dots, 2.5 mm at 1:15 000 (from memory of the standard)."
    )
    felled_least_stand_m: float = Field(
        10.0, ge=4, le=25, description="Forest worth felling is at least this high (common practice, no source)."
    )
    felled_min_edge_ratio: float = Field(
        0.6, ge=0.3, le=1, description="Rough open land with more of its edge in such forest was perhaps cut out of it."
    )
    edge_smooth_m: float = Field(
        2.0, ge=0.5, le=5, description="Tolerance of area edges: 0.13 mm on the standard's 1:15 000 map."
    )


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
        6.0,
        ge=0,
        description="A gully that runs this near to a watercourse for most of its length is its bed (0.4 mm in print).",
    )
    same_thing_m: float = Field(
        3.0,
        ge=0,
        description="Two point symbols this near stand for one thing; the surer stays (a boulder takes 6 m in print).",
    )


class SheetSettings(Section):
    """The printed field sheet."""

    largest_paper: Literal["A5", "A4", "A3"] = Field(
        "A3",
        description="Largest paper to print on; a larger area is spread over several sheets. A3 is the norm's limit.",
    )
    page_margin_mm: float = Field(
        8.0, ge=0, le=30, description="White rim of the page; many printers cannot reach the outer 5 mm."
    )
    gap_mm: float = Field(5.0, ge=0, le=20, description="Distance between map, title and panel, so that they part.")
    title_mm: float = Field(14.0, ge=12, le=40, description="Height of the title: name, scale and contour interval.")
    foot_mm: float = Field(14.0, ge=12, le=40, description="Height of the foot of a part sheet: scale bar and source.")
    column_mm: float = Field(58.0, ge=45, le=120, description="Width of a legend column: a symbol and its full name.")
    sheet_overlap_mm: float = Field(
        15.0, ge=0, le=50, description="What neighbouring sheets share, so that no feature is cut on both."
    )
    least_confidence: float = Field(
        0.0,
        ge=0,
        le=1,
        description="Features less sure than this stay off the paper; the draft keeps them. 0 prints all.",
    )
    label_shortest_contour_mm: float = Field(
        40.0,
        ge=10,
        le=1000,
        description="Shortest index contour that gets its elevation, at 1:15 000 (ours: short rings are hill tops).",
    )
    label_distance_mm: float = Field(
        60.0,
        ge=10,
        le=1000,
        description="Least distance between two elevations, at 1:15 000; the norm (102) asks for few.",
    )
    resolution_dpi: int = Field(
        300, ge=72, le=600, description="Of the PNG and the TIFF; 300 shows a line of 0.1 mm, as most printers do."
    )
    largest_image_mpx: float = Field(
        60.0, ge=1, le=400, description="Most pixels of the georeferenced image, in millions, to bound memory."
    )


class Expert(Section):
    """Settings a mapper need not touch."""

    flow: FlowSettings = FlowSettings()
    survey: SurveySettings = SurveySettings()
    points: PointsSettings = PointsSettings()
    roofs: RoofSettings = RoofSettings()
    wires: WireSettings = WireSettings()
    terrain: TerrainSettings = TerrainSettings()
    landform: LandformSettings = LandformSettings()
    rock: RockSettings = RockSettings()
    water: WaterSettings = WaterSettings()
    vegetation: VegetationSettings = VegetationSettings()
    manmade: ManmadeSettings = ManmadeSettings()
    compose: ComposeSettings = ComposeSettings()
    sheet: SheetSettings = SheetSettings()


def _as_crs(value: object) -> str | None:
    """A CRS the mapper wrote, checked; refuses what PROJ does not know."""
    if value is None:
        return None
    text = f"EPSG:{value}" if isinstance(value, int) else str(value)
    try:
        pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        raise ValueError(f"'{value}' is not a coordinate system PROJ knows; write it like EPSG:25832") from error
    return text


def _as_interval(interval_m: float) -> float:
    if interval_m not in (5.0, 2.5):
        raise ValueError("should be 5 or 2.5")
    return interval_m


def _as_tile_list(value: object) -> object:
    return (value,) if isinstance(value, str) else value


class Area(Section):
    """One area to map: the whole content of the area file, with every default filled in."""

    name: str = Field(min_length=1, description="Name of the area, as printed on the sheet.")
    tiles: Annotated[tuple[str, ...], BeforeValidator(_as_tile_list)] = Field(
        min_length=1,
        description="The lidar tiles: a pattern such as lidar/*.laz, a folder, or a list of them.",
    )
    crs: Annotated[str | None, BeforeValidator(_as_crs)] = Field(
        None,
        description="Coordinate system of the tiles, only where they do not say or say it wrongly, e.g. EPSG:25832.",
    )
    height_unit: Literal["metre", "foot", "us_survey_foot"] | None = Field(
        None, description="Unit of the elevations, only where the tiles do not say or say it wrongly."
    )
    boundary: str | None = Field(
        None,
        description="Outline of the area, a GeoPackage, GeoJSON or Shapefile. Empty: the extent of the tiles.",
    )
    scale: Literal[15000, 10000, 7500, 5000] = Field(10000, description="Scale of the field sheet, 1 to this number.")
    contour_interval_m: Annotated[float, AfterValidator(_as_interval)] = Field(
        5.0,
        description="Height between contours: 5, or 2.5 only where the terrain is flat (ISOM 2017-2, 101).",
        json_schema_extra={"enum": [5, 2.5]},
    )
    map_date: datetime.date = Field(description="Date the map is for, e.g. 2027-04-10; sets the magnetic declination.")
    out: str = Field("out", description="Folder the draft goes to.")
    expert: Expert = Expert()

    @model_validator(mode="after")
    def _date_within_model(self) -> Self:
        # WMM 2025 is valid from 2025.0 to 2030.0 (NOAA/CIRES); its predecessor covers 2020.0 to 2025.0.
        if not 2020 <= self.map_date.year < 2030:
            raise ValueError(f"map_date {self.map_date} is outside the World Magnetic Model (2020 to 2029)")
        return self


# ---------------------------------------------------------------- reading the file


def load_area(path: Path, /) -> Area:
    """The area file, checked and with defaults filled in.

    Raises
    ------
    SettingsError
        Naming the file and, for every problem found, the line, what is wrong, and what is allowed.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: there is no such area file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read as an area file: {error}") from error
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
        values = yaml.safe_load(text)
    except yaml.YAMLError as error:
        raise SettingsError(f"{path}: not valid YAML: {error}") from error
    if not isinstance(values, dict):
        raise SettingsError(f"{path}: expected lines like 'name: Hollin Edge', found no settings")
    try:
        return Area.model_validate(values)
    except ValidationError as error:
        lines = _lines_of(node)
        problems = [_explain(dict(problem), lines) for problem in error.errors()]
        raise SettingsError(f"{path}:\n" + "\n".join(f"  {problem}" for problem in problems)) from error


def _lines_of(node: yaml.Node | None, prefix: tuple[str, ...] = ()) -> dict[tuple[str, ...], int]:
    """Line (from 1) of every key of a YAML document."""
    lines: dict[tuple[str, ...], int] = {}
    if isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            place = (*prefix, str(key.value))
            lines[place] = key.start_mark.line + 1
            lines |= _lines_of(value, place)
    return lines


def _explain(problem: dict[str, object], lines: dict[tuple[str, ...], int]) -> str:
    """One problem as a sentence: line, setting, what is wrong, what is allowed."""
    place = tuple(str(part) for part in typing.cast("tuple[object, ...]", problem["loc"]) if not isinstance(part, int))
    while place and place not in lines and problem["type"] != "missing":
        place = place[:-1]
    where = f"line {lines[place]}: " if place in lines else ""
    name = ".".join(place)
    if problem["type"] == "missing":
        return f"'{name}' is missing; {_field_description(place)}"
    if problem["type"] == "extra_forbidden":
        allowed = _names_at(place[:-1])
        near = difflib.get_close_matches(place[-1], allowed, n=1, cutoff=0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        return f"{where}'{name}' is not a setting; {hint}Allowed here: {', '.join(allowed)}"
    message = str(problem["msg"]).removeprefix("Value error, ").replace("Input should", "should")
    if problem["type"] == "value_error":
        return f"{where}{name + ': ' if name else ''}{message}"
    return f"{where}{name}: {message} (you wrote {problem['input']!r}); {_field_description(place)}"


def _model_at(place: tuple[str, ...]) -> type[Section] | None:
    model: type[Section] = Area
    for part in place:
        field = model.model_fields.get(part)
        kind = field.annotation if field else None
        if not (isinstance(kind, type) and issubclass(kind, Section)):
            return None
        model = kind
    return model


def _names_at(place: tuple[str, ...]) -> list[str]:
    model = _model_at(place)
    return list(model.model_fields) if model else []


def _field_description(place: tuple[str, ...]) -> str:
    model = _model_at(place[:-1])
    field = model.model_fields.get(place[-1]) if model and place else None
    return (field.description or "") if field else ""


def section_text(section: Section, /) -> str:
    """A section as one line of JSON: what a step receives and Snakemake keeps track of."""
    return json.dumps(section.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))
