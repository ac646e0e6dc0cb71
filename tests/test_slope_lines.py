"""Slope lines: one in every closed hollow, pointing down."""

import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.landform.slope_lines import draft_slope_lines
from pipeline.settings import LandformSettings


def circle(*, against_the_clock: bool) -> shapely.LineString:
    """A ring of 20 m across around the origin."""
    around = np.linspace(0, 2 * np.pi, 49)
    ring = 10 * np.column_stack([np.cos(around), np.sin(around)])
    ring[-1] = ring[0]
    return shapely.LineString(ring if against_the_clock else ring[::-1])


def test_a_hollow_gets_a_stroke_inwards_and_a_hill_none() -> None:
    """The stroke starts on the contour, is 6 m long on the ground (0.4 mm) and points at the bottom."""
    lines = [circle(against_the_clock=True), circle(against_the_clock=False), shapely.LineString([(0, 0), (9, 0)])]
    contours = make_features(
        lines, crs="EPSG:25832", symbol="101", confidence=[0.9, 0.8, 0.7], evidence="x", elevation_m=[5.0, 10, 15]
    )
    strokes = draft_slope_lines(contours, settings=LandformSettings())
    assert strokes.symbol.tolist() == ["101.1"]
    start, end = np.asarray(strokes.geometry[0].coords)
    assert abs(np.hypot(*start) - 10) < 0.1
    assert abs(np.hypot(*end) - 4) < 0.1
    assert strokes.confidence[0] == 0.8
    away = end - start
    np.testing.assert_allclose(strokes.angle_deg[0], np.degrees(np.arctan2(away[0], away[1])) % 360)
