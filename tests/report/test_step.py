"""The step that puts the page together, from the files of a run or what there is of them."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.files import layers, rasters
from pipeline.files.rasters import read_thinned
from pipeline.files.tables import read_table
from pipeline.lattice.grid import Grid
from pipeline.steps.report.report import report
from tests.exports.made_draft import CRS, EAST, NORTH, made_layers
from tests.report import made_page
from tests.report.made_page import HOSTILE, OUTLINE
from tests.report.test_page import content_of

GRID = Grid(CRS, round(EAST / 2) - 10, round(NORTH / 2) + 90, 2.0, 100, 95)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with all that a page may show."""
    folder = tmp_path_factory.mktemp("run")
    layers.write_layers(folder / "draft.gpkg", made_layers())
    layers.write_layers(folder / "outline.gpkg", {"outline": gpd.GeoDataFrame(geometry=[OUTLINE], crs=CRS)})
    for name in ("ground_support", "canopy_height", "running_speed"):
        values = np.random.default_rng(2).uniform(0, 1, GRID.shape).astype(np.float32)
        rasters.write_heights(folder / "rasters" / f"{name}.tif", values, GRID, description="metres")
    (folder / "fieldwork").mkdir()
    (folder / "report").mkdir()
    made_page.checks().to_csv(folder / "fieldwork" / "check_list.csv", index=False)
    (folder / "fieldwork" / "effort.json").write_text(json.dumps(made_page.effort()), encoding="utf-8")
    made_page.left_out().to_csv(folder / "report" / "left_out.csv", index=False)
    (folder / "report" / "ground.txt").write_text("Ground as told.", encoding="utf-8")
    (folder / "area.calibration.json").write_text(json.dumps({"notes": 14}), encoding="utf-8")
    rasters.write_png(folder / "calibration.png", np.zeros((4, 4, 3), np.uint8), dpi=150)
    return folder


def made(folder: Path, out: Path, **changed: object) -> str:
    """The page of a folder."""
    options: dict[str, object] = {
        "draft": folder / "draft.gpkg",
        "outline": folder / "outline.gpkg",
        "reports": folder / "report",
        "ground": folder / "rasters",
        "fieldwork": folder / "fieldwork",
        "out": out,
        "name": HOSTILE,
        "map_date": "2027-04-10",
        "scale": 10_000,
        "interval_m": 5.0,
        "calibration": [folder / "area.calibration.json", folder / "calibration.png"],
    }
    report(**(options | changed))  # type: ignore[arg-type]
    return out.read_text(encoding="utf-8")


def test_all_that_is_there_is_in_the_page(run: Path, tmp_path: Path) -> None:
    """Each list with its rows, names as they are written, pictures of the rasters, the plot of the calibration."""
    page = made(run, tmp_path / "index.html")
    assert [row["name"] for row in content_of(page, "checks")] == ["001", "002", "003"]
    assert [row["symbol"] for row in content_of(page, "checks")] == ["204", "406", "600.1"]
    assert [row["what"] for row in content_of(page, "left_out")] == ["moved", "dropped"]
    assert set(content_of(page, "pictures")) == {"support", "canopy", "running"}
    assert content_of(page, "effort")["fieldwork_h"]["likely"] == 2.0
    assert content_of(page, "calibration")["notes"] == 14
    assert content_of(page, "calibration")["plot"].startswith("data:image/png;base64,")
    assert ["Ground", "Ground as told."] in content_of(page, "about")["notes"]


def test_what_is_missing_is_not_shown(run: Path, tmp_path: Path) -> None:
    """A draft and its outline are enough."""
    nothing = dict.fromkeys(("reports", "ground", "fieldwork"), tmp_path / "none")
    page = made(run, tmp_path / "index.html", calibration=[], **nothing)
    assert content_of(page, "checks") == content_of(page, "left_out") == []
    assert content_of(page, "pictures") == {}
    for name in ("effort", "calibration", "quality"):
        assert f'id="data-{name}"' not in page


def test_a_list_that_is_no_table_is_said_to_be_so(tmp_path: Path) -> None:
    """With the file's name; an empty one has no rows."""
    path = tmp_path / "list.csv"
    path.write_bytes(b'a,b\n"1,2\n\xff')
    with pytest.raises(InputError, match=r"list\.csv"):
        read_table(path)
    path.write_text("", encoding="utf-8")
    assert read_table(path).empty


def test_thinned_rasters_keep_their_means_and_place(run: Path) -> None:
    """Fewer cells over the same ground."""
    path = run / "rasters" / "ground_support.tif"
    whole, there = rasters.read_heights(path)
    few, transform = read_thinned(path, largest_cells=600)
    assert few.size <= 600
    assert few.mean() == pytest.approx(whole.mean(), abs=0.02)
    assert (transform.c, transform.f) == pytest.approx((there.transform.c, there.transform.f))
    assert transform.a * few.shape[1] == pytest.approx(there.cell_m * there.cols)
