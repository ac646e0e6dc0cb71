"""Broken ground: an uneven patch in even ground, and nothing elsewhere."""

import numpy as np

from pipeline.landform.shapes.broken_ground import draft_broken_ground, unevenness
from pipeline.landform.telling import tell
from tests import landscape

GRID = landscape.grid_of(side_m=160)
SEEN = np.full(GRID.shape, 0.9, np.float32)


def pits_and_mounds() -> np.ndarray:
    """Humps 7 m apart and a metre high in a disc of 25 m around the middle."""
    x, y = landscape.from_middle(GRID)
    humps = np.sin(2 * np.pi * x / 7) * np.sin(2 * np.pi * y / 7)
    return landscape.as_heights(1.6 * humps * (np.hypot(x, y) < 25))


def test_a_patch_of_humps_is_broken_ground() -> None:
    """One area about as large as the patch, around it."""
    ground = landscape.plane(GRID, rise_deg=4) + pits_and_mounds()
    found = tell(draft_broken_ground(ground, GRID, SEEN, GRID, min_unevenness_m=0.3))
    assert found.symbol.tolist() == ["113"]
    area = found.geometry[0]
    assert 0.4 * np.pi * 25**2 < area.area < 1.3 * np.pi * 25**2
    assert np.hypot(*(np.array(area.centroid.coords[0]) - landscape.middle_of(GRID))) < 3
    assert "uneven by" in found.evidence[0]


def test_even_steep_and_evenly_restless_ground_is_not() -> None:
    """A plane, a cliff line, and ground that is alike everywhere have no broken areas."""
    for ground in (
        landscape.plane(GRID, rise_deg=30),
        landscape.stepped_slope(GRID, rise_deg=4, step_m=5, face_m=3, every_m=300),
        landscape.plane(GRID, rise_deg=4) + landscape.rough(GRID, spread_m=3),
    ):
        assert len(draft_broken_ground(ground, GRID, SEEN, GRID, min_unevenness_m=0.3)) == 0


def test_unevenness_of_waves_is_their_deviation() -> None:
    """Waves of 6 m with an amplitude of 1 m deviate by half a metre or a little less after the band is cut out."""
    x, y = landscape.from_middle(GRID)
    waves = landscape.as_heights(np.sin(2 * np.pi * x / 6) * np.sin(2 * np.pi * y / 6))
    spread = unevenness(waves, np.full(GRID.shape, True), GRID)
    assert 0.1 < np.median(spread) < 0.5
