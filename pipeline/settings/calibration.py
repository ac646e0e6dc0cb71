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
    place_m: float = Field(
        25.0,
        ge=1,
        le=500,
        description="Notes nearer together than this are one place and judged together: they share one thicket.",
    )
    least_notes: int = Field(
        12,
        ge=2,
        le=1000,
        description="With fewer nothing is changed: ten for each thing fitted, less what the limits in use already tell "
        "(common practice).",
    )
    least_places: int = Field(
        3,
        ge=2,
        le=100,
        description="With fewer nothing is changed: each place is judged by the others, so by two or more.",
    )
    common_spread_ratio: float = Field(
        0.5,
        gt=0,
        le=3,
        description="One sigma by which season, sensor and habit shift all limits together, as a factor's logarithm: a "
        "factor of 1.6.",
    )
    own_spread_ratio: float = Field(
        0.15, gt=0, le=3, description="The same for each limit by itself: they move together rather than apart."
    )
    note_spread_ratio: float = Field(
        0.35,
        ge=0.05,
        le=2,
        description="Scatter of log density among notes of one opinion, where the fit starts from: a third up or down.",
    )
    note_spread_error_ratio: float = Field(
        0.5, gt=0, le=3, description="One sigma of the logarithm of that scatter: mappers are not equally steady."
    )
    kappa_slack: float = Field(
        0.02,
        ge=0,
        le=0.5,
        description="A weighted kappa less by this is the same: one note in thirty that changes sides by one band.",
    )
    strong_evidence_nats: float = Field(
        3.0,
        ge=0,
        le=20,
        description="Gain in log likelihood that counts more than a few notes changing sides: twenty to one is strong "
        "(Kass and Raftery 1995). Kappa of thirty notes is itself uncertain by some 0.08.",
    )
    wanted_error_ratio: float = Field(
        0.1,
        ge=0.01,
        le=1,
        description="Error of the limits above which more notes are asked for: a tenth (common practice, no source).",
    )
    next_notes: int = Field(8, ge=0, le=100, description="Places proposed for the next notes: an hour or two on foot.")
    next_window_m: float = Field(
        10.0,
        ge=1,
        le=50,
        description="Sigma in which such a place is judged: ground large enough that mapper and survey mean the same.",
    )
    next_apart_m: float = Field(
        100.0, ge=10, le=2000, description="Such places keep this far from each other and from notes already made."
    )
    least_doubt_bits: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Entropy of the bands below which a note teaches nothing: the likelier of two is surer than 9 in 10.",
    )
    least_density_m2_per_m3: float = Field(
        0.01,
        gt=0,
        le=0.1,
        description="Lower densities are all the same to a runner, and a logarithm must stop somewhere.",
    )
