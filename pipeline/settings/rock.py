"""Boulders, cliffs, stony ground and bare rock (ISOM section 3.2)."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class RockSettings(Section):
    """Boulders, cliffs, stony ground and bare rock."""

    least_confidence: float = Field(
        0.3, ge=0, le=1, description="Cliffs less likely than this are left out of the draft."
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
    stony_slow_m: float = Field(
        0.30,
        ge=0.05,
        le=1,
        description="Roughness from which ground is proposed as 210. A clean forest floor shows 0.05, filtered ground "
        "under dense conifers up to 0.25 (measured), so less would draw the undergrowth.",
    )
    stony_max_canopy_m: float = Field(
        30.0,
        ge=0,
        le=60,
        description="Stony ground is looked for under crowns up to this height; lower it where dense forest looks stony.",
    )
    bare_rock_max_brightness_ratio: float = Field(
        0.7,
        ge=0.2,
        le=0.95,
        description="Brightest bare rock beside vegetated ground: 0.35 to 0.5 at 1064 nm (from memory). Flight lines differ "
        "by a fifth (measured).",
    )
    impassable_min_height_m: float = Field(
        3.0,
        ge=1.5,
        le=10,
        description="From here a steep cliff is proposed as 201. ISOM gives no height, only that it cannot be passed "
        "(common practice, no source).",
    )
    cliff_excess_m: float = Field(
        1.0,
        ge=0.3,
        le=3,
        description="Fall over the run beyond what the slope above and below explains; less is a steep slope.",
    )
