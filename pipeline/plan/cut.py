"""How fine an area is drawn and how it is cut into working blocks, by its density."""

from __future__ import annotations

FINE_CELL_FROM_PULSES_PER_M2 = 3.0
"""Density from which raster cells are 0.5 m: about the spacing of ground returns under light canopy (common practice,
no source)."""
MEDIUM_CELL_FROM_PULSES_PER_M2 = 0.5
"""Density from which raster cells are 1 m, told in the same way; with less they are 2 m."""
BLOCK_SIDES_M = (125.0, 250.0, 500.0)
"""Working blocks come in these sizes, so that two surveys of one area are mostly cut alike."""

LEAST_HALO_M = 60.0
"""Metres of its neighbours' returns that a block reads at least."""
LOOK_AROUND_M = 30.0
"""Metres beyond its edge that rasters and boulders of a block look, into ground and classes that must be those the
neighbouring block finds (`pipeline.steps.block.reaches`)."""
FILTER_RIM_M = 6.0
"""Metres that the ground filter looks beyond its largest window, to bridge ways and smooth slopes; with the default
window it leaves 30 m for what looks at the classes. Our choice; `tests/steps/test_seams.py` holds that it is enough."""


def halo_for(*, ground_window_m: float, max_gap_m: float) -> float:
    """Metres of its neighbours' returns that a block must read, so that nothing changes at its edge.

    Parameters
    ----------
    ground_window_m : largest window of the ground filter
    max_gap_m : widest gap that the bare earth is drawn across
    """
    return max(LEAST_HALO_M, ground_window_m + FILTER_RIM_M + max(LOOK_AROUND_M, max_gap_m))


def cell_for_density(pulses_per_m2: float, /) -> float:
    """Side of a raster cell in metres that a density of pulses supports."""
    if pulses_per_m2 >= FINE_CELL_FROM_PULSES_PER_M2:
        return 0.5
    return 1.0 if pulses_per_m2 >= MEDIUM_CELL_FROM_PULSES_PER_M2 else 2.0


def block_for_density(returns_per_m2: float, /, *, halo_m: float, max_returns: int) -> float:
    """Side of a working block in metres: the largest whose returns, halo included, stay below a number."""
    fits = [side for side in BLOCK_SIDES_M if returns_per_m2 * (side + 2 * halo_m) ** 2 <= max_returns]
    return max(fits, default=min(BLOCK_SIDES_M))
