"""Contours and landforms (ISOM section 3.1)."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from pipeline.settings.section import Section


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
    calm_steep_share: float = Field(
        0.2,
        ge=0,
        le=1,
        description="Share of that leave contours keep on such steep ground: a tenth of a metre is the noise of the survey.",
    )
    calm_smoothing_m: float = Field(4.0, ge=1, le=50, description="Smoothing of one calming pass, one smallest bend.")
    calm_passes: int = Field(8, ge=0, le=100, description="Calming passes; eight of 4 m reach shapes 30 m across.")
    smallest_bend_mm: float = Field(
        0.25, ge=0.05, le=2, description="Smallest bend of a contour, from centre to centre of the line (ISOM 101)."
    )
    shape_width_m: float = Field(
        15.0, ge=5, le=60, description="Width over which a re-entrant or spur is measured: about a millimetre of map."
    )
    mouth_reach_ratio: float = Field(
        2.0,
        ge=0.5,
        le=10,
        description="The mouth that calming closed lies within this many such widths of the end of a re-entrant or spur.",
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
    sharp_bend_share: float = Field(
        0.25,
        ge=0.05,
        le=1,
        description="A bend keeps a vertex at its tip where it stands out by this share of a vertex spacing from a chord "
        "of two: a radius of two spacings.",
    )
    slope_line_turn_mm: float = Field(
        0.8, ge=0.2, le=5, description="Turns of a contour are judged so far to either side: some 12 m on the ground."
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
    form_line_ring_share: float = Field(
        0.5,
        ge=0,
        le=1,
        description="A ring is drawn whole where this share of it is worth drawing: it cannot be drawn in pieces.",
    )
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
    least_symbol_side_m: float = Field(
        1.0,
        ge=0.1,
        le=5,
        description="A line that passes nearer to the middle of a knoll or hollow has no side to bend to and is given "
        "one: half its own width.",
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
    very_sure_knoll_ratio: float = Field(
        2.0,
        ge=1,
        le=10,
        description="Shapes with this many times that evidence are very sure: bushes may stand on them and equals beside them.",
    )
    max_ringed_ratio: float = Field(
        1.5,
        ge=1,
        le=5,
        description="A closed line up to this many times as wide as a knoll shows it already; wider ones show a hill.",
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
    max_unknown_share: float = Field(
        0.25,
        ge=0,
        le=0.9,
        description="Share of the ground around a knoll or hollow that may be unknown: with more its foot is a guess.",
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
    max_along_bend_share: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Bend of the ground along a line over that across it: round hollows and knolls bend alike both ways.",
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
    line_flanks_m: tuple[float, ...] = Field(
        (2.0, 3.0, 4.0),
        min_length=1,
        description="Distances from the axis at which the flanks of gullies and walls are looked at; wider ones are "
        "re-entrants and spurs, drawn with contours.",
    )
    line_shoulder_m: float = Field(
        9.0,
        ge=4.5,
        le=30,
        description="Distance of their shoulders: a trough that deepens evenly from there to its axis is a valley.",
    )
    min_flank_share: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Height of the lower flank over the mean of both from which they are two: else it is a step's foot.",
    )
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
    bank_faces_m: tuple[float, ...] = Field(
        (1.0, 1.5, 2.0, 2.5, 3.5),
        min_length=1,
        description="Distances from the middle of a face at which it is looked at: faces 2 to 7 m wide.",
    )
    bank_beyond_m: float = Field(
        9.0,
        ge=4.5,
        le=30,
        description="Distance up to which the ground above and below a face is looked at: past the widest face, on its slope.",
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

    @model_validator(mode="after")
    def _ground_beyond_lies_beyond(self) -> Self:
        if max(self.line_flanks_m) >= self.line_shoulder_m:
            raise ValueError("line_shoulder_m should lie beyond all of line_flanks_m")
        if max(self.bank_faces_m) >= self.bank_beyond_m:
            raise ValueError("bank_beyond_m should lie beyond all of bank_faces_m")
        return self
