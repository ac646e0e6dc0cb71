"""A mapper's notes move the band limits as far as they carry, and no further."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, box

from pipeline.lattice.grid import Grid
from pipeline.vegetation.calibration import fit
from pipeline.vegetation.calibration.agreement import confusion, weighted_kappa
from pipeline.vegetation.calibration.calibration import calibrate
from pipeline.vegetation.calibration.fit import fit_limits
from pipeline.vegetation.calibration.next_notes import where_notes_teach
from pipeline.vegetation.calibration.notes import Notes, density_at, group_places

LIMITS = (0.1, 0.4, 0.9)


def notes_of(limits: tuple[float, float, float], *, n: int, seed: int, scatter: float = 0.2) -> Notes:
    """Notes by a mapper whose limits are these, at places of every density, measured with some scatter."""
    rng = np.random.default_rng(seed)
    truth = np.exp(rng.uniform(np.log(0.03), np.log(2.0), n))
    measured = truth * np.exp(rng.normal(0, scatter, n))
    return Notes(rng.uniform(0, 3000, (n, 2)), measured, np.digitize(truth, limits))


def kappa_with(limits: tuple[float, float, float], truth: tuple[float, float, float]) -> float:
    """Weighted kappa of a large area drawn with some limits where the mapper's are others."""
    area = notes_of(truth, n=4000, seed=99)
    return weighted_kappa(confusion(area.band, np.digitize(area.density, limits)))


@pytest.mark.parametrize("factor", [0.6, 1.4])
@pytest.mark.parametrize("seed", range(5))
def test_thirty_notes_bring_shifted_limits_back(factor: float, seed: int):
    """With limits 40 % off, thirty notes restore kappa to within 0.05 of the unshifted case."""
    shifted = tuple(factor * limit for limit in LIMITS)
    result = calibrate(notes_of(shifted, n=30, seed=seed), limits=LIMITS)
    assert kappa_with(result.limits, shifted) > kappa_with(LIMITS, LIMITS) - 0.05


def test_strong_evidence_outweighs_a_few_notes_that_change_sides():
    """Forty mappers whose limits are 40 % higher, with few notes of the thick bands: most are followed.

    Weighted kappa of thirty such notes falls by chance in some draws though the limits come nearer to the truth.
    """
    shifted = tuple(1.4 * limit for limit in LIMITS)
    results = []
    for seed in range(40):
        every = notes_of(shifted, n=90, seed=seed, scatter=0.3)
        thin = np.flatnonzero(every.density < 0.6)
        results.append(calibrate(every.take(np.isin(np.arange(90), thin[:30])), limits=LIMITS))
    followed = [result for result in results if result.is_used]
    assert len(followed) >= 32
    against_kappa = [result for result in followed if result.kappa_after < result.kappa_before - 0.02]
    assert against_kappa
    assert all("much likelier" in result.message for result in against_kappa)


def test_without_notes_nothing_changes():
    """No notes, the same limits, and an answer that says what is missing."""
    nothing = Notes(np.empty((0, 2)), np.empty(0), np.empty(0, np.int64))
    result = calibrate(nothing, limits=LIMITS)
    assert result.limits == LIMITS
    assert not result.is_used
    assert "0 notes at 0 places are too few" in result.message
    assert result.more_notes >= 12


def test_too_few_notes_say_how_many_more():
    """Five notes change nothing and ask for seven more."""
    result = calibrate(notes_of((0.2, 0.8, 1.8), n=5, seed=1), limits=LIMITS)
    assert (result.limits, result.is_used, result.more_notes) == (LIMITS, False, 7)
    assert "7 more" in result.message


def test_many_notes_in_one_thicket_are_one_place():
    """Thirty notes within a stone's throw of each other say little about the forest."""
    notes = notes_of((0.2, 0.8, 1.8), n=30, seed=1)
    together = Notes(notes.place % 20, notes.density, notes.band)
    assert not calibrate(together, limits=LIMITS).is_used


def test_notes_of_one_band_change_nothing():
    """All white everywhere tells nothing about where green begins."""
    notes = notes_of(LIMITS, n=30, seed=1)
    white = Notes(notes.place, notes.density, np.zeros(30, np.int64))
    result = calibrate(white, limits=LIMITS)
    assert not result.is_used
    assert "same band" in result.message


def test_notes_without_any_sense_are_not_followed():
    """Bands drawn by lot do no better when left out, so the limits stay."""
    kept = 0
    for seed in range(6):
        notes = notes_of(LIMITS, n=30, seed=seed)
        lots = np.random.default_rng(100 + seed).integers(0, 4, 30)
        kept += not calibrate(Notes(notes.place, notes.density, lots), limits=LIMITS).is_used
    assert kept >= 4


def test_agreeing_notes_have_an_answer():
    """Notes that are perfectly separated by density, which maximum likelihood cannot fit, give finite limits."""
    density = np.repeat([0.05, 0.25, 0.7, 1.6], 8)
    fitted = fit_limits(density, np.repeat([0, 1, 2, 3], 8), limits=LIMITS)
    assert 0.05 < fitted.limits[0] < 0.25 < fitted.limits[1] < 0.7 < fitted.limits[2] < 1.6
    assert np.isfinite(fitted.error).all()


