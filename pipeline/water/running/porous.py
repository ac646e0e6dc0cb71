"""Porous ground, such as lava, karst and dunes: its valleys are dry, as water sinks where it falls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LEAST_FLOOR_M = 1000.0
"""Length of valley floor, in metres, from which the ground is judged by it. Shorter ones may show no bed by chance.
Our choice."""
POROUS_MAX_SHARE = 0.1
"""Share of the valley floors to which enough ground drains for the climate to run that show a bed; below it the ground
is porous: the length of bed for each square kilometre, the drainage density, is then a tenth of what the relief asks
for. Our choice."""


def is_porous(floor: NDArray[np.bool_], has_bed: NDArray[np.bool_], cell_m: float, /, *, told: bool | None) -> bool:
    """Whether water sinks in this ground: what was `told`, else whether hardly any valley floor shows a bed.

    Parameters
    ----------
    floor : (n,) bool
        Cells of valley floors to which enough ground drains for water to run.
    has_bed : (n,) bool
        Cells in which a bed is cut in.
    """
    if told is not None:
        return told
    length_m = np.count_nonzero(floor) * cell_m
    return bool(length_m >= LEAST_FLOOR_M and np.count_nonzero(floor & has_bed) * cell_m < POROUS_MAX_SHARE * length_m)
