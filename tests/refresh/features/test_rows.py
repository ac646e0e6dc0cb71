import geopandas as gpd
import numpy as np
import pytest
import shapely

from pipeline.refresh.compare.evidence import Figures
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.features.matching import match
from pipeline.refresh.features.rows import COLUMNS, feature_changes, moved
from pipeline.refresh.refresh import no_patches, refresh
from pipeline.refresh.summary import ranked_places, share_verified, verified_unchanged
from tests.refresh.made import CRS, GRID, cloud_over, disc, features, hills, surface

WEST, SOUTH = 500_000.0, 5_700_000.0


def point(x: float, y: float) -> shapely.Point:
    """A place in metres from the corner of the made ground."""
    return shapely.Point(WEST + x, SOUTH + y)


def rock(x: float, y: float, symbol: str = "204") -> dict[str, object]:
    """A boulder as a draft has it."""
    return {"symbol": symbol, "layer": "rock_point", "geometry": point(x, y), "height_m": 1.2, "width_m": 2.0}


def patch(kind: str, shape: shapely.Polygon) -> gpd.GeoDataFrame:
    """A table of one changed patch."""
    figures = Figures().columns
    return gpd.GeoDataFrame([{"kind": kind, "sure": 0.9, "evidence": "", **figures, "geometry": shape}], crs=CRS)


