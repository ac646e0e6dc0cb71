"""How the work is cut up."""

from __future__ import annotations

from pydantic import Field

from pipeline.settings.section import Section


class FlowSettings(Section):
    """How the work is cut up. The map does not depend on it."""

    block_m: float | None = Field(
        None,
        ge=100,
        le=2000,
        description="Side of a working block. Empty: the largest of 500, 250 and 125 that keeps to block_max_returns. Up: fewer jobs that need more memory each. Down: more jobs, and more returns read twice. The map stays the same.",
    )
    block_max_returns: int = Field(
        8_000_000,
        ge=100_000,
        le=100_000_000,
        description="Most returns that a block and what is read around it may hold; a job needs about 0.27 GiB for each million. Up: larger blocks and more memory. Down: smaller blocks and less memory. The map stays the same.",
    )


class Flow(Section):
    """How the work of one area is cut up, as steps are told it.

    Attributes
    ----------
    block_m : float
        Side of a working block.
    halo_m : float
        How far beyond its edge a block reads returns.
    """

    block_m: float = Field(gt=0)
    halo_m: float = Field(ge=0)
