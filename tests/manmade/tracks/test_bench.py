"""Floors of tracks in the cross-profile of the ground, on shapes of known place."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.manmade.tracks.bench import WIDTHS_M, floor_contrast


@pytest.mark.parametrize("made", list(WIDTHS_M))
@pytest.mark.parametrize("cell_m", [2.0, 8.0])
def test_cells_wider_than_a_floor_show_none(made: str, cell_m: float) -> None:
    """A thin survey has cells in which no floor of a kind has room: nothing is found then, and nothing fails."""
    heights = np.random.default_rng(3).normal(0, 1, (30, 40)).astype(np.float32)
    found = floor_contrast(heights, 0, made=made, cell_m=cell_m)
    assert found.shape == heights.shape
    has_room = any(half_m >= 0.75 * cell_m for half_m, _ in WIDTHS_M[made])
    assert bool(found.any()) == has_room