def changes(old: list[dict[str, object]], new: list[dict[str, object]], patches: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The rows of two maps without rasters."""
    return feature_changes(features(old), features(new), patches, None, shift_error_m=0.02)


def test_each_feature_is_in_one_pair_and_the_nearest_go_together() -> None:
    """Two boulders 5 m apart keep their own; a house is no boulder; one far away has none."""
    old = features([rock(10, 10), rock(15, 10), {"symbol": "521", "layer": "manmade_area", "geometry": point(10, 12)}])
    new = features([rock(15.5, 10, "205"), rock(11, 10), rock(80, 80)])
    pairs = match(old, new, shift_error_m=0.0)
    assert pairs.old_of_new.tolist() == [1, 0, -1]
    assert pairs.new_of_old.tolist() == [1, 0, -1]
    assert pairs.apart_m[:2] == pytest.approx([0.5, 1.0])


def test_maps_that_differ_on_unchanged_ground_are_no_changes() -> None:
    """A boulder that one survey alone shows, and one drawn 4 m off, are said to be seen better, and not changed."""
    found = changes([rock(10, 10), rock(50, 50)], [rock(14, 10), rock(90, 90)], no_patches(CRS))
    assert set(found["change"]) == {"unchanged"}
    assert sorted(found["cause"]) == ["not visible to lidar", "seen better now", "seen better now"]
    assert set(COLUMNS) <= set(found.columns)


def test_only_a_fitting_patch_changes_a_feature() -> None:
    """A boulder in a patch where it went is gone; thicker undergrowth around a boulder says nothing of the boulder."""
    spot = point(10, 10).buffer(1.5)
    gone = changes([rock(10, 10)], [], patch("boulder gone", spot))
    thicker = changes([rock(10, 10)], [], patch("thicker", spot))
    assert gone["change"].tolist() == ["gone"]
    assert gone["was_symbol"].tolist() == ["204"]
    assert thicker["change"].tolist() == ["unchanged"]


def test_areas_are_cut_to_what_changed() -> None:
    """A green whose east half was felled: that half is reclassified, the rest stays."""
    whole, east = shapely.box(WEST, SOUTH, WEST + 80, SOUTH + 40), shapely.box(WEST + 40, SOUTH, WEST + 80, SOUTH + 40)
    old = [{"symbol": "410", "layer": "vegetation_area", "geometry": whole}]
    new = [
        {"symbol": "410", "layer": "vegetation_area", "geometry": whole.difference(east)},
        {"symbol": "404", "layer": "vegetation_area", "geometry": east},
    ]
    found = changes(old, new, patch("felled", east.buffer(0.5)))
    changed = found[found["change"] != "unchanged"]
    assert changed["change"].tolist() == ["reclassified"]
    assert changed["was_symbol"].tolist() == ["410"]
    assert changed.geometry.area.sum() == pytest.approx(east.area, rel=0.02)
    assert found.geometry.area.sum() == pytest.approx(whole.area, rel=0.02)


def test_a_new_track_is_new_only_where_the_ground_changed_along_it() -> None:
    """A track that only the new map has is new with a patch along it, and seen better without."""
    line = shapely.LineString([(WEST + 5, SOUTH + 5), (WEST + 90, SOUTH + 30)])
    track = [{"symbol": "505", "layer": "manmade_line", "geometry": line}]
    assert changes([], track, patch("track", line.buffer(2)))["change"].tolist() == ["new"]
    assert changes([], track, no_patches(CRS))["cause"].tolist() == ["seen better now"]


def test_moved_features_keep_their_shape_and_their_heights_follow() -> None:
    """The old map in the frame of the new survey is a copy: the old table stays as it was."""
    old = features([{"symbol": "101", "layer": "landform_line", "geometry": point(1, 2).buffer(9).exterior}])
    old["elevation_m"] = 105.0
    laid = moved(old, 0.5, -0.25, 0.1)
    assert laid["elevation_m"].tolist() == [105.1]
    assert laid.geometry.iloc[0].centroid.x - old.geometry.iloc[0].centroid.x == pytest.approx(0.5)
    assert old["elevation_m"].tolist() == [105.0]


def surveys(*, is_dug: bool) -> tuple[Survey, Survey]:
    """Two surveys of the hills, the second shifted, with a boulder, and perhaps a pit dug and the boulder gone."""
    east, north = np.meshgrid(*GRID.centres())
    ground = hills(east, north)
    stone = disc(40, 40, 2) * 1.5
    later = ground - 1.5 * disc(110, 90, 9) if is_dug else ground
    old_cloud = cloud_over(ground + stone, seed=1)
    new_cloud = cloud_over(later + stone * (not is_dug), seed=2)
    boulder = features([{"symbol": "204", "layer": "rock_point", "geometry": shapely.Point(500_040.5, 5_700_119.5)}])
    empty = features([])
    old, new = surface(), surface(seed=2)
    dug = (new.bare_earth - 1.5 * disc(110, 90, 9)).astype(np.float32) if is_dug else new.bare_earth
    return (
        Survey(old, boulder, season="leaf-on", clouds=lambda: [old_cloud]),
        Survey(
            type(new)(GRID, dug, new.support),
            empty if is_dug else boulder,
            season="leaf-on",
            clouds=lambda: [new_cloud],
        ),
    )


def test_a_whole_refresh_finds_the_pit_and_the_boulder_and_nothing_else() -> None:
    """From surfaces and returns to patches, rows, places and shares verified."""
    found = refresh(*surveys(is_dug=True), years=3.0)
    assert sorted(found.patches["kind"]) == ["boulder gone", "dug"]
    assert found.features["change"].tolist() == ["gone"]
    assert "points of both surveys" in found.patches["evidence"].iloc[0]
    places = ranked_places(found.patches)
    assert places["rank"].tolist() == [1, 2]
    assert places["change"].iloc[0] == "dug"
    assert found.measured is not None
    share = share_verified(verified_unchanged(found.measured, found.patches))
    assert share == pytest.approx(1 - found.patches.geometry.area.sum() / 160**2, abs=0.02)


def test_two_surveys_of_an_unchanged_place_give_no_change() -> None:
    """The same place flown twice: no patch, no changed feature, all verified."""
    found = refresh(*surveys(is_dug=False))
    assert len(found.patches) == 0
    assert set(found.features["change"]) == {"unchanged"}
    assert len(ranked_places(found.patches)) == 0
