"""The main job, end to end, on the bundled sample."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio

from pipeline.draft.compose import COLUMNS, LAYERS
from pipeline.files.arrays import write_json
from pipeline.files.layers import write_layers
from pipeline.plan.plan import calibration_path
from pipeline.steps.audit import audit_folder
from tests.dry_runs import dry_run
from tests.paths import PROJECT
from tests.runs import (
    SAMPLE,
    differences,
    layers_of,
    merged_tile,
    plain_snakemake,
    raster_of,
    tussock,
    write_area,
)

pytestmark = pytest.mark.slow

RASTERS = (
    "bare_earth",
    "ground_support",
    "canopy_height",
    "understorey",
    "understorey_error",
    "running_speed",
    "slope",
    "shaded_relief",
)

EXPORTED = (
    "exports/draft_styled.gpkg",
    "exports/draft.gpx",
    "exports/map.mbtiles",
    "backdrops/slope.tif",
    "backdrops/slope.png",
    "backdrops/slope.pgw",
    "backdrops/slope_turned.png",
)
"""What the area file of the run asks for beside the draft."""


@pytest.fixture(scope="session")
def sample_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run on the four sample tiles."""
    folder = tmp_path_factory.mktemp("sample")
    asked = {"exports": "[styled, gpx, mbtiles]", "backdrops": "[slope]"}
    result = tussock("draft", write_area(folder, f"{SAMPLE}/*.laz", **asked), "--cores", "2")
    assert result.returncode == 0, result.stderr
    return folder / "out"


def test_the_run_writes_everything_it_promises(sample_out: Path) -> None:
    """Every fixed name is there, and nothing half-written is."""
    expected = [
        "draft.gpkg",
        "manifest.json",
        "report/index.html",
        "report/survey.txt",
        "report/base_level.txt",
        "report/running_water.txt",
        "report/ground.txt",
        "fieldwork/effort.json",
        "sheets/field_sheet.pdf",
        "sheets/field_sheet.png",
        "sheets/field_sheet.tif",
        *EXPORTED,
        "sheets/field_sheet_grid_north.tif",
        "sheets/fieldwork_sheet.pdf",
        "fieldwork/check_list.csv",
        "fieldwork/check_points.gpx",
        "fieldwork/outings.txt",
        *(f"rasters/{name}.tif" for name in RASTERS),
        *(f"points/{tile.name}" for tile in SAMPLE.glob("*.laz")),
    ]
    assert [name for name in expected if not (sample_out / name).exists()] == []
    assert not list(sample_out.rglob("*.part*"))


def test_exports_hold_the_draft_and_stand_in_the_manifest(sample_out: Path) -> None:
    """As many features as the draft has, each export with its checksum among what was made, and the survey's words."""
    draft, styled = sample_out / "draft.gpkg", sample_out / "exports" / "draft_styled.gpkg"
    wanted = {name: pyogrio.read_info(draft, layer=name)["features"] for name in pyogrio.list_layers(draft)[:, 0]}
    found = {name: pyogrio.read_info(styled, layer=name)["features"] for name in wanted}
    assert sum(wanted.values()) > 50
    assert found == wanted
    assert set(EXPORTED) <= set(json.loads((sample_out / "manifest.json").read_text(encoding="utf-8"))["made"])
    with rasterio.open(sample_out / "exports" / "map.mbtiles") as source:
        assert "pulses per square metre" in source.tags()["attribution"]


FALLS_SHORT: dict[str, int] = {}
"""Rules of the norm that the draft of the sample breaks, and at how many places today: none."""


def test_the_printed_draft_keeps_the_norm(sample_out: Path) -> None:
    """No rule is broken but those that are known to be, and those at no more places; who mends one takes it off."""
    found = Counter(audit_folder(sample_out).findings["rule"])
    worse = {rule: number for rule, number in found.items() if number > FALLS_SHORT.get(rule, 0)}
    assert worse == {}, f"'tussock audit' tells the places; known are {FALLS_SHORT}"
    mended = [rule for rule in FALLS_SHORT if not found[rule]]
    assert mended == [], "kept everywhere: take them off FALLS_SHORT, so that they stay so"


