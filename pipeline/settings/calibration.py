"""Fitting the limits of the runnability bands to a mapper's notes."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class CalibrationSettings(Section):
    """How notes made on foot move the limits of the runnability bands (`tussock calibrate`)."""

    note_radius_m: float = Field(
        5.0,
        ge=1,
        le=50,
        description="A note made at a point is compared with the median density this far around it. Higher, notes speak of whole stands, but one beside a path or a thicket is compared with both; lower, of single bushes, and they scatter more.",
    )
    common_spread_ratio: float = Field(
        0.5,
        gt=0,
        le=3,
        description="How far season, sensor and habit are expected to shift all limits together: one sigma of a factor's logarithm, 0.5 being a factor of 1.6. Higher, a few notes move the greens of the whole map further; lower, they stay nearer to those in use.",
    )
    next_notes: int = Field(
        8,
        ge=0,
        le=100,
        description="Places proposed for the next notes: an hour or two on foot. Higher, the list goes on with places that teach less; lower, it stops at the most telling ones. The map itself changes only with the notes.",
    )
