"""Slope lines: one in every closed hollow, pointing down."""

import numpy as np
import shapely
import shapely.affinity

from pipeline.features import make_features
from pipeline.landform.contours.slope_lines import draft_slope_lines


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
    strokes = draft_slope_lines(contours, interval_m=5)
    assert strokes.symbol.tolist() == ["101.1"]
    start, end = np.asarray(strokes.geometry[0].coords)
    assert abs(np.hypot(*start) - 10) < 0.1
    assert abs(np.hypot(*end) - 4) < 0.1
    assert strokes.confidence[0] == 0.8
    away = end - start
    np.testing.assert_allclose(strokes.angle_deg[0], np.degrees(np.arctan2(away[0], away[1])) % 360)


def drafted(lines: list[shapely.LineString], elevation_m: list[float]):
    """Slope lines of contours."""
    contours = make_features(
        lines, crs="EPSG:25832", symbol="101", confidence=0.9, evidence="x", elevation_m=elevation_m
    )
    return draft_slope_lines(contours, interval_m=5)


def bent(north_m: float) -> shapely.LineString:
    """A contour 400 m long, higher ground in the north, with a re-entrant of 30 m at 150 m."""
    east = np.linspace(0, 400, 201)
    return shapely.LineString(np.column_stack([east, north_m + 30 * np.exp(-(((east - 150) / 15) ** 2))]))


def test_a_lone_contour_gets_one_in_its_reentrant_and_one_with_neighbours_none() -> None:
    """Alone the line leaves doubt: a stroke downhill from the re-entrant. A parallel one 40 m off takes the doubt."""
    alone = drafted([bent(0)], [100.0])
    assert len(alone) == 1
    start, end = np.asarray(alone.geometry[0].coords)
    np.testing.assert_allclose(start, [150, 30], atol=4)
    np.testing.assert_allclose(end - start, [0, -6], atol=1)
    assert "no other contour near" in alone.evidence[0]
    assert len(drafted([bent(0), bent(40)], [100.0, 105.0])) == 0
    assert len(drafted([bent(0), bent(90)], [100.0, 105.0])) == 2
    assert len(drafted([shapely.LineString([(0, 0), (100, 0)])], [100.0])) == 0


def test_a_stroke_keeps_off_other_lines_where_it_can() -> None:
    """A hollow with another contour close to its northern half has its stroke elsewhere."""
    hollow = shapely.affinity.scale(circle(against_the_clock=False), 2, 2, origin=(0, 0))
    inner = shapely.affinity.translate(shapely.affinity.scale(circle(against_the_clock=False), 1.2, 0.6), 0, 9)
    strokes = drafted([hollow, inner], [100.0, 95.0])
    outer = np.asarray(strokes.geometry[0].coords)
    assert shapely.LineString([outer.mean(axis=0), outer[1]]).distance(inner) > 4.3
