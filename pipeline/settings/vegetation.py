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
    thicket_min_view_ratio: float = Field(
        0.15,
        ge=0.05,
        le=0.6,
        description="Treeless growth that stops more pulses above 1 m is thicket, not open land with bushes: 0.22 m2/m3.",
    )
    open_radius_m: float = Field(
        6.0, ge=2, le=15, description="A gap between crowns is open land only where a circle of this radius fits in."
    )
    thicket_window_m: float = Field(
        2.0, ge=0.5, le=10, description="Sigma in which such thicket is told: some 100 pulses at 2 pulses/m2."
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
    void_usual_pulses: float = Field(
        20.0,
        ge=5,
        le=100,
        description="A circle that usually gets this many pulses and got none is a void, no open land: chance leaves one "
        "in 500 million empty (exp(-20)).",
    )
    void_least_radius_m: float = Field(
        3.0, ge=1, le=20, description="Smaller voids of dense surveys do not matter: 6 m across is 0.4 mm on the map."
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
    top_reach_m: float = Field(
        2.5, ge=0.5, le=10, description="A top is the highest place so far around itself: the reach of a small crown."
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
    ride_open_side_ratio: float = Field(
        0.9,
        ge=0.5,
        le=1,
        description="A side that lets more through is open land or a glade, not forest: it tells nothing of a ride.",
    )
    ride_same_turn_deg: float = Field(
        20.0,
        ge=5,
        le=60,
        description="A place on a ride already found that turns off by less belongs to it: four of the directions tried.",
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
    rows_min_spacing_m: float = Field(
        1.5, ge=0.5, le=5, description="Least distance of rows: vineyards from 1.5 m (common practice, no source)."
    )
    rows_max_spacing_m: float = Field(
        12.0,
        ge=5,
        le=30,
        description="Greatest distance of rows: old orchards up to 12 m (common practice, no source).",
    )
    rows_trend_m: float = Field(
        6.0, ge=2, le=30, description="Sigma of the mean height taken off first: half of what lies between wide rows."
    )
    rows_plant_top_m: float = Field(
        8.0,
        ge=3,
        le=30,
        description="What stands higher counts as this high, so that one tall tree does not rule; such plants are forest.",
    )
    rows_plant_from_m: float = Field(
        0.5,
        ge=0.1,
        le=2,
        description="What stands lower is grass between the rows and does not count in the height of the plants.",
    )
    rows_min_turn_deg: float = Field(
        40.0,
        ge=10,
        le=80,
        description="A second direction of rows turns this far from the first; what is nearer is its blur.",
    )
    orchard_max_wave_ratio: float = Field(
        3.0,
        ge=1,
        le=10,
        description="In an orchard rows are at most this many times as strong in one direction as in the other (common "
        "practice, no source).",
    )
    orchard_least_height_m: float = Field(
        2.0,
        ge=0.5,
        le=6,
        description="Lower plants are vines, berries or nursery stock rather than fruit trees (common practice, no source).",
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
    felled_strip_from_m: float = Field(
        4.0, ge=0, le=10, description="The strip beside open land judged for forest begins here: past the edge's blur."
    )
    felled_strip_to_m: float = Field(
        10.0, ge=5, le=30, description="And it ends here, a crown's width further: the neighbour's edge, not its depth."
    )
    felled_min_edge_ratio: float = Field(
        0.6, ge=0.3, le=1, description="Rough open land with more of its edge in such forest was perhaps cut out of it."
    )
    line_cell_m: float = Field(
        1.0, ge=0.25, le=4, description="Least cell in which lines are looked for: a quarter of a ride's width."
    )
    leaf_off_min_through_ratio: float = Field(
        0.55,
        ge=0.2,
        le=1,
        description="Bare crowns let more than this share of the pulses that touch them reach the ground (common "
        "practice, no source).",
    )
    leaf_on_max_through_ratio: float = Field(
        0.35, ge=0, le=0.8, description="Leaves or needles let less than this through (common practice, no source)."
    )
    season_least_tree_pulses: float = Field(
        1000.0,
        ge=10,
        le=1_000_000,
        description="With fewer the crowns do not tell the season: a dozen trees at 4 pulses/m2.",
    )
    edge_smooth_m: float = Field(
        2.0, ge=0.5, le=5, description="Tolerance of area edges: 0.13 mm on the standard's 1:15 000 map."
    )
