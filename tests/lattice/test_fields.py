"""The squares that sections are drawn in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.lattice.fields import Field, fields_over


def test_a_small_area_is_one_field_whatever_its_shape() -> None:
    """2 km2 across a corner of the lattice are one field, whose core holds all rasters."""
    frames = [(600.0, 600.0, 1600.0, 1600.0), (1600.0, 600.0, 2100.0, 1600.0)]
    assert fields_over(frames) == [Field("whole", (0.0, 0.0, 3000.0, 2000.0))]


def test_two_far_squares_are_two_fields() -> None:
    """A frame around both would be mostly empty, and its rasters would fill the memory."""
    frames = [(0.0, 0.0, 500.0, 500.0), (50_000.0, 50_000.0, 50_500.0, 50_500.0)]
    assert [field.name for field in fields_over(frames)] == ["e0_n0", "e50_n50"]


def test_names_are_safe_below_zero() -> None:
    """No name begins with a sign, so none is taken for an option; Czechia lies below zero on both axes."""
    fields = fields_over([(-741_000.0, -1_041_500.0, -739_000.0, -1_039_000.0)])
    assert [field.name for field in fields][:2] == ["w741_s1042", "w741_s1041"]
    assert fields[0].core == (-741_000.0, -1_042_000.0, -740_000.0, -1_041_000.0)


def test_an_edge_on_the_lattice_gains_no_field() -> None:
    """Tiles of whole kilometres make as many fields as kilometres."""
    assert len(fields_over([(1000.0 * i, 0.0, 1000.0 * (i + 1), 1000.0) for i in range(4)])) == 4


@given(st.lists(st.tuples(st.integers(-9000, 9000), st.integers(-9000, 9000)), min_size=1, max_size=12))
def test_every_place_lies_in_one_field(corners: list[tuple[int, int]]) -> None:
    """Fields cover the ground and do not overlap."""
    frames = [(float(e), float(n), e + 700.0, n + 700.0) for e, n in corners]
    cores = [field.core for field in fields_over(frames)]
    for east, north in [(frame[0] + 0.5, frame[3] - 0.5) for frame in frames]:
        assert sum(w <= east < e and s <= north < n for w, s, e, n in cores) == 1


def test_reach_is_the_core_and_its_margin() -> None:
    """What a section reads."""
    assert Field("e0_n0", (0.0, 0.0, 1000.0, 1000.0)).reach(150.0) == (-150.0, -150.0, 1150.0, 1150.0)


def test_no_ground_no_fields() -> None:
    """An area without ground is a mistake of the caller."""
    with pytest.raises(ValueError, match="no ground"):
        fields_over([])
