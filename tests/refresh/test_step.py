"""The step as a whole, on folders of runs made of small rasters."""

import hashlib
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from pipeline.advice.refreshed import sentences
from pipeline.draft.compose import LAYERS
from pipeline.errors import InputError
from pipeline.files import layers, rasters
from pipeline.lattice.grid import Grid
from pipeline.steps.refresh.refresh import refresh_run
from tests.refresh.made import GRID, disc, features, surface

BOULDER = {"symbol": "204", "layer": "rock_point", "geometry": shapely.Point(500_040.5, 5_700_119.5), "width_m": 2.0}


def write_run(folder: Path, *, grid: Grid = GRID, pit_m: float = 0.0, east_m: float = 0.0, seed: int = 1) -> Path:
    """A run's folder with what a refresh reads, its points gone."""
    made = surface(east_m=east_m, seed=seed)
    earth = (made.bare_earth - pit_m * disc(110, 90, 9)).astype(np.float32)
    for name, values in {"bare_earth": earth, "ground_support": np.full(GRID.shape, 0.3, np.float32)}.items():
        rasters.write_heights(folder / "rasters" / f"{name}.tif", values, grid, description=name)
    table = features([BOULDER])
    drawn = {name: table[table["layer"] == name].drop(columns="layer") for name in LAYERS}
    layers.write_layers(folder / "draft.gpkg", drawn)
    (folder / "report").mkdir()
    (folder / "fieldwork").mkdir()
    (folder / "report" / "leaf_season.json").write_text(json.dumps({"leaves": "leaf-on"}), encoding="utf-8")
    days = {"flight": {"days": [f"20{10 + seed}-05-01"]}}
    (folder / "report" / "survey.json").write_text(json.dumps(days), encoding="utf-8")
    return folder


def sums_of(folder: Path) -> dict[str, str]:
    """Every file of a folder and its checksum."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, dict[str, str]]:
    """An old run, a new one with a pit that was refreshed from it, and the old run's files as they were before."""
    folder = tmp_path_factory.mktemp("runs")
    old, new = write_run(folder / "old"), write_run(folder / "new", pit_m=1.5, east_m=0.4, seed=4)
    before = sums_of(old)
    refresh_run(old, new)
    return old, new, before


def test_the_old_run_is_not_written_to(runs: tuple[Path, Path, dict[str, str]]) -> None:
    """Byte by byte, file by file."""
    old, _, before = runs
    assert sums_of(old) == before


def test_what_changed_is_written_with_its_figures(runs: tuple[Path, Path, dict[str, str]]) -> None:
    """The pit is a patch; the boulder is unchanged; the shift, dates, counts and places are told."""
    _, new, _ = runs
    patches = layers.read_layer(new / "changes.gpkg", "changes")
    assert patches["kind"].tolist() == ["dug"]
    assert patches["height_change_m"].iloc[0] == pytest.approx(-1.3, abs=0.2)
    assert "rasters alone" in patches["evidence"].iloc[0]
    boulder = layers.read_layer(new / "changes.gpkg", "rock_point")
    assert boulder["change"].tolist() == ["unchanged"]
    told = json.loads((new / "refresh.json").read_text(encoding="utf-8"))
    assert told["shift"]["east_m"] == pytest.approx(0.4, abs=0.03)
    assert told["dates"] == {"old": ["2011-05-01"], "new": ["2014-05-01"]}
    assert told["counts"] == {"unchanged": 1}
    assert told["patches"] == {"dug": 1}
    assert any("points of one survey are gone" in words for words in told["cannot_tell"])
    assert 0.95 < told["verified_unchanged"] < 1
    listed = pd.read_csv(new / "fieldwork" / "changes_list.csv")
    assert listed["change"].tolist() == ["dug"]
    assert any("0.40 m east" in words for words in sentences(told))


def test_all_layers_of_a_draft_are_there(runs: tuple[Path, Path, dict[str, str]]) -> None:
    """Also those with nothing in them, so that a GIS project opens."""
    names = list(layers.count_features(runs[1] / "changes.gpkg"))
    assert names == [*(name for name in LAYERS if not name.startswith("technical")), "changes"]


def test_what_cannot_be_compared_is_refused_in_words(tmp_path: Path) -> None:
    """No such folder, no draft in it, the new draft itself, and a place far away."""
    new = write_run(tmp_path / "new")
    with pytest.raises(InputError, match="no such folder"):
        refresh_run(tmp_path / "nowhere", new)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no draft"):
        refresh_run(tmp_path / "empty", new)
    with pytest.raises(InputError, match="new draft itself"):
        refresh_run(new, new)
    far = write_run(tmp_path / "far", grid=Grid(GRID.crs, GRID.west_col + 9000, GRID.north_row, 1.0, 160, 160))
    with pytest.raises(InputError, match=r"8\.\d km"):
        refresh_run(far, new)
    assert not (new / "changes.gpkg").exists()


def test_a_run_without_rasters_is_compared_by_its_map(tmp_path: Path) -> None:
    """Nothing that the map has no section of is called changed, and that is said."""
    old, new = write_run(tmp_path / "old"), write_run(tmp_path / "new", seed=2)
    (old / "rasters" / "bare_earth.tif").unlink()
    told = refresh_run(old, new)
    assert told["compared_from"] == "map"
    assert any("The map has no building" in words for words in told["cannot_tell"])
    assert told["counts"] == {"unchanged": 1}
    assert isinstance(gpd.read_file(new / "changes.gpkg", layer="changes"), gpd.GeoDataFrame)
