"""A mosaic that can be read: what is too small or too faint goes, what a runner meets stays, and no sliver is left."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from pipeline.lattice.grid import Grid
from pipeline.lattice.larger_cells import into_smaller
from pipeline.vegetation.areas.areas import draw_areas
from pipeline.vegetation.areas.hatching import without_stray_lines
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, MIN_AREA_OF_KIND_M2, NOT_SEEN, OUTSIDE
from pipeline.vegetation.areas.merging import Limits, connected_areas, merge_areas
from pipeline.vegetation.areas.mosaic import in_larger_cells, settle_kinds, without_threads
from pipeline.vegetation.calibration.agreement import weighted_kappa

GRID = Grid("EPSG:25832", 100, 300, 1.0, 120, 120)


def ground(symbol: str, side: int = 80) -> np.ndarray:
    """A square of one symbol."""
    return np.full((side, side), AREA_SYMBOLS.index(symbol), np.int16)


def with_patch(around: str, symbol: str, high: int, wide: int) -> np.ndarray:
    """A patch of one symbol, so many metres high and wide, in the middle of another."""
    kinds = ground(around)
    kinds[30 : 30 + high, 30 : 30 + wide] = AREA_SYMBOLS.index(symbol)
    return kinds


def symbols_of(kinds: np.ndarray) -> set[str]:
    """The symbols drawn."""
    return {AREA_SYMBOLS[kind] for kind in np.unique(kinds)}


def patchy(seed: int) -> np.ndarray:
    """A random patchwork of four bands with many small patches, and one of open land."""
    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=GRID.shape), 4)
    kinds = np.digitize(field / field.std(), (-0.3, 0.5, 1.2)).astype(np.int16)
    kinds[ndimage.gaussian_filter(rng.normal(size=GRID.shape), 12) > 0.03] = AREA_SYMBOLS.index("401")
    return kinds


@pytest.mark.parametrize(
    ("around", "symbol", "high", "wide", "stays"),
    [
        ("406", "408", 10, 10, False),
        ("406", "408", 12, 12, True),
        ("405", "410", 11, 11, True),
        ("408", "410", 9, 9, False),
        ("408", "410", 12, 12, True),
        ("408", "406", 14, 14, False),
        ("408", "406", 17, 17, True),
        ("406", "405", 13, 13, False),
        ("408", "405", 15, 15, True),
        ("403", "405", 13, 13, False),
        ("401", "405", 13, 13, True),
        ("401", "403", 15, 15, False),
        ("405", "401", 10, 10, True),
    ],
)
def test_a_patch_stays_if_it_is_large_for_what_is_around_it(
    around: str, symbol: str, high: int, wide: int, stays: bool
) -> None:
    """Sizes in metres, by the norm's least areas and by how far the two are apart; corners are rounded off first."""
    settled = settle_kinds(with_patch(around, symbol, high, wide), cell_m=1.0)
    assert (symbol in symbols_of(settled)) == stays


def test_a_small_patch_becomes_the_band_most_like_it() -> None:
    """A speck of fight between walk and white is drawn as walk."""
    kinds = ground("405", 40)
    kinds[:, 20:] = AREA_SYMBOLS.index("408")
    kinds[18:22, 17:22] = AREA_SYMBOLS.index("410")
    settled = settle_kinds(kinds, cell_m=1.0)
    assert (settled[18:22, 17:22] == AREA_SYMBOLS.index("408")).all()


def test_two_small_patches_side_by_side_make_one_that_is_large_enough() -> None:
    """The one that loses less joins the other before that is judged."""
    kinds = np.zeros((40, 40), np.int16)
    kinds[10:16, 10:20] = 3
    kinds[16:20, 10:20] = 2
    loss = (100 * np.subtract.outer(np.arange(4), np.arange(4)) ** 2).astype(np.int64)
    limits = Limits(loss, np.repeat(np.array([[0.0], [0.0], [80.0], [80.0]]), 4, axis=1), np.zeros((4, 4)))
    merged = merge_areas(kinds, limits, cell_m=1.0)
    assert (merged[10:20, 10:20] == 3).all()


def test_ground_not_seen_is_kept_apart() -> None:
    """A dark patch large enough to matter is not given to its neighbours; a speck is."""
    kinds = np.zeros((60, 60), np.int16)
    kinds[5:45, 5:45] = NOT_SEEN
    kinds[50:53, 50:53] = NOT_SEEN
    settled = settle_kinds(kinds, cell_m=1.0)
    assert (settled == NOT_SEEN).sum() == 1600


def test_a_gap_that_leads_through_stays() -> None:
    """A white strip 5 m wide through fight is as large as the forest at its ends: it is not closed."""
    kinds = ground("405")
    kinds[20:60] = AREA_SYMBOLS.index("410")
    kinds[20:60, 40:45] = AREA_SYMBOLS.index("405")
    drawn = draw_areas(settle_kinds(kinds, cell_m=1.0), Grid("EPSG:25832", 0, 80, 1.0, 80, 80), smooth_m=1.5)
    fight = drawn.geometry[drawn["symbol"] == "410"]
    assert len(fight) == 2
    assert fight.iloc[0].distance(fight.iloc[1]) > 3.5


