"""A refresh of a finished map as a whole: what changed is written, and the map to go on with is not touched by it."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.advice.refreshed import sentences
from pipeline.draft.compose import LAYERS
from pipeline.files import layers, rasters
from pipeline.lattice.grid import Heights
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.refresh import refresh
from pipeline.refresh.register.shift import Shift, Surface
from pipeline.steps.refresh.area import Done, refresh_area, without_rejected_patches
from pipeline.steps.refresh.old import Place, read_old
from tests.refresh.compare.test_by_map import FIELD, HOUSE, MAP, Row, area, box, house, survey
from tests.refresh.made import CRS, GRID, features
from tests.refresh.test_step import write_run

NEW_HOUSE, CUT = house(120, 60), box(90, 90, 130, 130)


NOW: list[Row] = [*MAP, NEW_HOUSE, area("403", CUT)]
SEEN = survey(bare=[FIELD, CUT], roofs=[HOUSE["geometry"], NEW_HOUSE["geometry"]])


def canopy_of(seen: Surface) -> Heights:
    """The canopy that a made survey always has."""
    assert seen.canopy is not None
    return seen.canopy


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Done]:
    """The folder of a new draft beside a map without `status`, and the refresh of it."""
    folder = tmp_path_factory.mktemp("map")
    new = write_run(folder / "new")
    rasters.write_heights(new / "rasters" / "canopy_height.tif", canopy_of(SEEN), GRID, description="canopy")
    table = features(NOW)
    drawn = {name: table[table["layer"] == name].drop(columns="layer") for name in LAYERS}
    layers.write_layers(new / "draft.gpkg", drawn)
    features(MAP)[["symbol", "geometry"]].to_file(folder / "map.gpkg", layer="map")
    return new, refresh_area(read_old(folder / "map.gpkg", Place(CRS, GRID.bounds, new)), new)


def test_changes_since_a_map_are_written(done: tuple[Path, Done]) -> None:
    """As patches, in the list of places and in words; the distance that was honoured is told."""
    new, refreshed = done
    patches = layers.read_layer(new / "changes.gpkg", "changes")
    assert sorted(patches["kind"]) == ["built", "felled"]
    assert refreshed.told["compared_from"] == "map"
    assert refreshed.told["patches"] == {"built": 1, "felled": 1}
    assert any("A change must lie more than" in words for words in sentences(refreshed.told))
    assert "the map alone" in (new / "fieldwork" / "changes_list.csv").read_text(encoding="utf-8")


def test_the_refreshed_map_is_the_mappers(done: tuple[Path, Done]) -> None:
    """Every shape of the map stands in it bit for bit, and the clearing is a proposal in changes.gpkg alone."""
    new, _ = done
    kept = [layers.read_layer(new / "refreshed.gpkg", name) for name in layers.count_features(new / "refreshed.gpkg")]
    shapes = {bytes(one) for table in kept for one in shapely.to_wkb(table.geometry.to_numpy())}
    assert {bytes(shapely.to_wkb(row["geometry"])) for row in MAP} <= shapes
    open_land = next(table for table in kept if len(table) and np.isin("401", table["symbol"].astype(str)))
    assert set(open_land["symbol"].astype(str)) == {"401"}


def test_a_house_that_was_rejected_is_not_told_as_built() -> None:
    """Where a run's rasters are gone its map is all there is; a rejected road says nothing of a house."""
    shift = Shift(east_error_m=0.3, north_error_m=0.3)
    found = refresh(Survey(None, features(MAP)), Survey(SEEN, features(NOW)), shift=shift)
    kinds = {
        symbol: sorted(without_rejected_patches(found, features([{**NEW_HOUSE, "symbol": symbol}]))["kind"])
        for symbol in ("521", "503")
    }
    assert kinds == {"521": ["felled"], "503": ["built", "felled"]}
