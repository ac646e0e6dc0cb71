"""Vegetation against the world outside: a reference package, published models, the standard's own figures."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas.kinds import MIN_AREA_M2
from pipeline.vegetation.calibration.agreement import confusion, weighted_kappa
from pipeline.vegetation.calibration.fit import fit_limits
from pipeline.vegetation.draft import limits_of
from pipeline.vegetation.running.density import plant_area_density
from pipeline.vegetation.running.runnability import BAND_SPEEDS, running_speed


def test_density_is_that_of_pyforestscan():
    """One column of voxels of 1 m, k = 0.5, from the ground up.

    Reference: `calculate_pad` of the package pyforestscan 0.5.0 (MIT), run on these counts with voxel_height 1,
    beer_lambert_constant 0.5, drop_ground False; its lowest voxel, which nothing leaves, has no density there. Half
    a pulse is added on our side, so the counts are thousands.
    """
    returns = np.array([41000, 9000, 5200, 2600, 1300, 800, 3100, 7400, 6600, 3000], np.float64)
    reference = [0.396902, 0.19788, 0.092052, 0.044484, 0.026891, 0.100916, 0.222117, 0.179224, 0.076442]
    entered = np.cumsum(returns)
    density = plant_area_density(entered, returns, layer_m=1.0, extinction=0.5)
    np.testing.assert_allclose(density[1:], reference, atol=1e-5)


@pytest.mark.parametrize("density", [0.05, 0.1, 0.25, 0.4, 0.9, 2.0])
def test_a_runner_is_slowed_more_than_a_walker_in_shrub(density: float):
    """Our relation stays below the walkers of Campbell et al.: branches stop a runner sooner.

    Campbell, Dennison and Butler (2017), Int. J. Wildland Fire 26: 884-895, table of coefficients: v = 1.662 - 1.076 D
    m/s on smooth level ground, D the share stopped between 0.15 and 2.75 m, here over our 2.2 m at k = 0.5.
    """
    walker = 1 - 1.076 / 1.662 * -np.expm1(-density * 0.5 * 2.2)
    runner = running_speed(np.array([density], np.float32), limits=limits_of(VegetationSettings()))
    assert runner[0] <= walker + 1e-6


def test_speeds_between_bands_are_the_standards():
    """ISOM 2017-2, section 2.3: normal 80 to 100 %, slow 60 to 80 %, walk 20 to 60 %, fight below 20 %."""
    assert BAND_SPEEDS == (0.8, 0.6, 0.2)
    limits = limits_of(VegetationSettings())
    np.testing.assert_allclose(running_speed(np.array(limits, np.float32), limits=limits), BAND_SPEEDS, atol=1e-5)


@pytest.mark.parametrize(
    ("symbol", "sides_mm"), [("401", (0.55, 0.55)), ("403", (1, 1)), ("407", (1.5, 1)), ("409", (1, 1))]
)
def test_smallest_areas_are_the_standards(symbol: str, sides_mm: tuple[float, float]):
    """ISOM 2017-2 as the IOF's symbol pages (omapwiki.orienteering.sport) give it, at 1:15 000.

    The pages round 0.55 mm x 15 to 8 m on the ground, and 0.55 x 0.55 mm to 0.3 mm2.
    """
    area = sides_mm[0] * sides_mm[1] * 15**2
    assert MIN_AREA_M2[symbol] == pytest.approx(area, rel=0.01)


def overlapping_notes(n: int) -> tuple[np.ndarray, np.ndarray]:
    """Densities and bands whose scatter is logistic, as the proportional-odds model has it."""
    rng = np.random.default_rng(12)
    log_density = rng.uniform(np.log(0.03), np.log(3.0), n)
    felt = np.exp(log_density + rng.logistic(0, 0.25, n))
    return np.exp(log_density), np.digitize(felt, (0.14, 0.5, 1.3))


def test_limits_are_those_of_statsmodels():
    """With many notes the prior fades and the fit is that of `OrderedModel` (statsmodels), limits within 2 %."""
    ordinal = pytest.importorskip("statsmodels.miscmodels.ordinal_model")
    density, band = overlapping_notes(3000)
    model = ordinal.OrderedModel(band, np.log(density)[:, None], distr="logit")
    result = model.fit(method="bfgs", disp=False)
    cuts = model.transform_threshold_params(result.params[1:])[1:-1] / result.params[0]
    fit = fit_limits(density, band, limits=(0.1, 0.4, 0.9))
    np.testing.assert_allclose(fit.limits, np.exp(cuts), rtol=0.02)


def test_kappa_is_that_of_statsmodels():
    """Quadratic weights, `cohens_kappa(wt="quadratic")` of statsmodels."""
    agreement = pytest.importorskip("statsmodels.stats.inter_rater")
    density, band = overlapping_notes(500)
    table = confusion(band, np.digitize(density, (0.1, 0.4, 0.9)))
    assert weighted_kappa(table) == pytest.approx(agreement.cohens_kappa(table, wt="quadratic").kappa)
