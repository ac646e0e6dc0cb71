from dataclasses import replace

import numpy as np
import pytest
import shapely

from pipeline.lattice.filters.bell import gaussian
from pipeline.refresh.compare import solids
from pipeline.refresh.compare.canopy import canopy_change
from pipeline.refresh.compare.density import density_change
from pipeline.refresh.compare.ground import ground_change, regional_error
from pipeline.refresh.compare.joined_tracks import joined
from pipeline.refresh.compare.regions import without_gaps
from pipeline.refresh.compare.returns_seen import returns_seen
from pipeline.refresh.compare.solids import houses, is_rock, lumps, small_lumps
from pipeline.refresh.compare.without_points import boulders_of_maps, houses_of_maps
from tests.refresh.made import GRID, cloud_over, disc, surface

NOTHING = np.zeros(GRID.shape, np.bool_)
EVERYWHERE = np.ones(GRID.shape, np.bool_)


def test_a_pit_is_lower_ground_and_noise_is_none() -> None:
    """Two surveys of the same ground show no change; a pit 1.2 m deep does, as wide as it is."""
    old, new = surface(noise_m=0.06), surface(noise_m=0.06, seed=2)
    pit = disc(70, 90, 9)
    same, dug = (
        ground_change(old.bare_earth, heights, old.support, new.support, cell_m=1.0)
        for heights in (new.bare_earth, np.where(pit, new.bare_earth - 1.2, new.bare_earth).astype(np.float32))
    )
    assert not same.changed.any()
    assert not dug.higher.any()
    assert (dug.lower & pit).sum() > 0.95 * pit.sum()
    assert (dug.lower & ~pit).sum() < 0.3 * pit.sum()


def test_noise_of_poorly_seen_ground_is_no_change() -> None:
    """Where ground returns lie 3 m apart and the surfaces differ by half a metre here and there, nothing changed."""
    rng = np.random.default_rng(5)
    old, new = surface(), surface(seed=2)
    poor = disc(80, 80, 40)
    rough = gaussian(rng.normal(0, 2.4, GRID.shape).astype(np.float32), 2.0)
    support = np.where(poor, 3.0, 0.3).astype(np.float32)
    shown = np.where(poor, new.bare_earth + rough, new.bare_earth).astype(np.float32)
    assert np.abs(rough[poor]).max() > 0.5
    assert not ground_change(old.bare_earth, shown, support, support, cell_m=1.0).changed.any()


def test_ground_that_only_one_filter_calls_ground_did_not_change() -> None:
    """The bare earth climbs onto a boulder in one survey, but the lowest returns lie where they did."""
    old = surface()
    lump = np.where(disc(50, 50, 4), old.bare_earth + 1.0, old.bare_earth).astype(np.float32)
    returns = tuple(returns_seen([cloud_over(lump, seed=k)], old.bare_earth, GRID) for k in (1, 2))
    told = ground_change(old.bare_earth, lump, old.support, old.support, cell_m=1.0, returns=(returns[0], returns[1]))
    assert not told.changed.any()
    assert ground_change(old.bare_earth, lump, old.support, old.support, cell_m=1.0).higher.any()


def test_an_error_of_a_whole_region_is_told_from_a_pit() -> None:
    """A flight line 0.2 m too high is taken out; a pit in it stays."""
    lift = np.where(np.arange(GRID.cols)[None] > 80, 0.2, 0.0) * np.ones(GRID.shape)
    difference = (lift - 2.0 * disc(120, 80, 8)).astype(np.float32)
    rest = difference - regional_error(difference, 1.0)
    assert abs(float(np.median(rest[:, 110:]))) < 0.02
    assert float(np.median(rest[disc(120, 80, 7)])) < -1.9


@pytest.fixture(scope="module")
def forest() -> np.ndarray:
    """Crowns of 12 to 20 m with gaps."""
    rng = np.random.default_rng(8)
    crowns = gaussian(rng.normal(0, 1, GRID.shape).astype(np.float32), 1.5)
    return np.where(crowns > -0.1, 16 + 30 * crowns, 0.5).clip(0).astype(np.float32)


