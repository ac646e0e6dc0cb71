from dataclasses import replace

import numpy as np
import pytest

from pipeline.lattice.grid import Grid
from pipeline.refresh.register.coarse import coarse_shift
from pipeline.refresh.register.remarks import datum_in_words, datum_shifts, tilt_in_words
from pipeline.refresh.register.shift import Shift, Surface, find_shift, moved_onto
from tests.refresh.made import CRS, GRID, disc, surface


@pytest.mark.parametrize(("east_m", "north_m", "up_m"), [(0.0, 0.0, 0.0), (-0.35, 0.25, 0.12), (1.7, -2.4, -0.8)])
def test_a_known_shift_is_found_to_centimetres(east_m: float, north_m: float, up_m: float) -> None:
    """Ground that is drawn by a function, shifted by a known step, gives that step."""
    found = find_shift(surface(), surface(east_m=east_m, north_m=north_m, up_m=up_m, seed=2))
    assert found.is_found
    assert (found.east_m, found.north_m) == pytest.approx((east_m, north_m), abs=0.03)
    assert found.up_m == pytest.approx(up_m, abs=0.02)
    assert found.error_m < 0.05


def test_the_standard_error_grows_with_the_noise_and_holds() -> None:
    """Over several surveys with much noise, the shift is within three standard errors, and these are not huge."""
    away = []
    for seed in range(4):
        found = find_shift(surface(noise_m=0.4, seed=10 + seed), surface(east_m=0.5, noise_m=0.4, seed=20 + seed))
        away.append(abs(found.east_m - 0.5) / found.east_error_m)
        assert found.east_error_m < 0.2
    assert max(away) < 3.5


def test_flat_ground_tells_no_shift() -> None:
    """On a plain with nothing but noise the shift across the ground is 0 and said not to be found; the height is."""
    found = find_shift(surface(relief=0), surface(relief=0, up_m=0.1, seed=2))
    assert (found.east_m, found.north_m) == (0.0, 0.0)
    assert not found.is_found
    assert found.up_m == pytest.approx(0.1, abs=0.01)
    assert "flat" in found.how


def test_houses_tell_the_shift_where_the_ground_does_not() -> None:
    """On a plain, houses of both surveys say how far they lie apart."""
    houses = np.zeros(GRID.shape, np.float32)
    for row, col in ((20, 30), (60, 110), (100, 40), (130, 120), (30, 90), (90, 80), (140, 20)):
        houses[row : row + 9, col : col + 12] = 6.0
    old = replace(surface(relief=0), canopy=houses)
    new = replace(surface(relief=0, seed=2), canopy=np.roll(houses, (1, -2), (0, 1)))
    found = find_shift(old, new)
    assert (found.east_m, found.north_m) == pytest.approx((-2.0, -1.0), abs=0.3)
    assert "houses" in found.how


def test_changed_ground_does_not_move_the_shift() -> None:
    """A quarter of the ground dug away by 3 m leaves the shift as it was."""
    new = surface(east_m=0.3, north_m=-0.2, seed=2)
    dug = np.where(disc(60, 60, 45), new.bare_earth - 3, new.bare_earth).astype(np.float32)
    found = find_shift(surface(), replace(new, bare_earth=dug))
    assert (found.east_m, found.north_m, found.up_m) == pytest.approx((0.3, -0.2, 0.0), abs=0.05)


def test_a_large_shift_is_found_from_a_coarse_guess() -> None:
    """Two surveys 65 m apart, as between datums, are brought to centimetres; near ones need no guess."""
    moved = Grid(CRS, GRID.west_col - 60, GRID.north_row + 25, 1.0, GRID.rows, GRID.cols)
    old, new = replace(surface(), grid=moved), surface(seed=2)
    guess = coarse_shift(old, new)
    assert guess is not None
    found = find_shift(old, new, start=guess)
    assert (found.east_m, found.north_m) == pytest.approx((60, -25), abs=0.05)
    assert coarse_shift(surface(), new) is None


def test_rasters_of_other_cells_are_laid_onto_the_new_grid() -> None:
    """An old raster of cells of 2 m is read between its cells, and unknown beyond its rim."""
    coarse = Grid(CRS, 250_000, 2_850_080, 2.0, 40, 80)
    east, _ = np.meshgrid(*coarse.centres())
    laid = moved_onto((east - 500_000).astype(np.float32), coarse, GRID, Shift(east_m=1.0))
    new_east = np.broadcast_to(GRID.centres()[0] - 500_000, GRID.shape)
    assert np.allclose(laid[10:70, 5:150], new_east[10:70, 5:150] - 1.0, atol=1e-3)
    assert np.isnan(laid[90:]).all()


def test_a_tilt_and_a_step_are_said_and_neither_where_there_is_none() -> None:
    """A survey that rises by 0.3 m to the east is tilted; one that is 0.3 m higher in its east half has a step."""
    old, new = surface(), surface(seed=2)
    across = np.linspace(0, 1, GRID.cols)[None]

    def words(lift: np.ndarray) -> str:
        lifted = Surface(GRID, (new.bare_earth + lift).astype(np.float32))
        return tilt_in_words(old, lifted, find_shift(old, lifted))

    assert words(np.zeros_like(across)) == ""
    assert "tilted" in words(0.3 * across)
    assert "step" in words(0.3 * (across > 0.5))


def test_the_datum_is_named_that_explains_a_shift() -> None:
    """A map in ED50 taken for ETRS89 is recognised; heights 45 m off are those above the ellipsoid."""
    place = (500_080.0, 5_700_080.0)
    east, north = next((e, n) for name, e, n in datum_shifts(CRS, place) if name == "ED50")
    assert 50 < np.hypot(east, north) < 250
    assert "ED50" in datum_in_words(Shift(east + 1, north - 2), CRS, place)
    assert "no datum" in datum_in_words(Shift(33.0, 71.0), CRS, place)
    assert "ellipsoid" in datum_in_words(Shift(up_m=45.2), CRS, place)
    assert datum_in_words(Shift(0.4, -0.3, 0.1), CRS, place) == ""
