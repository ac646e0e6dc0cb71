"""What is measured in squares, on shapes with known answers."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.effort.rates.hours import hours_with_draft
from pipeline.effort.rates.measuring import cells_over, measure
from pipeline.effort.rates.trade import MEASURES, TASKS
from tests.effort.made_ground import USABLE, WHOLE, layer


def measured(layers: dict[str, gpd.GeoDataFrame], outline: Polygon = WHOLE, covered: Polygon = WHOLE) -> pd.DataFrame:
    """What the squares of an outline hold, on a slope of one in five."""
    return measure(layers, outline, covered, rise_of=lambda _: 0.2)[1]


def test_squares_cover_an_outline_and_are_cut_by_it() -> None:
    """A square whose corner lies in a triangle counts with the part inside; the areas add up."""
    outline = Polygon([(100, 100), (900, 100), (100, 900)])
    cells = cells_over(outline)
    assert cells.area_m2.sum() == pytest.approx(outline.area)
    assert cells.area_m2.max() <= 250**2
    assert cells.place.min() == 0


def test_a_line_counts_in_each_square_by_its_length() -> None:
    """A contour of 600 m from the middle of the first square: 150 m, 250 m and 200 m."""
    contour = LineString([(100, 100), (700, 100)])
    found = measured({"landform_line": layer({"101": [contour]})})
    assert found["contour_km"].head(4).tolist() == pytest.approx([0.15, 0.25, 0.2, 0])
    assert found["landforms"].sum() == 0


def test_an_area_counts_once_and_by_its_whole_outline() -> None:
    """A stand of 100 m by 100 m over a corner of four squares: one stand, 400 m of edges, no edge along the squares."""
    found = measured({"vegetation_area": layer({"408": [box(200, 200, 300, 300)]})})
    assert found["stands"].sum() == 1
    assert found["edges_km"].sum() == pytest.approx(0.4)
    assert found["edges_km"].max() == pytest.approx(0.1)


def test_each_layer_goes_where_it_belongs() -> None:
    """Paths are no borders, walls are no paths, cliffs have a length and boulders have none."""
    line = LineString([(10, 10), (110, 10)])
    found = measured(
        {
            "manmade_line": layer({"505": [line], "508.2": [line], "513": [line]}),
            "rock_line": layer({"201": [line]}),
            "rock_point": layer({"204": [Point(5, 5)]}),
            "water_line": layer({"306": [line]}),
            "landform_line": layer({"104": [line], "102": [line]}),
        }
    ).sum()
    assert found["paths_km"] == pytest.approx(0.2)
    assert (found["built"], found["built_km"]) == (1, pytest.approx(0.1))
    assert (found["rocks"], found["rock_km"]) == (2, pytest.approx(0.1))
    assert (found["waters"], found["water_km"]) == (1, pytest.approx(0.1))
    assert (found["landforms"], found["contour_km"]) == (1, pytest.approx(0.1))


def test_candidates_count_and_rejected_ones_do_not() -> None:
    """What is proposed has to be looked at; what a mapper struck out has been."""
    rocks = {"204": [Point(5, 5), Point(600, 5)]}
    assert measured({"rock_point": layer(rocks, status="candidate")})["rocks"].sum() == 2
    assert measured({"rock_point": layer(rocks, status="rejected")})["rocks"].sum() == 0
    lines = {"505": [LineString([(10, 10), (110, 10)])], "101": [LineString([(10, 20), (110, 20)])]}
    names = ("manmade_line", "landform_line", "vegetation_area", "technical_area", "rock_area")
    struck_out = measured({name: layer(lines, status="rejected") for name in names})
    assert struck_out[["paths_km", "contour_km", "edges_km", "not_seen_km2"]].sum().sum() == 0


def test_slope_open_land_and_ground_not_seen() -> None:
    """Area times rise over run; meadows; what no tile covers together with what the draft marks as not seen."""
    layers = {
        "vegetation_area": layer({"401": [box(0, 0, 250, 125)], "410": [box(250, 0, 500, 125)]}),
        "technical_area": layer({"600.1": [box(0, 250, 100, 350)]}),
    }
    found = measured(layers, covered=box(0, 0, 750, 500))
    assert found["slope_km2"].sum() == pytest.approx(0.2 * 0.5)
    assert found["open_km2"].tolist()[0] == pytest.approx(0.0625 / 2)
    assert found["not_seen_km2"].sum() == pytest.approx(0.125 + 0.01)
    assert found["fit_km2"].head(2).tolist() == pytest.approx([0.0625 * 0.75, 0.0625 / 2])


def test_nothing_there_is_no_hours_of_features() -> None:
    """An empty draft holds ground and its slope, and nothing else (negative control)."""
    found = measured({}).sum()
    assert {name for name in MEASURES if found[name] > 0} == {"area_km2", "slope_km2", "fit_km2"}


LINES = (
    st.tuples(*[st.floats(1, 499)] * 4).map(lambda c: LineString([c[:2], c[2:]])).filter(lambda line: line.length > 1)
)
POINTS = st.tuples(st.floats(1, 999), st.floats(1, 499)).map(Point)
AREAS = POINTS.map(lambda p: p.buffer(30, quad_segs=2))
ADDED = st.one_of(
    st.tuples(st.just("rock_point"), st.just("204"), POINTS),
    st.tuples(st.just("rock_line"), st.just("201"), LINES),
    st.tuples(st.just("manmade_line"), st.sampled_from(["504", "506", "508"]), LINES),
    st.tuples(st.just("vegetation_area"), st.sampled_from(["403", "406", "408", "410"]), AREAS),
)


@settings(max_examples=20)
@given(st.lists(ADDED, max_size=6), ADDED)
def test_adding_a_feature_never_takes_less_time(before: list[tuple], one_more: tuple) -> None:
    """Rock, a path, a piece of the mosaic: no square and no task gets cheaper."""

    def hours(features: list[tuple]) -> np.ndarray:
        names = {name for name, _, _ in features}
        layers = {
            name: pd.concat([layer({symbol: [shape]}) for at, symbol, shape in features if at == name])
            for name in names
        }
        return hours_with_draft(measured(layers), grades=USABLE, scale=10000)

    assert hours(before).shape[1] == len(TASKS)
    assert (hours([*before, one_more]) >= hours(before) - 1e-9).all()
    assert hours([*before, one_more]).sum() > hours(before).sum()