def test_an_audit_sees_what_falls_short_in_the_sample(sample_out: Path, tmp_path: Path) -> None:
    """Two boulders on one spot and a knoll on a contour, planted in the draft, are found at their places."""
    folder = tmp_path / "out"
    folder.mkdir()
    shutil.copy(sample_out / "manifest.json", folder)
    layers = layers_of(sample_out)
    contour = layers["landform_line"][layers["landform_line"]["symbol"] == "101"].geometry.iloc[0]
    on_contour = contour.interpolate(0.5, normalized=True)
    boulder = layers["rock_point"][layers["rock_point"]["status"] == "draft"].iloc[[0]]
    knoll = boulder.assign(symbol="109", geometry=[on_contour])
    beside = boulder.assign(geometry=boulder.geometry.translate(1.0, 1.0))
    layers["rock_point"] = pd.concat([layers["rock_point"], knoll, beside], ignore_index=True)
    write_layers(folder / "draft.gpkg", layers)
    before, after = (audit_folder(out).findings.query("rule == 'gap'") for out in (sample_out, folder))
    places = gpd.GeoSeries.from_xy(after["east_m"], after["north_m"])
    assert len(before) == 0
    assert places.distance(on_contour).min() < 5
    assert places.distance(beside.geometry.iloc[0]).min() < 5


def test_the_rasters_share_one_grid(sample_out: Path) -> None:
    """Same corner, same cell, same shape; Cloud Optimized; nodata set."""
    places = set()
    for name in RASTERS:
        with rasterio.open(sample_out / "rasters" / f"{name}.tif") as source:
            places.add((source.transform, source.shape, source.crs.to_string()))
            assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
            assert source.nodata is not None
            assert source.dtypes[0] == ("uint8" if name == "shaded_relief" else "float32")
    assert len(places) == 1


def test_the_draft_keeps_its_contract(sample_out: Path) -> None:
    """All layers and columns; single-part valid geometries; ids unique; contours with higher ground on the left."""
    layers = layers_of(sample_out)
    assert set(layers) == set(LAYERS)
    ids = [identity for layer in layers.values() for identity in layer["id"]]
    assert len(ids) == len(set(ids)) > 50
    for name, layer in layers.items():
        assert list(layer.columns) == [*COLUMNS, "geometry"], name
        assert layer.is_valid.all(), name
        assert not layer.geom_type.str.startswith("Multi").any(), name
        assert layer.confidence.between(0, 1).all(), name
        assert layer.evidence.str.len().gt(0).all(), name
        assert not layer.duplicated(subset=["symbol", "geometry"]).any(), name
    heights = raster_of(sample_out, "bare_earth")
    with rasterio.open(sample_out / "rasters" / "bare_earth.tif") as source:
        inverse = ~source.transform
    contours = layers["landform_line"].query("symbol in ['101', '102']")
    assert len(contours) > 10
    lower = 0
    for line in contours.geometry:
        start, end = (np.array(line.interpolate(line.length / 2 + d).coords[0]) for d in (-0.5, 0.5))
        along = (end - start) / max(np.hypot(*(end - start)), 1e-9)
        left, right = ((start + end) / 2 + side * 2 * np.array([-along[1], along[0]]) for side in (1, -1))
        col, row = inverse @ tuple(left)
        col_r, row_r = inverse @ tuple(right)
        inside = all(0 <= r < heights.shape[0] and 0 <= c < heights.shape[1] for r, c in ((row, col), (row_r, col_r)))
        lower += inside and heights[int(row), int(col)] < heights[int(row_r), int(col_r)]
    assert lower <= 0.02 * len(contours)


def test_the_areas_of_vegetation_do_not_overlap(sample_out: Path) -> None:
    """Green and yellow share edges, never ground."""
    areas = layers_of(sample_out)["vegetation_area"]
    solid = areas[areas.symbol.isin(["401", "402", "403", "404", "406", "408", "410"])]
    assert len(solid) > 5
    assert solid.area.sum() == pytest.approx(solid.union_all().area, rel=1e-6)


def test_points_keep_place_order_and_every_other_field(sample_out: Path) -> None:
    """Only the classes change; all of them are of the ASPRS list."""
    for tile in SAMPLE.glob("*.laz"):
        before, after = laspy.read(tile), laspy.read(sample_out / "points" / tile.name)
        assert len(before) == len(after)
        for name in before.point_format.dimension_names:
            if name != "classification":
                assert np.array_equal(before[name], after[name]), name
        assert set(np.unique(after.classification)) <= {1, 2, 3, 4, 5, 6, 7, 9, 14, 18}
        assert 2 in np.unique(after.classification)


