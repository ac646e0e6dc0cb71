"""`tussock survey` of tiles without an area file: what is surveyed, and what is offered to start from."""

import re
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli import main
from pipeline.settings import load_area
from pipeline.shipped import SCHEMA
from pipeline.steps.beginning import put_schema_beside, tiles_named
from tests.faults import test_command as faults
from tests.paths import PROJECT

UTM = "EPSG:25832"
TEMPLATE = PROJECT / "config" / "area.yaml"


def small_tile(path: Path, *, crs: str | None, at: tuple[float, float] = (565650.0, 5712150.0)) -> None:
    """A flat tile that is just large enough for a survey."""
    faults.small_tile(path, crs=crs, at=at, side_m=30.0)


@pytest.fixture
def lidar(tmp_path: Path) -> Path:
    """A folder with one tile and a licence."""
    small_tile(tmp_path / "hollin_edge" / "a.laz", crs=UTM)
    (tmp_path / "hollin_edge" / "LICENCE.txt").write_text("Land Survey", encoding="utf-8")
    return tmp_path / "hollin_edge"


def test_a_folder_is_surveyed_and_an_area_file_offered(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The survey is printed, the file is named, loads as it is, finds the tiles and says what was found."""
    assert main(["survey", str(lidar)]) == 0
    printed = capsys.readouterr().out
    assert "How well each kind of feature can be found" in printed
    assert "Contours every 2.5 m would suit (flat: " in printed
    assert f"is now in {lidar / 'area.yaml'}" in printed
    area, text = load_area(lidar / "area.yaml"), (lidar / "area.yaml").read_text(encoding="utf-8")
    assert (area.name, area.tiles, area.boundary, area.credit) == ("Hollin Edge", (".",), None, "")
    assert area.contour_interval_m == 2.5  # the tile is flat
    assert re.search(r"# crs: EPSG:25832 .*the tiles say theirs: ETRS89 / UTM zone 32N", text)
    assert "LICENCE.txt" in text
    assert main(["survey", str(lidar / "area.yaml")]) == 0


def test_the_offered_file_has_its_schema_beside_it(lidar: Path) -> None:
    """An editor that opens it finds what completes it."""
    main(["survey", str(lidar)])
    assert (lidar / SCHEMA.name).read_bytes() == SCHEMA.read_bytes()


def test_an_area_file_that_is_there_is_never_changed(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever it holds: the survey works without it and says that it was left, and why it cannot be used."""
    mine = "# notes of mine\n"
    (lidar / "area.yaml").write_text(mine, encoding="utf-8")
    assert main(["survey", str(lidar)]) == 0
    assert (lidar / "area.yaml").read_text(encoding="utf-8") == mine
    printed = capsys.readouterr().out
    assert "left as it is" in printed
    assert "cannot be used as an area file" in printed


def test_a_folder_with_an_area_file_is_surveyed_by_it(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The second time what the mapper wrote counts, such as a credit, whose lack is no longer told."""
    main(["survey", str(lidar)])
    with (lidar / "area.yaml").open("a", encoding="utf-8") as file:
        file.write("credit: Land Survey\n")
    capsys.readouterr()
    assert main(["survey", str(lidar)]) == 0
    printed = capsys.readouterr().out
    assert "Surveyed by the area file of the folder" in printed
    assert "who made the lidar" not in printed


def test_a_folder_without_area_file_is_not_drafted(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The message names the command that offers one."""
    assert main(["draft", str(lidar)]) == 2
    assert f"tussock survey {lidar}" in capsys.readouterr().err


def test_a_pattern_leaves_the_area_file_beside_its_tiles(lidar: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As written between quotes, or made into names by the shell."""
    monkeypatch.chdir(lidar.parent)
    small_tile(lidar / "b.laz", crs=UTM, at=(565670.0, 5712150.0))
    assert main(["survey", "hollin_edge/*.laz"]) == 0
    assert load_area(lidar / "area.yaml").tiles == ("*.laz",)
    (lidar / "area.yaml").unlink()
    assert main(["survey", "hollin_edge/a.laz", "hollin_edge/b.laz"]) == 0
    assert load_area(lidar / "area.yaml").tiles == ("a.laz", "b.laz")


def test_a_folder_whose_tiles_lie_below_it(tmp_path: Path) -> None:
    """The offered file names the tiles of all folders below, and takes none that a draft wrote."""
    small_tile(tmp_path / "north" / "a.laz", crs=UTM)
    assert main(["survey", str(tmp_path)]) == 0
    assert load_area(tmp_path / "area.yaml").tiles == ("**/*",)
    small_tile(tmp_path / "out" / "points" / "a.laz", crs=UTM)  # of one name with the tile: would be refused
    assert main(["survey", str(tmp_path / "area.yaml")]) == 0


def test_tiles_without_a_coordinate_system_get_a_file_to_write_it_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The survey cannot go on, and says where to mend that; with the line filled in it does go on."""
    small_tile(tmp_path / "a.laz", crs=None)
    assert main(["survey", str(tmp_path)]) == 2
    assert str(tmp_path / "area.yaml") in capsys.readouterr().err
    text = (tmp_path / "area.yaml").read_text(encoding="utf-8")
    (tmp_path / "area.yaml").write_text(text.replace("# crs: EPSG:25832", "crs: EPSG:25832"), encoding="utf-8")
    assert main(["survey", str(tmp_path)]) == 0


@pytest.mark.parametrize("word", ["nowhere", "nowhere/*.laz", "."])
def test_no_tiles_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], word: str
) -> None:
    """Nothing is offered, and the message says what may be named."""
    monkeypatch.chdir(tmp_path)
    assert main(["survey", word]) == 2
    assert "Name a folder" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_area_file_and_tiles_at_once_are_refused(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody can tell which is meant."""
    assert main(["survey", "area.yaml", str(lidar)]) == 2
    assert "by itself" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_to(
    lidar: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The text of the file is printed instead, so that it can be saved elsewhere."""
    opened = Path.open

    def refuse_new(path: Path, mode: str = "r", **how: Any) -> Any:
        if mode == "x":
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, mode, **how)

    monkeypatch.setattr(Path, "open", refuse_new)
    assert main(["survey", str(lidar)]) == 0
    printed = capsys.readouterr().out
    assert "could not be written" in printed
    assert "contour_interval_m: 2.5" in printed


def test_several_folders_meet_in_the_one_above(tmp_path: Path) -> None:
    """Tiles of two folders belong to an area file in the folder that holds both."""
    for name in ("a", "b"):
        small_tile(tmp_path / name / f"{name}.laz", crs=UTM)
    tiles = tiles_named([str(tmp_path / "a"), str(tmp_path / "b" / "*.laz")])
    assert (tiles.folder, tiles.patterns) == (tmp_path, ("a", "b/*.laz"))


# ---------------------------------------------------------------- the template, copied


def test_the_template_works_where_it_is_copied(lidar: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its tiles are found, its draft stays beside it, and an editor finds the schema that its first line names."""
    copy = lidar.parent / "area.yaml"
    copy.write_bytes(TEMPLATE.read_bytes())
    assert main(["survey", str(copy)]) == 0
    assert "1 tile" in capsys.readouterr().out
    assert load_area(copy).out == "out"
    assert copy.with_name(SCHEMA.name).read_bytes() == SCHEMA.read_bytes()


def test_no_schema_where_none_is_asked_for_or_one_is_there(tmp_path: Path) -> None:
    """An area file without the line gets none; a schema that is there is left."""
    plain, asking = tmp_path / "plain.yaml", tmp_path / "asking.yaml"
    plain.write_text("name: x\n", encoding="utf-8")
    asking.write_text(TEMPLATE.read_text(encoding="utf-8"), encoding="utf-8")
    assert not put_schema_beside(plain)
    assert not (tmp_path / SCHEMA.name).exists()
    (tmp_path / SCHEMA.name).write_text("mine", encoding="utf-8")
    assert not put_schema_beside(asking)
    assert (tmp_path / SCHEMA.name).read_text(encoding="utf-8") == "mine"
