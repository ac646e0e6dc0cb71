"""Boulders, cliffs, stony ground and bare rock (ISOM section 3.2)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class RockSettings(Section):
    """Boulders, cliffs, stony ground and bare rock."""

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
    boulder_unseen_sectors: float = Field(
        2.0,
        ge=0,
        le=8,
        description="Of eight sectors around a lump so many may hold no ground return without harm: its height is still "
        "measured from three sides.",
    )
    boulder_unseen_log_odds: float = Field(
        0.8,
        ge=0,
        le=5,
        description="Log odds a lump loses for each further sector: with all of them unseen a sure one (0.95) is left at "
        "0.13 (common practice, no source).",
    )
    lumps_least_apart_m: float = Field(
        1.0, ge=0.2, le=5, description="Lumps closer than this are one thing seen twice (common practice, no source)."
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
    least_boulder_confidence: float = Field(
        0.26,
        ge=0,
        le=1,
        description="Boulders less likely than this are left out of the draft. Lower, each boulder more costs two wrong "
        "dots (measured in made scenes), which tires a mapper; a boulder missed is found on foot.",
    )
    least_thicket_confidence: float = Field(
        0.11,
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
    boulder_dot_mm: float = Field(
        0.4, ge=0.2, le=1, description="Dot of 204 at 1:15000, from memory of ISOM 2017-2: it covers 6 m."
    )
    large_boulder_dot_mm: float = Field(
        0.6, ge=0.2, le=1.5, description="Dot of 205 at 1:15000, from memory of ISOM 2017-2: it covers 9 m."
    )
    black_gap_mm: float = Field(
        0.15, ge=0, le=0.5, description="Least gap between two black symbols at 1:15000: ISOM 2017-2."
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
    stony_most_departure_m: float = Field(
        0.6,
        ge=0.2,
        le=3,
        description="No place counts as rougher than this: larger departures are boulders, steps or banks, which are drawn "
        "on their own.",
    )
    stony_confidence: float = Field(
        0.35, ge=0, le=1, description="Roughness cannot tell stones from roots, ruts and undergrowth taken for ground."
    )
    stony_dark_confidence: float = Field(
        0.5,
        ge=0,
        le=1,
        description="The same where rough ground is also as dark as bare rock and nothing grows on it: stone is likelier "
        "than undergrowth (common practice, no source).",
    )
    stony_bright_confidence: float = Field(
        0.25,
        ge=0,
        le=1,
        description="The same where rough ground is as bright as vegetated ground (common practice, no source).",
    )
    stony_max_canopy_m: float = Field(
        30.0,
        ge=0,
        le=60,
        description="Stony ground is looked for under crowns up to this height; lower it where dense forest looks stony.",
    )
    vegetated_max_lone_ratio: float = Field(
        0.7,
        ge=0.3,
        le=0.9,
        description="Ground on which fewer pulses than this end alone has plants on or over it; what it reflects is what "
        "other ground is compared with. Bare roads show 0.9 and more (measured).",
    )
    vegetated_min_area_m2: float = Field(
        2500.0,
        ge=200,
        le=100000,
        description="With less vegetated ground there is nothing to compare with, and intensity is not used: ten times "
        "the smallest bare rock.",
    )
    brightness_sigma_m: float = Field(
        1.5,
        ge=0.5,
        le=5,
        description="Sigma of the window brightness is taken over: 28 m2 hold enough returns even at one a square metre, an "
        "eighth of the smallest bare rock.",
    )
    brightness_min_returns_per_m2: float = Field(
        0.2,
        ge=0.05,
        le=5,
        description="With fewer lone ground returns a window holds less than six of them, and their mean tells nothing.",
    )
    brightness_min_spread_ratio: float = Field(
        0.002,
        ge=0,
        le=0.05,
        description="Vegetated ground that varies less than this has a constant for intensity: made scenes show 0.012, "
        "surveys 0.05.",
    )
    brightness_survey_share: float = Field(
        0.02,
        ge=0.001,
        le=0.5,
        description="Share of vegetated ground around from which its own brightness counts for more than that of the whole "
        "survey.",
    )
    brightness_reach_m: float = Field(
        100.0,
        ge=25,
        le=500,
        description="Side of the square in which vegetated ground is compared with is twice this: range and weather change "
        "the intensity over longer ways.",
    )
    dry_min_pulse_ratio: float = Field(
        0.45,
        ge=0.1,
        le=0.9,
        description="Ground from which fewer pulses come back, beside the survey's median, is water or wet. Half come back "
        "where every other flight line is missing.",
    )
    bare_rock_min_lone_ratio: float = Field(
        0.75,
        ge=0.6,
        le=1,
        description="Least share of pulses that end on bare rock as their only return: no crowns, no grass, no roof. Bare "
        "roads show 0.9 and more (measured), but of lumpy rock some returns count as low growth.",
    )
    bare_rock_max_brightness_ratio: float = Field(
        0.7,
        ge=0.2,
        le=0.95,
        description="Brightest bare rock beside vegetated ground: 0.35 to 0.5 at 1064 nm (from memory). Flight lines differ "
        "by a fifth (measured).",
    )
    bare_rock_sure_brightness_ratio: float = Field(
        0.4, ge=0.05, le=0.8, description="From here down darkness adds nothing to the confidence."
    )
    bare_rock_min_contrast: float = Field(
        2.5,
        ge=1,
        le=10,
        description="How much darker it must be than vegetated ground, in standard deviations of the latter: 0.05 to 0.1 "
        "in surveys (measured).",
    )
    bare_rock_min_relief_m: float = Field(
        0.035,
        ge=0.01,
        le=0.5,
        description="Least unevenness in waves of 4 to 9 m. Level fields and yards show 0.005 to 0.025 (planted), forest "
        "floor 0.03 to 0.1 (measured).",
    )
    bare_rock_short_sigma_m: float = Field(
        0.75,
        ge=0.25,
        le=3,
        description="Shorter waves than this sigma lets through are ranging noise and furrows, no unevenness of rock.",
    )
    bare_rock_long_sigma_m: float = Field(
        1.5,
        ge=0.5,
        le=10,
        description="Longer waves than this sigma lets through are hillsides; a wider window would reach over the edge of a "
        "field into what lies around it.",
    )
    bare_rock_inside_m: float = Field(
        3.5,
        ge=0,
        le=10,
        description="Unevenness is taken this far inside an area, where the wider window holds next to nothing of what lies "
        "around.",
    )
    bare_rock_hillside_sigma_m: float = Field(
        3.0, ge=1, le=20, description="Sigma over which the slope is taken: of the hillside, not of the lumps on it."
    )
    bare_rock_fringe_m: float = Field(
        2.0,
        ge=0,
        le=5,
        description="The window blurs the edge of rock over about its own width; so far out half-dark ground belongs to it.",
    )
    bare_rock_min_hole_m2: float = Field(
        64.0,
        ge=0,
        le=1000,
        description="Smaller holes (a bush, a boulder) are left out: the least area of open land at 1:15000 (from memory of "
        "the ISOM).",
    )
    bare_rock_core_share: float = Field(
        0.25,
        ge=0,
        le=1,
        description="Dark ground of less than this share of the least area cannot grow by its fringe into a whole one.",
    )
    bare_rock_max_slope_deg: float = Field(
        35.0,
        ge=15,
        le=50,
        description="Steeper ground is dark because it is turned away from the light, and is not run over.",
    )
    bare_rock_min_width_m: float = Field(
        10.0, ge=4, le=30, description="Narrower strips are roads, tracks and banks; the least area is 15 m wide."
    )
    bare_rock_min_area_m2: float = Field(225.0, ge=50, le=2000, description="1 mm2 at 1:15000: ISOM 2017-2, 214.")
    bare_rock_least_confidence: float = Field(
        0.15, ge=0, le=1, description="Of ground just dark enough: most of it will be something else (no source)."
    )
    bare_rock_most_confidence: float = Field(
        0.35,
        ge=0,
        le=1,
        description="However dark it is: no lidar tells rock from burnt or stripped ground (no source).",
    )
    rocky_pit_min_depth_m: float = Field(1.0, ge=0.5, le=3, description="ISOM 2017-2, 203.1.")
    rocky_pit_hollow_m: float = Field(
        0.3, ge=0.1, le=0.5, description="Water up to here stands in any uneven ground; what is deeper is one hollow."
    )
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
    cliff_least_slope_ratio: float = Field(
        0.15,
        ge=0.02,
        le=0.3,
        description="Smoothed slope (rise over run) below which no step is measured: a step of half a metre still shows twice "
        "as much.",
    )
    cliff_weak_excess_share: float = Field(
        0.6,
        ge=0.2,
        le=1,
        description="Cells with this share of the excess belong to a step where they hang together with strong ones "
        "(common practice for thresholds with hysteresis, no source).",
    )
    cliff_weak_slope_share: float = Field(
        0.7, ge=0.2, le=1, description="The same for the slope (common practice, no source)."
    )
    cliff_weak_share: float = Field(
        0.4,
        ge=0,
        le=1,
        description="A line is cut where its excess is less than this share of what it is at its best: it has run on "
        "into a bank or the side of a gully, and each part is judged alone.",
    )
    cliff_cut_share: float = Field(
        0.33,
        ge=0,
        le=1,
        description="Share of a line that must be so weak: a third and more spoils its medians, less is an end that "
        "tapers off, or the low side of a pit, which must stay with the rest to be known by its turn.",
    )
    lip_excess_m: float = Field(
        0.5,
        ge=0.2,
        le=2,
        description="Steps whose lip may have been lost are looked for from this excess: half of the lowest cliff.",
    )
    lip_min_slope_deg: float = Field(
        20.0, ge=10, le=50, description="The same for the slope: a step of 1 m blurred over 3 m falls like this."
    )
    lip_tolerance_m: float = Field(
        0.2,
        ge=0.05,
        le=0.5,
        description="Returns this near the ground above, continued to the lip, lie on it: roughness of a forest floor.",
    )
    lip_ground_m: float = Field(
        0.5,
        ge=0.1,
        le=1,
        description="The ground above and below is known from returns no higher than this above the bare earth: what "
        "the filter kept, and what it took off beside it. Crowns and roofs carry no terrace.",
    )
    lip_least_ground: int = Field(
        4, ge=3, le=50, description="Fewest cells with such a return on either side: a plane needs three."
    )
    lip_least_returns: int = Field(
        2, ge=1, le=20, description="Cells with such a return, of 6 m2 behind the lip; one may be the top of a plant."
    )
    lip_beneath_share: float = Field(
        0.25,
        ge=0,
        le=1,
        description="Returns from beneath for each of them; more show that the ground does not reach so far.",
    )
    lip_beneath_tolerances: float = Field(
        1.5, ge=1, le=5, description="Returns lie beneath ground that they are this many tolerances lower than."
    )
    lip_min_length_m: float = Field(4.0, ge=2, le=15, description="Shorter lines of steps show no direction.")
    lip_raise_m: float = Field(
        3.5,
        ge=1,
        le=5,
        description="How far behind the edge of a step the ground above is put back: what filters take off.",
    )
    lip_raise_along_m: float = Field(
        1.0, ge=0.5, le=3, description="The same to both sides of a place; places are a metre apart."
    )
    cliff_most_turn_deg: float = Field(
        90.0,
        ge=45,
        le=360,
        description="A face turning farther than this round one way is the side of a pit or dam: left to earth bank 104.",
    )
    cliff_end_share: float = Field(
        0.3,
        ge=0,
        le=1,
        description="Ends of a line where its step is less than this share of what it is at its best do not count for its "
        "turn.",
    )
    cliff_unseen_log_odds_per_m: float = Field(
        0.8,
        ge=0,
        le=5,
        description="Log odds a face loses for each metre between it and the nearest ground return, beyond the next setting "
        "(common practice, no source).",
    )
    cliff_seen_m: float = Field(
        0.7, ge=0, le=3, description="Ground returns this near a face show it: their spacing in open forest."
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
