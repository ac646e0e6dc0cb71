"""Deep re-entrants and spurs that calming cut short come back, and nothing else does."""

import numpy as np
import pytest

from pipeline.landform.contours.generalise import round_off, smooth, tauten
from pipeline.landform.contours.put_back import lost_shapes, put_back
from pipeline.landform.draft import contour_surface
from pipeline.lattice.grid import Heights
from pipeline.settings import LandformSettings
from tests import landscape

SETTINGS = LandformSettings()
GRID = landscape.grid_of()
INTERVAL_M = 5.0


def reentrant(*, flank_rise: float, mouth_m: float) -> Heights:
    """A re-entrant with a level floor 0.6 m below a contour, 7 m wide and `mouth_m` where it opens to a slope."""
    x, y = landscape.from_middle(GRID)
    floor_m = 99.4 + 0.4 * np.clip(y - 15, 0, None) + 0.3 * np.clip(y + 22, None, 0)
    half_m = 3.5 - (3.5 - mouth_m / 2) * np.exp(-(((y + 12) / 5) ** 2))
    flank_m = flank_rise * np.clip(np.abs(x) - half_m, 0, 25) * np.clip((y + 30) / 10, 0, 1)
    return landscape.as_heights(floor_m + flank_m)


def calmed(ground: Heights) -> Heights:
    """Calmed as contours are, before anything is put back."""
    calm = tauten(ground, GRID, within_m=0.5)
    return round_off(calm, GRID, smoothing_m=2.0)


@pytest.mark.parametrize("upward", [False, True])
def test_what_calming_cut_off_is_drawn_again(upward: bool) -> None:
    """A re-entrant behind a lip, or a spur behind a notch, is lost when calmed and comes through to the end."""
    ground = reentrant(flank_rise=0.8, mouth_m=1.0)
    ground = 200 - ground if upward else ground
    smoothed = smooth(ground, GRID, smoothing_m=SETTINGS.contour_smoothing_m)
    calm = calmed(smoothed)
    assert len(lost_shapes(smoothed, calm, GRID, interval_m=INTERVAL_M, base_level_m=0).level_m) > 0
    back = put_back(smoothed, calm, GRID, interval_m=INTERVAL_M, base_level_m=0)
    assert len(lost_shapes(smoothed, back, GRID, interval_m=INTERVAL_M, base_level_m=0).level_m) == 0
    drawn, cells = contour_surface(ground, GRID, interval_m=INTERVAL_M, scale=10000, settings=SETTINGS)
    assert cells == GRID
    assert len(lost_shapes(smoothed, drawn, GRID, interval_m=INTERVAL_M, base_level_m=0).level_m) == 0


def test_the_surface_changes_only_near_the_shape() -> None:
    """More than two widths of a shape away the calmed surface stays as it is, and nothing leaves the two surfaces."""
    ground = smooth(reentrant(flank_rise=0.8, mouth_m=1.0), GRID, smoothing_m=SETTINGS.contour_smoothing_m)
    calm = calmed(ground)
    back = put_back(ground, calm, GRID, interval_m=INTERVAL_M, base_level_m=0)
    x, y = landscape.from_middle(GRID)
    far = np.hypot(x, y) > 50
    np.testing.assert_array_equal(back[far], calm[far])
    assert (back >= np.minimum(ground, calm) - 1e-4).all()
    assert (back <= np.maximum(ground, calm) + 1e-4).all()


@pytest.mark.parametrize("shape", ["plane", "cone", "shallow", "rough"])
def test_calm_ground_stays_calm(shape: str) -> None:
    """A plane, a cone, a re-entrant of less than half the interval and slight unevenness get nothing back."""
    ground = {
        "plane": landscape.plane(GRID, rise_deg=12),
        "cone": landscape.cone(GRID, rise=0.4),
        "shallow": reentrant(flank_rise=0.3, mouth_m=4.0),
        "rough": landscape.plane(GRID, rise_deg=12) + landscape.rough(GRID, spread_m=0.5),
    }[shape]
    calm = calmed(ground)
    assert put_back(ground, calm, GRID, interval_m=INTERVAL_M, base_level_m=0) is calm