@pytest.mark.parametrize(("wide", "stays"), [(1, False), (2, True)])
def test_a_thread_of_growth_goes(wide: int, stays: bool) -> None:
    """A strip of fight one metre wide that hangs on an area of it goes, and leaves that area as it is."""
    kinds = with_patch("406", "410", 20, 20)
    kinds[38 : 38 + wide, 50:75] = AREA_SYMBOLS.index("410")
    found = without_threads(kinds, cell_m=1.0)
    assert (AREA_SYMBOLS[found[38, 60]] == "410") == stays
    assert (found[30:50, 30:50] == AREA_SYMBOLS.index("410")).all()


@pytest.mark.parametrize(("symbol", "plain", "spacing_m"), [("407", "406", 12.6), ("409", "408", 6.3)])
def test_a_hatched_area_shows_two_lines_or_is_none(symbol: str, plain: str, spacing_m: float) -> None:
    """Wide enough for two lines wherever they fall, each at least a millimetre long; else the band without lines."""
    enough, tall = int(np.ceil(2 * spacing_m)), 15
    for high, wide, expected in ((tall, enough, symbol), (tall, enough - 1, plain), (tall - 1, 3 * enough, plain)):
        found = without_stray_lines(with_patch("405", symbol, high, wide), cell_m=1.0)
        assert AREA_SYMBOLS[found[31, 31]] == expected


def test_lines_that_are_only_ticks_do_not_count() -> None:
    """A low strip with one tall column shows one line, however wide it is."""
    kinds = with_patch("405", "407", 5, 45)
    kinds[30:70, 30:34] = AREA_SYMBOLS.index("407")
    assert "407" not in symbols_of(without_stray_lines(kinds, cell_m=1.0))


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**16))
def test_areas_share_their_edges_and_none_is_too_small(seed: int) -> None:
    """Areas meet in the same vertices, and nowhere overlap."""
    kinds = settle_kinds(patchy(seed), cell_m=1.0)
    areas = draw_areas(kinds, GRID, smooth_m=1.5)
    shapes = areas.geometry.to_numpy()
    assert shapely.coverage_is_valid(shapes)
    least = [MIN_AREA_OF_KIND_M2[AREA_SYMBOLS.index(symbol)] for symbol in areas["symbol"]]
    assert (shapely.area(shapes) >= np.array(least) - 1e-6).all()


def test_a_coverage_with_a_sliver_is_told() -> None:
    """The control: two squares that overlap by a hand's width are no coverage."""
    squares = np.array([shapely.box(0, 0, 10, 10), shapely.box(9.9, 0, 20, 10)])
    assert not shapely.coverage_is_valid(squares)


def test_the_mosaic_keeps_most_of_what_there_was() -> None:
    """Far fewer areas in each of ten made forests, open land kept to a tenth; weighted kappa of all bands 0.8."""
    together = np.zeros((4, 4), np.int64)
    for seed in range(10):
        kinds = patchy(seed)
        settled = settle_kinds(kinds, cell_m=1.0)
        assert len(connected_areas(settled)[1]) < 0.6 * len(connected_areas(kinds)[1])
        is_forest = (kinds < 4) & (settled < 4)
        table = np.bincount(4 * kinds[is_forest] + settled[is_forest], minlength=16).reshape(4, 4)
        assert weighted_kappa(table) >= 0.7
        together += table
        is_open = kinds == AREA_SYMBOLS.index("401")
        assert abs((settled == AREA_SYMBOLS.index("401")).sum() - is_open.sum()) <= 0.1 * is_open.sum() + 120
    assert weighted_kappa(together) >= 0.8


def test_areas_are_numbered_by_place() -> None:
    """Two windows number the areas they share in the same order, whatever else lies in them."""
    kinds = patchy(5)
    whole, _ = connected_areas(kinds)
    part, _ = connected_areas(kinds[:, 30:])
    inner = np.unique(part[20:100, 20:60])
    closed = [n for n in inner if not {0, part.shape[1] - 1} & set(np.nonzero(part == n)[1])]
    order = [int(whole[:, 30:][part == n][0]) for n in closed]
    assert len(order) > 10
    assert order == sorted(order)


def test_cells_of_half_a_metre_are_drawn_in_whole_metres() -> None:
    """The kind that is least wrong for all four, outside only where all are; and back onto small cells."""
    grid = Grid("EPSG:25832", 1, 5, 0.5, 5, 4)
    kinds = ground("405", 5)[:, :4]
    kinds[1:3, 1:3] = np.array([[3, 3], [2, 0]])
    kinds[3:5, 3] = OUTSIDE
    kinds[:, 0] = OUTSIDE
    found, larger, times = in_larger_cells(kinds, grid)
    assert (larger.cell_m, times, larger.shape) == (1.0, 2, (3, 3))
    assert found[1].tolist() == [OUTSIDE, 2, 0]
    assert found[2].tolist() == [OUTSIDE, 0, OUTSIDE]
    back = into_smaller(found, grid, larger, times)
    assert back.shape == grid.shape
    assert back[1:3, 1:3].tolist() == [[2, 2], [2, 2]]
