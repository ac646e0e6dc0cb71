"""What is left of tiles, blocks and fields that are no longer part of the area."""

from pathlib import Path

from pipeline.features import no_features
from pipeline.files.arrays import read_json, write_json
from pipeline.files.layers import write_layers
from pipeline.files.written_points import (
    RECORDS,
    drop_others,
    drop_removed,
    forget_lost,
    record_written,
    written_points,
)
from pipeline.steps.area.manifest import manifest


def written(out: Path, record: str, name: str) -> Path:
    """A tile that was written back, with its record."""
    points = out / "points" / name
    points.parent.mkdir(parents=True, exist_ok=True)
    points.write_bytes(b"points")
    record_written(out / RECORDS / f"{record}.json", points)
    write_json(out / RECORDS / f"{record}.json", {"points": f"points/{name}", "sha256": "of " + name})
    return points


def test_a_removed_tile_goes_with_its_record_and_nothing_else_does(tmp_path: Path) -> None:
    """Its file of points is gone and the manifest's list no longer names it; a file of the mapper's own stays."""
    kept, removed = written(tmp_path, "a", "a.laz"), written(tmp_path, "x_1_-5f0", "x (1).laz")
    own = tmp_path / "points" / "my own.laz"
    own.write_bytes(b"mine")
    assert set(written_points(tmp_path)) == {"points/a.laz", "points/x (1).laz"}
    drop_removed(tmp_path, ["a"])
    assert written_points(tmp_path) == {"points/a.laz": "of a.laz"}
    assert kept.exists()
    assert own.exists()
    assert not removed.exists()


def test_the_manifest_drops_what_is_no_longer_part_of_the_area(tmp_path: Path) -> None:
    """The last step of a run: tiles, blocks and fields that the plan does not name go, and it does not name them."""
    out, work = tmp_path / "out", tmp_path / "out" / "work"
    kept, removed = written(out, "a", "a.laz"), written(out, "b", "b.laz")
    for name in ("grids/e1_n1", "grids/e9_n9", "running/whole", "running/e9_n9"):
        (work / name).mkdir(parents=True)
    asked = {"area": {"exports": ["gpx"], "backdrops": []}}
    for name in ("exports/draft.gpx", "exports/draft.dxf", "backdrops/slope.tif"):
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).touch()
    write_layers(out / "draft.gpkg", {"rock_point": no_features("EPSG:25832")})
    write_json(work / "plan.json", {"tiles": [{"name": "a"}], "blocks": ["e1_n1"], "fields": {"whole": []}, **asked})
    write_json(work / "decided.json", {})
    write_json(work / "borrowed.json", {"sources": []})
    manifest(
        folder=out,
        plan=work / "plan.json",
        decided=work / "decided.json",
        borrowed=work / "borrowed.json",
        out=out / "manifest.json",
    )
    assert kept.exists()
    assert not removed.exists()
    made = read_json(out / "manifest.json")["made"]
    assert isinstance(made, dict)
    assert [name for name in made if name.startswith("points/")] == ["points/a.laz"]
    assert [name for name in made if name.startswith(("exports/", "backdrops/"))] == ["exports/draft.gpx"]
    assert [path.name for path in (work / "grids").iterdir()] == ["e1_n1"]
    assert [path.name for path in (work / "running").iterdir()] == ["whole"]


def test_the_record_of_a_lost_file_is_forgotten(tmp_path: Path) -> None:
    """So that Snakemake sees that it is missing; a damaged record goes as well."""
    written(tmp_path, "a", "a.laz")
    written(tmp_path, "b", "b.laz").unlink()
    write_json(tmp_path / RECORDS / "c.json", {"other": 1})
    forget_lost(tmp_path)
    assert [path.name for path in (tmp_path / RECORDS).iterdir()] == ["a.json"]


def test_blocks_and_fields_of_another_cut_go(tmp_path: Path) -> None:
    """Files and folders of the names that are worked on stay, in the folders asked for and in all others."""
    for name in ("grids/e1_n1", "grids/w2_n1", "features/rock/e1_n1"):
        (tmp_path / name).mkdir(parents=True)
    for name in ("boulders/e1_n1.gpkg", "boulders/e7_n7.gpkg", "features/rock/whole.gpkg", "features/water.gpkg"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    drop_others(tmp_path, ("grids", "boulders"), ["e1_n1"])
    drop_others(tmp_path, ("features/rock",), ["whole"])
    assert (tmp_path / "grids" / "e1_n1").exists()
    assert not (tmp_path / "grids" / "w2_n1").exists()
    assert not (tmp_path / "boulders" / "e7_n7.gpkg").exists()
    assert (tmp_path / "boulders" / "e1_n1.gpkg").exists()
    assert not (tmp_path / "features" / "rock" / "e1_n1").exists()
    assert (tmp_path / "features" / "rock" / "whole.gpkg").exists()
    assert (tmp_path / "features" / "water.gpkg").exists()
