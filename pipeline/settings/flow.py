"""How the work is cut up."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class FlowSettings(Section):
    """How the work is cut up. Results do not depend on it."""

    block_m: float | None = Field(
        None,
        ge=100,
        le=2000,
        description="Side of a working block. Empty: the largest of 500, 250 and 125 that keeps to block_max_returns.",
    )
    block_max_returns: int = Field(
        6_000_000,
        ge=100_000,
        le=100_000_000,
        description="Returns a block and its halo may hold; a job needs about 0.3 GiB for each million.",
    )


class Flow(Section):
    """How the work of one area is cut up, decided: what steps are told."""

    block_m: float = Field(gt=0)
    halo_m: float = Field(ge=0)
