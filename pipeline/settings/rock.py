"""Boulders, cliffs, stony ground and bare rock (ISOM section 3.2)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class RockSettings(Section):
    """Boulders, cliffs, stony ground and bare rock."""

    least_boulder_confidence: float = Field(
        0.3,
        ge=0,
        le=1,
        description="Boulders less likely than this are left out. Higher: fewer dots, each surer. Lower: more boulders, and more wrong dots.",
    )
    least_thicket_confidence: float = Field(
        0.5,
        ge=0,
        le=1,
        description="The limit for boulders in thickets of young trees and brash, where much looks like one. Higher: dense forest stays without boulders. Lower: more boulders, and many more wrong dots there.",
    )
    least_cliff_confidence: float = Field(
        0.65,
        ge=0,
        le=1,
        description="Cliffs less likely than this are left out. Higher: fewer cliffs, and short or half-hidden ones go first. Lower: more cliffs, among them banks and the sides of pits.",
    )
    cliff_excess_m: float = Field(
        1.0,
        ge=0.3,
        le=3,
        description="Metres that ground must fall over 2 m beyond what the slope above and below would explain, to be a cliff. Higher: only high, sharp cliffs. Lower: also low steps and steep banks.",
    )
    impassable_min_height_m: float = Field(
        3.0,
        ge=1.5,
        le=10,
        description="Height from which a steep cliff is proposed as impassable (201). Higher: more of them become passable cliffs (202). Lower: more become 201, which runners may not cross. ISOM gives no height; the default is our choice.",
    )
    stony_slow_m: float = Field(
        0.30,
        ge=0.05,
        le=1,
        description="Roughness of the ground, in metres, from which it is stony (210). Higher: less stony ground, and rougher rock may become bare rock (214). Lower: more; a clean forest floor shows 0.05, undergrowth taken for ground up to 0.25 (measured).",
    )
    stony_max_canopy_m: float = Field(
        30.0,
        ge=0,
        le=60,
        description="Stony ground is looked for under trees up to this height. Higher: also under the tallest. Lower: only under low trees and in the open; lower it where dense forest comes out stony.",
    )
    bare_rock_max_brightness_ratio: float = Field(
        0.7,
        ge=0.2,
        le=0.95,
        description="Ground without plants is bare rock (214) where it reflects at most this share of what vegetated ground does. Higher: more bare rock, and more burnt or stripped ground taken for it. Lower: only dark rock; rock shows 0.35 to 0.5 (from memory), and flight lines differ by a fifth (measured).",
    )
