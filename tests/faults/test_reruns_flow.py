"""What is made again when something changes: all that depends on it, and nothing else."""

import re
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import box

from pipeline.files.arrays import write_json
from pipeline.plan.plan import calibration_path, make_plan
from tests.made_tiles import made_tile
from tests.paths import PROJECT
from tests.runs import SAMPLE, write_area
from tests.stub_steps import snakemake_with_stubs, to_run, told_anew, would_do

RULES = "\n".join(
    path.read_text(encoding="utf-8")
    for path in sorted((PROJECT / "pipeline" / "rules").glob("*.smk"))
    # In a batch a rule runs the whole command for an area (`tests/refresh/batch/`).
    if path.name != "batch.smk"
)


@pytest.mark.parametrize("rule", re.findall(r"^rule (\w+):", RULES, re.M))
def test_a_rule_keeps_track_of_the_code_it_runs(rule: str) -> None:
    """The fingerprint among its parameters is that of the step in its command, whose closure `test_code` holds."""
    text = re.search(rf"^rule {rule}:$(.*?)(?=^rule |\Z)", RULES, re.M | re.S)
    assert text is not None
    step = re.search(r"python -m pipeline (\w+)", text[1])
    if step is None:
        assert "shell:" not in text[1]
    else:
        assert f'code=PLAN.code("{step[1]}")' in text[1]


