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
        description="A note made at a point speaks of the forest this far around it: what one sees there.",
    )
    common_spread_ratio: float = Field(
        0.5,
        gt=0,
        le=3,
        description="One sigma by which season, sensor and habit shift all limits together, as a factor's logarithm: a "
        "factor of 1.6.",
    )
    next_notes: int = Field(8, ge=0, le=100, description="Places proposed for the next notes: an hour or two on foot.")
