"""Which bumps are knolls."""

import numpy as np
import pytest
import shapely

from pipeline.landform.shapes.knolls import draft_knolls, find_knolls
from pipeline.lattice.grid import Grid, Heights
from tests import landscape

LEAST = {"min_contrast": 3.3, "min_likeness": 0.45}
GRID = landscape.grid_of(side_m=120, cell_m=0.5)


def knolls(ground: Heights, *, gap: Heights | None = None, seen: float = 0.9):
    """Knolls on well seen ground."""
    support = landscape.support(GRID, per_m2=4) if gap is None else gap
    return draft_knolls(ground, support, np.full(GRID.shape, seen, np.float32), GRID, **LEAST)


def hill(**shape: float) -> Heights:
    """A slope with one bump in the middle."""
    return landscape.plane(GRID, rise_deg=10) + landscape.bump(GRID, east_m=0, north_m=0, **shape)


def test_a_small_hill_is_a_knoll_with_its_height() -> None:
    """1.5 m high and 10 m across: 109, with height, width and a sentence saying so."""
    found = knolls(hill(height_m=1.5, radius_m=5))
    assert found.symbol.tolist() == ["109"]
    np.testing.assert_allclose(found.height_m, 1.5, rtol=0.15)
    assert f"{found.height_m[0]:.1f} m high, 10 m across, by " in found.evidence[0]
    assert found.confidence[0] > 0.7


def test_a_long_hill_is_an_elongated_knoll() -> None:
    """Twice as long as wide: 110 with the direction of its long axis, east to west."""
    found = knolls(hill(height_m=1.5, radius_m=4, stretch=2.2))
    assert found.symbol.tolist() == ["110"]
    np.testing.assert_allclose(found.angle_deg, 90, atol=6)


def test_what_is_lower_than_the_standard_asks_is_no_knoll() -> None:
    """Half a metre is left out (ISOM 109: 1 m)."""
    assert len(knolls(hill(height_m=0.5, radius_m=5))) == 0


def test_a_boulder_is_no_knoll() -> None:
    """Steeper than earth stands, or cut away by the ground filter so that no return lies on it."""
    assert len(knolls(hill(height_m=2.2, radius_m=2.2))) == 0
    cut_away = landscape.support(GRID, per_m2=4, within_m=3, per_m2_within=0)
    assert len(knolls(hill(height_m=1.5, radius_m=5), gap=cut_away)) == 0


def test_a_knoll_under_bushes_is_kept_and_what_a_cut_boulder_leaves_is_not() -> None:
    """Ground returns sparser on it than round about: many of them tell a wide knoll, few are the sides of a boulder."""
    for per_m2_on_it, n_found in ((1.0, 1), (0.05, 0)):
        gap = landscape.support(GRID, per_m2=4, within_m=4, per_m2_within=per_m2_on_it)
        assert len(knolls(hill(height_m=1.8, radius_m=6), gap=gap)) == n_found


def test_a_lump_no_wider_than_a_boulder_is_no_knoll() -> None:
    """1.2 m high and 3 m wide half way up, with returns all over: a boulder or root plate that passed for ground."""
    assert len(knolls(hill(height_m=1.2, radius_m=3.3))) == 0
    assert len(knolls(hill(height_m=1.2, radius_m=5.0))) == 1


def test_a_stray_return_makes_no_knoll() -> None:
    """The surface stretched over one high return is as smooth as a knoll, but no other return lies on it."""
    gap = landscape.support(GRID, per_m2=4, within_m=4, per_m2_within=0)
    middle = tuple(n // 2 for n in GRID.shape)
    gap[middle] = 0.1
    assert len(knolls(hill(height_m=1.5, radius_m=5), gap=gap)) == 0


def lumpy(n_lumps: int) -> Heights:
    """A slope strewn with lumps of 0.4 to 1.6 m, long and round, but for its middle."""
    rng = np.random.default_rng(3)
    ground = landscape.plane(GRID, rise_deg=8)
    for east_m, north_m in rng.uniform(-50, 50, (n_lumps, 2)):
        height_m, radius_m, stretch = rng.uniform(0.4, 1.6), rng.uniform(2.5, 5), rng.uniform(1, 2.2)
        if np.hypot(east_m, north_m) < 14:
            continue
        ground = ground + landscape.bump(
            GRID, east_m=east_m, north_m=north_m, height_m=height_m, radius_m=radius_m, stretch=stretch
        )
    return landscape.as_heights(ground)


def counts_of(ground: Heights) -> int:
    """How many knolls a ground has."""
    return len(find_knolls(ground, landscape.support(GRID, per_m2=4), GRID, **LEAST)[0].height_m)


def test_among_many_lumps_only_those_that_tower_over_them_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ground strewn with lumps keeps a third of them, and a hill twice as high in its midst; few lumps all count."""
    many, few = counts_of(lumpy(120)), counts_of(lumpy(6))
    with_hill = lumpy(120) + landscape.bump(GRID, east_m=0, north_m=0, height_m=3.0, radius_m=7.5)
    away_m = np.hypot(*(shapely.get_coordinates(knolls(with_hill).geometry) - landscape.middle_of(GRID)).T)
    assert away_m.min() < 4
    monkeypatch.setattr("pipeline.landform.shapes.knolls.MIN_TALLER_RATIO", 1e-9)
    assert 0 < many < 0.5 * counts_of(lumpy(120))
    assert few == counts_of(lumpy(6)) > 0


def test_confidence_falls_with_how_well_the_ground_was_seen() -> None:
    """The same knoll where the ground is seen badly is worth a third."""
    well, badly = (knolls(hill(height_m=1.5, radius_m=5), seen=seen) for seen in (0.9, 0.3))
    np.testing.assert_allclose(badly.confidence[0] / well.confidence[0], 0.3 / 0.9, rtol=0.01)


def test_empty_ground_gives_an_empty_table() -> None:
    """No knoll on a plane; the table still has its columns."""
    found = knolls(landscape.plane(GRID, rise_deg=10))
    assert len(found) == 0
    assert {"symbol", "height_m", "confidence", "evidence"} <= set(found.columns)


def test_the_grid_need_not_be_square() -> None:
    """A narrow strip of survey is looked at like any other."""
    strip = Grid(landscape.CRS, 1_000_000, 12_000_000, 0.5, 300, 90)
    x, y = landscape.from_middle(strip)
    ground = (100 + 1.5 * np.exp(-(x**2 + y**2) / (0.55 * 5) ** 2)).astype(np.float32)
    gap = landscape.support(strip, per_m2=4)
    assert draft_knolls(ground, gap, gap, strip, **LEAST).symbol.tolist() == ["109"]
