"""How fine an area is drawn and how it is cut into working blocks, by its density."""

from __future__ import annotations

FINE_CELL_FROM_PULSES_PER_M2 = 3.0
"""Density from which raster cells are 0.5 m: about the spacing of ground returns under light canopy (common practice,
no source)."""
MEDIUM_CELL_FROM_PULSES_PER_M2 = 0.5
"""Density from which raster cells are 1 m, told in the same way; with less they are 2 m."""
BLOCK_SIDES_M = (125.0, 250.0, 500.0)
"""Working blocks come in these sizes, so that two surveys of one area are mostly cut alike."""


def cell_for_density(pulses_per_m2: float, /) -> float:
    """Side of a raster cell in metres that a density of pulses supports."""
    if pulses_per_m2 >= FINE_CELL_FROM_PULSES_PER_M2:
        return 0.5
    return 1.0 if pulses_per_m2 >= MEDIUM_CELL_FROM_PULSES_PER_M2 else 2.0


def block_for_density(returns_per_m2: float, /, *, halo_m: float, max_returns: int) -> float:
    """Side of a working block in metres: the largest whose returns, halo included, stay below a number."""
    fits = [side for side in BLOCK_SIDES_M if returns_per_m2 * (side + 2 * halo_m) ** 2 <= max_returns]
    return max(fits, default=min(BLOCK_SIDES_M))