@pytest.mark.parametrize("rule", re.findall(r"^rule (\w+):", RULES, re.M))
def test_a_step_reads_nothing_its_rule_does_not_declare(rule: str) -> None:
    """A path in a command stands among the rule's inputs and outputs too; only `work/plan.json` does not."""
    text = re.search(rf"^rule {rule}:$(.*?)(?=^rule |\Z)", RULES, re.M | re.S)
    assert text is not None
    named = set(re.findall(r"(?<![\w{])(?:work|rasters|report|points)/[\w./{}]+", text[1].partition("shell:")[2]))
    declared = text[1].partition("shell:")[0]
    for path in named - {"work/plan.json"}:
        assert path in declared, path


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The area file of a run that is done, its steps replaced by stubs."""
    folder = tmp_path_factory.mktemp("finished")
    area = write_area(folder, f"{SAMPLE}/*.laz")
    snakemake_with_stubs(area, folder / "stub")
    assert to_run(would_do(area)) == {}
    return area


def expert(section: str, setting: str, value: object) -> dict[str, str]:
    """One setting of an area file."""
    return {"expert": f"{{{section}: {{{setting}: {value}}}}}"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "first"),
    [
        ({"name": "Other"}, {"sheet", "check_list", "effort", "export", "manifest"}),
        ({"outing_h": "2"}, {"check_list"}),
        ({"parking": "51.5579, 9.9450"}, {"check_list"}),
        ({"map_date": "2027-05-10"}, {"compose"}),
        ({"contour_interval_m": "2.5"}, {"landform"}),
        ({"scale": "15000"}, {"water"}),
        ({"height_unit": "foot"}, {"survey", "split"}),
        ({"boundary": "boundary.gpkg"}, {"survey", "rasters"}),
        (expert("flow", "block_m", 130), {"split"}),
        (expert("points", "noise_below_m", 2.0), {"decide"}),
        (expert("roofs", "min_patch_m2", 30), {"block"}),
        (expert("terrain", "cell_m", 1.0), {"decide"}),
        (expert("vegetation", "running_top_m", 3.0), {"block"}),
        (expert("vegetation", "open_radius_m", 7), {"vegetation"}),
        (expert("landform", "calm_share", 0.2), {"landform"}),
        (expert("rock", "least_cliff_confidence", 0.6), {"rock"}),
        (expert("water", "thin_max_ratio", 0.3), {"water"}),
        (expert("manmade", "building_min_area_m2", 20), {"manmade"}),
        (expert("sheet", "page_margin_mm", 12), {"sheet", "effort", "fieldwork_sheet", "manifest"}),
        (expert("survey", "leaves_down_day_of_year", 300), {"survey"}),
        (expert("calibration", "next_notes", 9), {"manifest"}),
    ],
    ids=lambda value: "-".join(map(str, value.values())) if isinstance(value, dict) else "",
)
def test_a_changed_key_redoes_what_depends_on_it(finished: Path, change: dict[str, str], first: set[str]) -> None:
    """The rules that are told of it run, then what stands on them, and the manifest last; nothing else begins.

    Of the rules that are told, those come first that stand on no other of them.
    """
    outline = gpd.GeoDataFrame(geometry=[box(565550, 5712050, 565700, 5712200)], crs="EPSG:25832")
    outline.to_file(finished.parent / "boundary.gpkg")
    kept = finished.read_text(encoding="utf-8")
    try:
        write_area(finished.parent, f"{SAMPLE}/*.laz", **change)
        told = would_do(finished)
    finally:
        finished.write_text(kept, encoding="utf-8")
    assert told_anew(told) >= first - {"manifest"}
    assert told_anew(told) <= first | {"manifest"}
    assert "manifest" in to_run(told)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "rules"),
    [
        ({"exports": "[styled, gpx, dxf]"}, {"export", "manifest"}),
        ({"exports": "[styled, pmtiles]"}, {"map_tiles", "manifest"}),
        ({"exports": "[]"}, {"manifest"}),
        ({"backdrops": "[slope, intensity]"}, {"backdrop", "manifest"}),
    ],
    ids=lambda value: "-".join(map(str, value.values())) if isinstance(value, dict) else "",
)
def test_another_wish_makes_what_is_wished_for(finished: Path, change: dict[str, str], rules: set[str]) -> None:
    """Exports and backdrops are made from what is there: no step that draws runs again."""
    kept = finished.read_text(encoding="utf-8")
    try:
        write_area(finished.parent, f"{SAMPLE}/*.laz", **change)
        told = would_do(finished)
    finally:
        finished.write_text(kept, encoding="utf-8")
    assert set(to_run(told)) == rules | {"draft"}


@pytest.mark.slow
def test_another_boundary_in_a_file_of_the_same_name_redoes_what_it_limits(tmp_path: Path) -> None:
    """Its content decides, as that of the tiles does: the outline is made anew, and no block."""
    area = write_area(tmp_path, f"{SAMPLE}/*.laz", boundary="boundary.gpkg")
    for east in (565_700, 565_690):
        outline = gpd.GeoDataFrame(geometry=[box(565_550, 5_712_050, east, 5_712_200)], crs="EPSG:25832")
        outline.to_file(tmp_path / "boundary.gpkg")
        if east == 565_700:
            snakemake_with_stubs(area, tmp_path / "stub")
    told = would_do(area)
    assert told_anew(told) == {"survey", "rasters"}
    assert "block" not in to_run(told)


@pytest.mark.slow
def test_a_calibration_redoes_the_vegetation(finished: Path) -> None:
    """And what stands on it; no block is worked on again."""
    limits = {"slow_from_m2_per_m3": 0.14, "walk_from_m2_per_m3": 0.55, "fight_from_m2_per_m3": 1.2}
    write_json(calibration_path(finished), limits | {"started_from": [0.1, 0.4, 0.9]})
    try:
        told = would_do(finished)
    finally:
        calibration_path(finished).unlink()
    assert told_anew(told) == {"vegetation"}
    drawn = {"vegetation", "rides", "running", "compose", "sheet", "check_list", "fieldwork_sheet", "export", "effort"}
    assert set(to_run(told)) == drawn | {"report", "manifest", "draft"}


@pytest.mark.slow
def test_files_that_only_moved_or_were_touched_redo_nothing(finished: Path) -> None:
    """Content decides, not dates."""
    for tile in SAMPLE.glob("*.laz"):
        tile.touch()
    assert to_run(would_do(finished)) == {}


@pytest.mark.slow
def test_a_lost_file_of_points_is_written_again(finished: Path) -> None:
    """Snakemake knows of a record only; the plan takes it away when the file is gone."""
    lost = min((finished.parent / "out" / "points").glob("*.laz"))
    content = lost.read_bytes()
    records = finished.parent / "out" / "work" / "labelled"
    before = {path: path.read_bytes() for path in records.glob("*")}
    lost.unlink()
    try:
        told = would_do(finished)
    finally:
        lost.write_bytes(content)
        for path, text in before.items():
            path.write_bytes(text)
    assert "label" in to_run(told)


def test_the_survey_is_told_of_all_it_reads(tmp_path: Path) -> None:
    """The unit of heights, the boundary and the tiles each change what the survey's rule keeps track of."""
    made_tile(tmp_path / "lidar" / "a.laz")
    boundary = tmp_path / "boundary.gpkg"
    gpd.GeoDataFrame(geometry=[box(412_500, 6_051_300, 412_530, 6_051_330)], crs="EPSG:25832").to_file(boundary)
    marks = [make_plan(write_area(tmp_path, "lidar/*.laz")).survey_mark]
    marks.append(make_plan(write_area(tmp_path, "lidar/*.laz", height_unit="foot")).survey_mark)
    marks.append(make_plan(write_area(tmp_path, "lidar/*.laz", boundary="boundary.gpkg")).survey_mark)
    boundary.unlink()
    gpd.GeoDataFrame(geometry=[box(412_500, 6_051_300, 412_540, 6_051_330)], crs="EPSG:25832").to_file(boundary)
    marks.append(make_plan(write_area(tmp_path, "lidar/*.laz", boundary="boundary.gpkg")).survey_mark)
    made_tile(tmp_path / "lidar" / "b.laz", west=412_550.0)
    marks.append(make_plan(write_area(tmp_path, "lidar/*.laz")).survey_mark)
    assert len(set(marks)) == len(marks)
    assert make_plan(write_area(tmp_path, "lidar/*.laz")).survey_mark == marks[-1]
    shutil.copy2(tmp_path / "lidar" / "b.laz", tmp_path / "b.laz")
    (tmp_path / "lidar" / "b.laz").touch()
    assert make_plan(write_area(tmp_path, "lidar/*.laz")).survey_mark == marks[-1]
