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
    producer_cell_m: float = Field(
        1.0,
        ge=0.5,
        le=5,
        description="Cells in which the two grounds are compared: a metre holds several returns of a dense survey.",
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
    ground_plane_width_share: float = Field(
        0.6,
        ge=0.2,
        le=2,
        description="Distance at which a neighbour's weight has fallen to 1/e, as a share of the reach: near ones tell.",
    )
    ground_plane_half_share: float = Field(
        0.5,
        ge=0.1,
        le=2,
        description="A neighbour that stands out by this share of what makes it a plant has half its weight left.",
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
        64.0, ge=10, le=200, description="Largest patch that may be the top of a boulder: 9 m across."
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
    boulder_min_bend_per_m: float = Field(
        0.04,
        ge=0.01,
        le=0.5,
        description="Low small patches may be boulders if they fall off along every axis, by this times the square of "
        "the distance: a dome of 4 m over 8 m has 0.1, huts show 0.01 (measured on planted tiles).",
    )
    tent_fill_ratio: float = Field(
        0.92,
        ge=0.79,
        le=1,
        description="Domed patches that fill this share of a rectangle are tent roofs: boulders fill 0.72 to 0.89.",
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