def test_felled_forest_is_found_and_standing_forest_is_not(forest: np.ndarray) -> None:
    """Trees gone from a square of 40 m are found as wide as that; trees that grew by a tenth are the same trees."""
    rng = np.random.default_rng(9)
    later = (1.1 * forest + rng.normal(0, 1.5, GRID.shape)).clip(0).astype(np.float32)
    square = np.zeros(GRID.shape, np.bool_)
    square[60:100, 40:80] = True
    same = canopy_change(forest, later, EVERYWHERE, cell_m=1.0)
    cut = canopy_change(forest, np.where(square, 0.3, later).astype(np.float32), EVERYWHERE, cell_m=1.0)
    assert not (same.felled | same.grown).any()
    assert same.usual_ratio == pytest.approx(1.1, abs=0.05)
    assert (cut.felled & square).sum() > 0.9 * square.sum()
    assert (cut.felled & ~square).sum() < 0.1 * square.sum()


def test_a_forest_felled_as_a_whole_is_not_taken_for_noise(forest: np.ndarray) -> None:
    """Nine tenths of the trees are gone: the spread of the pair is all change, and is found all the same."""
    later = forest.copy()
    later[:144] = 0.3
    cut = canopy_change(forest, later, EVERYWHERE, cell_m=1.0)
    assert cut.felled[:140].mean() > 0.9


def _undergrowth(seed: int) -> np.ndarray:
    """Patches of 0.05 to 0.9 m2/m3."""
    rng = np.random.default_rng(seed)
    waves = gaussian(rng.normal(0, 1, GRID.shape).astype(np.float32), 9.0)
    return (0.25 * np.exp(1.2 * waves / waves.std())).clip(0.01, 2).astype(np.float32)


def test_thicker_undergrowth_is_found_and_noise_is_not() -> None:
    """A thicket that grew 0.6 m2/m3 denser is found; what counting pulses adds is not."""
    rng = np.random.default_rng(4)
    old = _undergrowth(3)
    noisy = (old * np.exp(gaussian(rng.normal(0, 0.6, GRID.shape).astype(np.float32), 2.0))).astype(np.float32)
    thicket = disc(90, 60, 20)
    same = density_change(old, noisy, None, None, cell_m=1.0, elsewhere=NOTHING, allow_leaves=False)
    more = np.where(thicket, noisy + 0.6, noisy).astype(np.float32)
    grown = density_change(old, more, None, None, cell_m=1.0, elsewhere=NOTHING, allow_leaves=False)
    assert not (same.thicker | same.thinner).any()
    assert (grown.thicker & thicket).sum() > 0.85 * thicket.sum()
    assert (grown.thicker & ~thicket).sum() < 0.25 * thicket.sum()


def test_leaves_do_not_turn_the_forest_green_but_a_thicket_still_shows() -> None:
    """All undergrowth is 1.8 times as dense in leaf: nothing changed where that may be; a grown thicket stands out."""
    old = _undergrowth(3)
    leafy = (1.8 * old).astype(np.float32)
    thicket = disc(90, 60, 18)
    dense = np.where(thicket, leafy + 0.8, leafy).astype(np.float32)
    asked = {"cell_m": 1.0, "elsewhere": NOTHING}
    same = density_change(old, leafy, None, None, **asked, allow_leaves=True)
    assert (same.thicker | same.thinner).mean() <= 0.03
    assert same.leaf_ratio == pytest.approx(1.8, abs=0.15)
    error = np.full(GRID.shape, 0.02, np.float32)
    assert density_change(old, leafy, error, error, **asked, allow_leaves=False).thicker.mean() > 0.15
    found = density_change(old, dense, None, None, **asked, allow_leaves=True)
    assert (found.thicker & thicket).sum() > 0.7 * thicket.sum()
    assert (found.thicker & ~thicket).mean() < 0.02


def test_boulders_and_houses_come_and_go_by_their_returns() -> None:
    """A boulder 1.2 m high and a house stand in one survey; each is told from bare ground in the other."""
    flat = np.full(GRID.shape, 100.0, np.float32)
    stone, house = disc(40, 40, 2), np.zeros(GRID.shape, np.bool_)
    house[90:100, 100:112] = True
    with_both = np.where(house, 105.0, np.where(stone, 101.2, flat))
    there, bare = (returns_seen([cloud_over(h, seed=k)], flat, GRID) for k, h in ((1, with_both), (2, flat)))
    found = lumps(there, bare, GRID)
    assert len(found) == 1
    assert (found[0].east_m, found[0].north_m) == pytest.approx((500_040.5, 5_700_119.5), abs=0.7)
    assert found[0].height_m == pytest.approx(1.2, abs=0.1)
    assert not lumps(there, returns_seen([cloud_over(with_both, seed=5)], flat, GRID), GRID)
    cells = houses(bare, there, cell_m=1.0)
    assert (cells & house).sum() > 0.7 * house.sum()
    assert not (cells & ~house).any()
    assert not houses(there, bare, cell_m=1.0).any()


