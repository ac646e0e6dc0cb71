"""`tussock audit`: a draft in a folder, its scale and settings taken from the manifest, and the exit status."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from pipeline.cli import main
from pipeline.draft.compose import sort_into_layers
from pipeline.features import join_features, make_features
from pipeline.files.layers import write_layers
from tests.paths import symbols

CRS = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
AREA = box(EAST, NORTH, EAST + 300, NORTH + 300).difference(box(EAST + 200, NORTH + 200, EAST + 250, NORTH + 250))


def a_draft(folder: Path, *things: tuple[str, BaseGeometry], scale: int = 10_000) -> Path:
    """The folder of a draft with the edge of its area and these things, which are placed in metres from its corner."""
    folder.mkdir()
    edges = [("600", LineString(ring.coords)) for ring in shapely.get_rings(AREA)]
    placed = [
        (number, shapely.transform(shape, lambda points: points + np.array([EAST, NORTH]))) for number, shape in things
    ]
    tables = [
        make_features([shape], crs=CRS, symbol=number, confidence=0.9, evidence="made")
        for number, shape in (*edges, *placed)
    ]
    features = join_features(tables, CRS).assign(id="", name="", status="draft", origin="lidar")
    write_layers(folder / "draft.gpkg", sort_into_layers(features, symbols()))
    manifest = {
        "area": {"scale": scale, "map_date": "2027-04-10"},
        "working_crs": {"crs": CRS},
    }
    (folder / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
    return folder


def test_a_draft_that_keeps_the_norm_passes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 0, and the number of features in words."""
    out = a_draft(tmp_path / "out", ("109", Point(50, 60)), ("101", LineString([(20, 40), (150, 40)])))
    assert main(["audit", str(out)]) == 0
    assert "2 features printed, 0 places fall short" in capsys.readouterr().out


@pytest.mark.parametrize("scale", [15_000, 10_000, 5_000])
def test_a_draft_that_falls_short_is_told_with_places(tmp_path: Path, scale: int) -> None:
    """A knoll 4 m from a contour touches it on paper, at every scale; the table has the place on the ground."""
    out = a_draft(tmp_path / "out", ("109", Point(50, 44)), ("101", LineString([(20, 40), (150, 40)])), scale=scale)
    assert main(["audit", str(out), "--csv", str(tmp_path / "audit.csv")]) == 1
    row = pd.read_csv(tmp_path / "audit.csv", dtype={"symbol": str, "other": str}).iloc[0]
    assert (row["rule"], {row["symbol"], row["other"]}) == ("gap", {"101", "109"})
    assert Point(row["east_m"], row["north_m"]).distance(Point(EAST + 50, NORTH + 42)) < 4
    assert row["found"] == pytest.approx((4.0 / 15) - 0.25 - 0.07, abs=0.01) or row["found"] == 0


def test_a_folder_without_a_draft_is_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2, and what to do."""
    assert main(["audit", str(tmp_path)]) == 2
    assert "run 'tussock draft' first" in capsys.readouterr().err
