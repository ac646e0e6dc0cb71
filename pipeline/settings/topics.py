"""What a mapper finds wrong with a draft, and the settings that mend it, with what each does when it goes up or down.

`config/settings.md` follows this order. A test holds that every setting stands here once.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class Effect(NamedTuple):
    """What changes in the draft when a number goes up, and when it goes down."""

    higher: str
    lower: str


class Topic(NamedTuple):
    """A wish of a mapper.

    Attributes
    ----------
    title : str
    settings : mapping
        "section.setting" to its effect; None for a choice, which has no up and down.
    """

    title: str
    settings: Mapping[str, Effect | None]


TOPICS = (
    Topic(
        "Too many small green patches",
        {
            "vegetation.density_window_m": Effect(
                "fewer and larger patches, narrow thickets vanish.", "more and smaller patches, some of them chance."
            ),
            "vegetation.edge_smooth_m": Effect(
                "rounder edges of areas.", "edges closer to what was measured, and more jagged."
            ),
        },
    ),
    Topic(
        "The forest is too green, or too white",
        {
            "vegetation.slow_from_m2_per_m3": Effect("whiter forest.", "more of the lightest green."),
            "vegetation.walk_from_m2_per_m3": Effect("less middle green.", "more middle green."),
            "vegetation.fight_from_m2_per_m3": Effect("less dark green.", "more dark green."),
            "vegetation.running_bottom_m": Effect("heath and bracken no longer count.", "low plants count as well."),
            "vegetation.running_top_m": Effect(
                "higher branches count as well.", "only what hits legs and chest counts."
            ),
            "vegetation.visibility_bottom_m": Effect(
                "more undergrowth that one sees over.", "more forest that blocks the view."
            ),
            "calibration.note_radius_m": Effect(
                "a note speaks of more forest and is less sharp.", "a note speaks of a single thicket."
            ),
            "calibration.next_notes": Effect("a longer walk.", "a shorter walk."),
            "survey.leaves_out_days_of_year": Effect(
                "flights in spring are told as without leaves.", "they are told as in leaf."
            ),
            "survey.leaves_down_day_of_year": Effect(
                "flights in autumn are told as in leaf.", "they are told as without leaves."
            ),
        },
    ),
    Topic(
        "Contours too nervous, or too smooth",
        {
            "landform.contour_smoothing_m": Effect(
                "rounder contours, small spurs and re-entrants vanish.", "more detail, and more wriggles."
            ),
            "landform.calm_share": Effect(
                "calmer contours that leave the ground by more.", "contours that keep to the ground and wriggle."
            ),
            "landform.form_line_min_error_share": Effect("fewer form lines.", "more form lines."),
            "landform.base_level_m": Effect(
                "all contours move to higher ground by so much.", "all contours move to lower ground."
            ),
            "landform.vertex_spacing_mm": Effect(
                "fewer points to edit, coarser bends.", "finer bends, more points to edit."
            ),
        },
    ),
    Topic(
        "Knolls, pits and banks missed, or too many",
        {
            "landform.min_bump_contrast": Effect(
                "fewer knolls and pits, only plain ones.", "more, in rough ground also chance ones."
            ),
            "landform.min_knoll_likeness": Effect(
                "fewer knolls, only round ones.", "more knolls, some of them lips and spurs."
            ),
            "landform.min_hollow_likeness": Effect(
                "fewer pits and depressions, only round ones.", "more of them, some of them uneven ground."
            ),
            "landform.min_bank_slope_deg": Effect("fewer earth banks, only steep ones.", "more earth banks."),
            "landform.min_broken_m": Effect("less broken ground.", "more broken ground."),
        },
    ),
    Topic(
        "Boulders and stony ground missed, or too many",
        {
            "rock.least_boulder_confidence": Effect("fewer and surer boulders.", "more boulders, and more wrong ones."),
            "rock.least_thicket_confidence": Effect(
                "fewer wrong boulders in dense conifers.", "more boulders there, most of the new ones wrong."
            ),
            "rock.stony_slow_m": Effect(
                "less stony ground (210), and rougher rock counts as bare.",
                "more stony ground, undergrowth taken for it.",
            ),
            "rock.stony_max_canopy_m": Effect(
                "stony ground also under taller forest.", "stony ground only in low or open forest."
            ),
        },
    ),
    Topic(
        "Cliffs and bare rock missed, or too many",
        {
            "rock.least_cliff_confidence": Effect("fewer and surer cliffs.", "more cliffs, and more wrong ones."),
            "rock.cliff_excess_m": Effect("only steps that are high against their slope.", "lower steps as well."),
            "rock.impassable_min_height_m": Effect(
                "fewer impassable cliffs (201), more passable ones (202).", "more impassable ones."
            ),
            "rock.bare_rock_max_brightness_ratio": Effect(
                "more bare rock, pale ground taken for it.", "less bare rock, only the darkest."
            ),
        },
    ),
    Topic(
        "Streams and ponds missed, or too many",
        {
            "water.channel_min_drained_m2": Effect(
                "fewer streams, which begin farther down.", "more streams, which begin higher up."
            ),
            "water.channel_min_depth_m": Effect(
                "fewer streams, only those in plain beds.", "more streams, ruts and furrows taken for them."
            ),
            "water.thin_max_ratio": Effect("more ponds, dark flat ground taken for them.", "fewer ponds."),
        },
    ),
    Topic(
        "Open land, rides and trees",
        {
            "vegetation.open_max_cover_ratio": Effect("more open land, with more trees in it.", "less open land."),
            "vegetation.open_radius_m": Effect("small clearings stay forest.", "more small clearings."),
            "vegetation.rough_growth_ratio": Effect(
                "less rough open land (403), more open land (401).", "more rough open land."
            ),
            "vegetation.bush_least_height_m": Effect("fewer bushes.", "more bushes, tall herbs taken for them."),
            "vegetation.large_tree_height_m": Effect(
                "fewer large trees (417), more small ones (418).", "more large trees."
            ),
            "vegetation.ride_min_contrast": Effect(
                "fewer rides, only clear ones.", "more rides, rows of gaps taken for them."
            ),
            "vegetation.stand_edge_step_m": Effect("fewer vegetation boundaries.", "more vegetation boundaries."),
        },
    ),
    Topic(
        "Buildings and power lines",
        {
            "manmade.building_min_area_m2": Effect("fewer sheds.", "more sheds, and more false ones."),
            "roofs.min_patch_m2": Effect(
                "fewer returns are told as roofs.", "small roofs too, and crowns taken for them."
            ),
            "wires.min_height_m": Effect(
                "fewer branches taken for wires, low lines missed.", "low lines too, and more branches."
            ),
        },
    ),
    Topic(
        "Which ground returns to use",
        {
            "points.ground_from": None,
            "points.engine": None,
            "points.pdal_filter": None,
            "points.pdal_command": None,
            "points.ground_window_m": Effect(
                "larger halls are taken off, sharp hilltops may suffer.",
                "hilltops are safe, large halls may stay as ground.",
            ),
            "points.ground_plant_m": Effect("low plants are taken for ground.", "less ground where it is rough."),
            "points.noise_below_m": Effect(
                "fewer returns below the ground are dropped.", "more are dropped, true holes among them."
            ),
            "terrain.max_gap_m": Effect(
                "contours run on over wider gaps, by guess.", "more ground is left out as not seen."
            ),
        },
    ),
    Topic(
        "Too much on the map, or too little",
        {
            "drawing.drawn_from": Effect(
                "a calmer map, with more left to the candidates.", "more on the map, and more of it wrong."
            ),
            "drawing.drawn_from_by_symbol": None,
        },
    ),
    Topic(
        "The sheet and its paper",
        {
            "sheet.paper": None,
            "sheet.orientation": None,
            "sheet.page_margin_mm": Effect("less map on a page.", "more map on a page, printers may cut it."),
            "sheet.sheet_overlap_mm": Effect("more ground on two sheets, more sheets.", "fewer sheets."),
            "sheet.resolution_dpi": Effect("sharper pictures, larger files.", "coarser pictures, smaller files."),
            "sheet.largest_image_mpx": Effect(
                "sharper picture of a large area, more memory.", "coarser picture, less memory."
            ),
        },
    ),
    Topic(
        "The machine and the time it takes",
        {
            "terrain.cell_m": Effect(
                "faster, and coarser in every layer.", "slower, and no finer than the returns allow."
            ),
            "flow.block_max_returns": Effect(
                "fewer and larger jobs, more memory each.", "less memory each, more jobs."
            ),
            "flow.block_m": Effect("fewer and larger jobs, more memory each.", "less memory each, more jobs."),
        },
    ),
)
"""All settings under `expert:`, by what a mapper wants."""


def effects() -> dict[str, Effect | None]:
    """What each setting does, over all topics, by "section.setting"."""
    return {name: effect for topic in TOPICS for name, effect in topic.settings.items()}