def test_a_small_boulder_is_told_beneath_a_crown_and_a_bush_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """It stops each pulse that reaches it; a bush of that size lets some pass, and crowns tell nothing of either."""
    flat = np.full(GRID.shape, 100.0)
    stone, bush = (disc(col, 40.5, 1) for col in (40.5, 80.5))
    crowns = [cloud_over(flat + 12, seed=k, pulses_per_m2=8) for k in (3, 4)]
    twigs = cloud_over(np.where(bush, 100.6, 90.0), seed=5, return_number=1, n_returns=2)
    standing = cloud_over(np.where(stone | bush, 100.8, flat), seed=1, pulses_per_m2=8)
    there = returns_seen([standing, twigs, crowns[0]], flat.astype(np.float32), GRID)
    bare = returns_seen([cloud_over(flat, seed=2), crowns[1]], flat.astype(np.float32), GRID)
    found = small_lumps(there, bare, GRID)
    assert len(found) == 1
    assert (found[0].east_m, found[0].north_m) == pytest.approx((500_041, 5_700_119), abs=0.7)
    assert found[0].height_m == pytest.approx(0.8, abs=0.1)
    assert 0.5 < found[0].radius_m < 1.5
    assert not lumps(there, bare, GRID)
    assert not small_lumps(bare, there, GRID)
    assert not small_lumps(there, there, GRID)
    monkeypatch.setattr(solids, "BAND_ROWS", 41)
    assert small_lumps(there, bare, GRID) == found


def test_a_cleared_thicket_is_no_heap_of_boulders() -> None:
    """No pulse comes through a thicket 1.2 m high and 20 m wide; where it is cleared, nothing that stood alone went."""
    flat = np.full(GRID.shape, 100.0)
    thicket = np.where(disc(80, 80, 10), 101.2, flat)
    there, bare = (
        returns_seen([cloud_over(lowest, seed=k, pulses_per_m2=8)], flat.astype(np.float32), GRID)
        for k, lowest in ((1, thicket), (2, flat))
    )
    assert not small_lumps(there, bare, GRID)


def test_a_bush_that_lets_pulses_through_is_no_boulder() -> None:
    """Where pulses bring several returns and half of them reach the ground, nothing solid stood."""
    flat = np.full(GRID.shape, 100.0, np.float32)
    bushy = returns_seen([cloud_over(flat, seed=1, share_low=0.5, n_returns=2)], flat, GRID)
    bare = returns_seen([cloud_over(flat, seed=2)], flat, GRID)
    assert not any(is_rock(lump) for lump in lumps(bushy, bare, GRID))


def test_without_points_houses_and_boulders_are_told_from_missing_ground_returns() -> None:
    """What one map alone draws counts if the ground was hidden there in its survey and is bare in the other."""
    stone, house = shapely.Point(500_040.5, 5_700_119.5), shapely.box(500_100, 5_700_060, 500_112, 5_700_070)
    bare = np.full(GRID.shape, 0.3, np.float32)
    hidden = np.where(disc(40, 40, 2), 1.2, bare).astype(np.float32)
    hidden[90:100, 100:112] = 2.0
    rise = np.zeros(GRID.shape, np.float32)
    assert len(boulders_of_maps([stone], [], hidden, bare, rise, GRID)) == 1
    assert not boulders_of_maps([stone], [stone], hidden, bare, rise, GRID)
    assert not boulders_of_maps([stone], [], hidden, hidden, rise, GRID)
    assert len(houses_of_maps([house], [], hidden, bare, GRID)) == 1
    assert not houses_of_maps([house], [], bare, bare, GRID)


def test_pieces_of_one_track_are_joined_and_others_are_not() -> None:
    """Two strips in line with a gap of 25 m are one track; one across is another; a round pit has no direction."""
    strips = [
        shapely.LineString(line).buffer(2) for line in ([(0, 0), (40, 0)], [(65, 3), (100, 6)], [(50, 30), (50, 70)])
    ]
    shapes = [members for _, members in joined([*strips, shapely.Point(20, 40).buffer(8)], width_m=4.0)]
    assert sorted(map(sorted, shapes)) == [[0, 1], [2], [3]]