def test_a_shift_seen_in_light_green_moves_dark_green_too():
    """Limits move together: season and sensor shift all of them."""
    notes = notes_of((0.2, 0.8, 1.8), n=200, seed=2)
    light = notes.take(notes.band <= 1)
    assert fit_limits(light.density, light.band, limits=LIMITS).limits[2] > 1.1


def test_more_notes_make_the_limits_surer():
    """Four times the notes halve the error, or nearly."""
    few, many = (
        fit_limits(n.density, n.band, limits=LIMITS).error for n in (notes_of(LIMITS, n=k, seed=3) for k in (60, 240))
    )
    assert (many < 0.75 * few).all()


@given(st.lists(st.tuples(st.floats(0, 4), st.integers(0, 3)), min_size=1, max_size=25))
def test_limits_always_rise(pairs: list[tuple[float, int]]):
    """Whatever the notes, 406 begins before 408 and 408 before 410."""
    density, band = (np.array(column) for column in zip(*pairs, strict=True))
    slow, walk, fight = fit_limits(density, band, limits=LIMITS).limits
    assert 0 < slow < walk < fight


def test_places_are_linked_by_short_steps():
    """A chain of notes 20 m apart is one place; one 200 m away is another."""
    place = np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 0.0], [240.0, 0.0]])
    group = group_places(place)
    assert group[0] == group[1] == group[2] != group[3]


def test_kappa_of_perfect_and_of_chance():
    """1 for full agreement, 0 for independence, undefined where only one band occurs."""
    assert weighted_kappa(np.diag([3, 4, 5, 6])) == pytest.approx(1)
    assert weighted_kappa(np.outer([1, 2, 3, 4], [4, 3, 2, 1])) == pytest.approx(0)
    assert np.isnan(weighted_kappa(np.diag([7, 0, 0, 0])))


@pytest.mark.parametrize("limits", [(0.4, 0.1, 0.9), (0.0, 0.4, 0.9)])
def test_limits_that_do_not_rise_are_refused(limits: tuple[float, float, float]):
    """They must rise from above 0."""
    with pytest.raises(ValueError, match="must rise"):
        calibrate(notes_of(LIMITS, n=30, seed=1), limits=limits)


def test_unknown_bands_are_refused():
    """There are four."""
    with pytest.raises(ValueError, match="numbered 0"):
        calibrate(Notes(np.zeros((1, 2)), np.ones(1), np.array([4])), limits=LIMITS)


GRID = Grid("EPSG:25832", 0, 300, 1.0, 300, 300)


def test_a_note_takes_the_median_of_its_place():
    """A point takes the ground around it, a polygon its own; the clump at the edge does not decide."""
    density = np.full(GRID.shape, 0.2, np.float32)
    density[:, 150:] = 1.0
    density[0:20, 0:20] = np.nan
    places = np.array([Point(50, 150), Point(147, 150), box(160, 100, 200, 140), Point(5, 295), Point(900, 900)])
    found = density_at(density, GRID, places, radius_m=5.0)
    np.testing.assert_allclose(found[:3], [0.2, 0.2, 1.0], rtol=1e-6)
    assert np.isnan(found[3:]).all()


def test_the_next_notes_are_asked_for_at_the_limits():
    """Most is learnt where the band is in doubt, on even ground, away from notes already made."""
    density = np.full(GRID.shape, 0.02, np.float32)
    density[100:200, 100:200] = 0.4
    taken = np.array([[150.0, 150.0]])
    free, wanted = (
        where_notes_teach(density, GRID, known, limits=LIMITS, spread=0.3, most_places=3)
        for known in (taken[:0], taken)
    )
    first = free.geometry.iloc[0]
    assert 110 < first.x < 190
    assert 110 < first.y < 190
    assert free["between"].iloc[0] == "406 or 408"
    assert all(place.distance(Point(150, 150)) >= 100 for place in wanted.geometry)


def test_where_the_band_is_plain_no_note_is_asked_for():
    """A note far from every limit would teach nothing."""
    density = np.full(GRID.shape, 0.02, np.float32)
    assert where_notes_teach(density, GRID, np.empty((0, 2)), limits=LIMITS, spread=0.3, most_places=3).empty


def test_where_nothing_is_seen_no_note_is_asked_for():
    """Without density there is nothing to learn."""
    nothing = np.full(GRID.shape, np.nan, np.float32)
    assert where_notes_teach(nothing, GRID, np.empty((0, 2)), limits=LIMITS, spread=0.3, most_places=3).empty


def test_a_steadier_forest_follows_notes_less(monkeypatch: pytest.MonkeyPatch):
    """The less season and sensor may shift the limits together, the nearer they stay to those in use."""
    notes = notes_of((0.2, 0.8, 1.8), n=30, seed=1)
    walk = []
    for shift in (fit.COMMON_SPREAD_RATIO, 0.05):
        monkeypatch.setattr(fit, "COMMON_SPREAD_RATIO", shift)
        walk.append(fit_limits(notes.density, notes.band, limits=LIMITS).limits[1])
    assert LIMITS[1] < walk[1] < walk[0]