def test_a_second_run_has_nothing_to_do(sample_out: Path) -> None:
    """An unchanged area is not computed again."""
    before = {path: path.stat().st_mtime_ns for path in sample_out.rglob("*.tif")}
    result = tussock("draft", sample_out.parent / "area.yaml", "--cores", "2")
    assert result.returncode == 0
    assert {path: path.stat().st_mtime_ns for path in sample_out.rglob("*.tif")} == before


def test_new_limits_of_the_bands_count_nothing_again(sample_out: Path) -> None:
    """After a calibration the vegetation is drawn again, and what comes after it; no block is."""
    area = sample_out.parent / "area.yaml"
    limits = {"slow_from_m2_per_m3": 0.14, "walk_from_m2_per_m3": 0.55, "fight_from_m2_per_m3": 1.2}
    write_json(calibration_path(area), limits | {"started_from": [0.1, 0.4, 0.9]})
    try:
        told = dry_run("--cores", "1", "--config", f"area={area}")
    finally:
        calibration_path(area).unlink()
    assert told.returncode == 0, told.stderr
    assert set(re.findall(r"^(?:local)?rule (\w+):", told.stdout, re.M)) == {
        "vegetation",
        "rides",
        "running",
        "compose",
        "sheet",
        "check_list",
        "effort",
        "report",
        "fieldwork_sheet",
        "export",
        "map_tiles",
        "manifest",
        "draft",
    }


def test_one_merged_tile_by_plain_snakemake_gives_the_same_draft(sample_out: Path, tmp_path: Path) -> None:
    """Feature for feature, however the survey is cut and whoever drives the workflow."""
    merged = merged_tile(sorted(SAMPLE.glob("*.laz")), tmp_path / "lidar" / "merged.laz")
    result = plain_snakemake(write_area(tmp_path, str(merged)))
    assert result.returncode == 0, result.stderr
    assert differences(sample_out, tmp_path / "out") == []
    for name in RASTERS:
        assert np.array_equal(raster_of(sample_out, name), raster_of(tmp_path / "out", name), equal_nan=True), name


def test_the_comparison_of_drafts_can_fail(sample_out: Path, tmp_path: Path) -> None:
    """Another contour interval is another draft (negative control of the comparison)."""
    other = tmp_path / "out"
    other.mkdir()
    layers = layers_of(sample_out)
    layers["landform_line"].loc[0, "elevation_m"] += 1
    for name, layer in layers.items():
        pyogrio.write_dataframe(layer, other / "draft.gpkg", layer=name, append=(other / "draft.gpkg").exists())
    assert differences(sample_out, other) == ["landform_line: 1 features say something else"]


def test_a_killed_run_goes_on_and_ends_the_same(sample_out: Path, tmp_path: Path) -> None:
    """Killed after the blocks, started again: the same draft, and the grids that were made are kept."""
    area = write_area(tmp_path, f"{SAMPLE}/*.laz")
    run = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "1"],
        cwd=PROJECT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    work = tmp_path / "out" / "work"
    deadline = time.monotonic() + 120
    # The outline is made of the grids of all blocks: once it is there, they are known to be finished.
    while not (work / "outline.gpkg").exists():
        assert time.monotonic() < deadline, "nothing was made of the grids of blocks in two minutes"
        assert run.poll() is None, "the run ended before it could be killed"
        time.sleep(0.05)
    os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    first = min((work / "grids").glob("[!.]*/*.npy.z"), key=lambda path: path.stat().st_mtime_ns)
    stamp = first.stat().st_mtime_ns
    assert not (tmp_path / "out" / "manifest.json").exists()
    again = tussock("draft", area, "--cores", "2")
    assert again.returncode == 0, again.stderr
    assert first.stat().st_mtime_ns == stamp, "a finished block was computed again"
    assert differences(sample_out, tmp_path / "out") == []


def test_the_manifest_names_inputs_settings_and_versions(sample_out: Path) -> None:
    """Checksums are those of the files; no path of the machine is in it."""
    text = (sample_out / "manifest.json").read_text(encoding="utf-8")
    content = json.loads(text)
    assert {tile["file"] for tile in content["tiles"]} == {tile.name for tile in SAMPLE.glob("*.laz")}
    assert content["area"]["scale"] == 10000
    assert {"laspy", "numpy", "snakemake"} <= set(content["libraries"])
    assert str(sample_out.parent) not in text