def test_a_track_is_joined_along_its_bend_and_to_a_short_piece_ahead() -> None:
    """Across a gap the strip leaves each piece the way it points; a piece of 6 m ahead is part of the track."""
    first, second = (shapely.LineString(line).buffer(2) for line in ([(0, 0), (40, 0)], [(68, 8), (88, 22)]))
    ahead, aside = shapely.box(-30, -2, -24, 2), shapely.box(-30, 12, -24, 16)
    found = joined([first, second, ahead, aside], width_m=4.0)
    assert sorted(sorted(members) for _, members in found) == [[0, 1, 2], [3]]
    whole = max((shape for shape, _ in found), key=lambda shape: shape.area)
    assert whole.contains(shapely.Point(50, 0.3))
    assert whole.contains(shapely.Point(-12, 0))


def test_a_thicket_ends_where_it_ends_and_has_no_holes_a_map_could_not_show() -> None:
    """The rim of a patch lies within a metre of the true one, and a glade of 100 m2 in it is not cut out."""
    thicket, glade, clearing = disc(60, 60, 30), disc(60, 50, 5), disc(110, 110, 12)
    wood = np.full(GRID.shape, 0.05, np.float32)
    grown = np.where((thicket & ~glade) | (disc(110, 110, 30) & ~clearing), 0.8, wood).astype(np.float32)
    error = np.full(GRID.shape, 0.02, np.float32)
    found = density_change(wood, grown, error, error, cell_m=1.0, elsewhere=NOTHING, allow_leaves=False).thicker
    assert (found & disc(60, 60, 29)).sum() == disc(60, 60, 29).sum()
    assert not found[disc(110, 110, 9)].any()
    assert not (found & ~disc(60, 60, 32) & ~disc(110, 110, 32)).any()


def test_gaps_narrower_than_a_map_shows_are_closed_where_both_surveys_see() -> None:
    """A slit of 4 m and a hole of 150 m2 are filled; a bay of 20 m, a hole of 400 m2 and unseen ground are not."""
    cells = np.zeros(GRID.shape, np.bool_)
    cells[20:100, 20:100] = True
    cells[20:60, 40:44] = False
    cells[20:60, 60:80] = False
    small, large, unseen = (
        (slice(70, 82), slice(30, 42)),
        (slice(70, 90), slice(60, 80)),
        (slice(90, 94), slice(30, 34)),
    )
    for gap in (small, large, unseen):
        cells[gap] = False
    seen = EVERYWHERE.copy()
    seen[unseen] = False
    closed = without_gaps(cells, seen, cell_m=1.0)
    assert closed[20:60, 40:44].mean() > 0.9
    assert closed[small].all()
    assert not closed[20:55, 63:77].any()
    assert not closed[large][4:-4, 4:-4].any()
    assert not closed[unseen].any()
    assert not closed[:20].any()


def test_surfaces_may_lack_what_is_not_at_hand() -> None:
    """Without a raster of support, ground is compared all the same."""
    old = replace(surface(), support=None)
    assert not ground_change(old.bare_earth, surface(seed=2).bare_earth, None, None, cell_m=1.0).changed.any()


def test_a_carpet_taken_for_ground_in_one_survey_is_not_thinner_undergrowth() -> None:
    """Density falls where the ground of the new survey lies a decimetre higher; cleared ground lies where it was."""
    old, spot = _undergrowth(3) + 0.3, disc(80, 80, 20)
    thin = np.where(spot, 0.02, old).astype(np.float32)
    asked = {"cell_m": 1.0, "elsewhere": NOTHING, "allow_leaves": False}
    lifted, level = (np.where(spot, rise, 0.0).astype(np.float32) for rise in (0.1, 0.0))
    assert not density_change(old, thin, None, None, **asked, lift=lifted).thinner.any()
    assert density_change(old, thin, None, None, **asked, lift=level).thinner.any()


def test_undergrowth_over_ground_that_lies_elsewhere_is_not_compared() -> None:
    """One survey sees no ground under a spot and takes it for 4 m higher: its undergrowth there is another layer."""
    old, spot = _undergrowth(3), disc(80, 80, 20)
    dense = np.where(spot, old + 0.8, old).astype(np.float32)
    asked = {"cell_m": 1.0, "elsewhere": NOTHING, "allow_leaves": False}
    high, level = (np.where(disc(80, 80, 28), rise, 0.0).astype(np.float32) for rise in (4.0, 0.0))
    assert not density_change(old, dense, None, None, **asked, lift=high).thicker.any()
    assert density_change(old, dense, None, None, **asked, lift=level).thicker.any()
