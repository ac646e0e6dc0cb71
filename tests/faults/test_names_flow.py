"""Coordinates below zero, and tiles that are called anything a file system takes."""

import re
import shlex
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.command import find_step, parser_of
from pipeline.lattice.blocks import Block, block_named
from pipeline.plan.names import safe_name
from tests.dry_runs import dry_run
from tests.made_tiles import made_tile
from tests.runs import write_area

ODD_NAMES = ("x (1)", "a+b", "{x}", "it's", '"q"', "-d", "[k]", "Höhe $HOME;`ls`", "林", "a,b=c", "..e", "plain-1.2")


def planned(area: Path) -> str:
    """The commands plain Snakemake would run; asserts that it can plan."""
    result = dry_run("-p", "-F", "--cores", "1", "--config", f"area={area}")
    assert result.returncode == 0, result.stdout + result.stderr
    return result.stdout


def parsed(text: str) -> list[tuple[str, dict[str, object]]]:
    """Name and options of each step command in a dry run, read as the step itself would."""
    found = []
    for line in text.splitlines():
        if " -m pipeline " in line:
            words = shlex.split(line.partition(" -m pipeline ")[2])
            name, *options = words[: words.index("2>")]
            found.append((name, vars(parser_of(name, find_step(name)).parse_args(options))))
    return found


def test_coordinates_below_zero_can_be_drawn(tmp_path: Path) -> None:
    """Czechia's EPSG:5514 counts west and south: every command still fits its step."""
    made_tile(tmp_path / "lidar" / "brno.laz", crs="EPSG:5514", west=-600_020.0, south=-1_160_030.0)
    steps = parsed(planned(write_area(tmp_path, "lidar/*.laz")))
    blocks = {options["block"] for _, options in steps if "block" in options}
    assert blocks
    assert all(isinstance(name, str) and name.startswith("w") and "_s" in name for name in blocks)
    (split,) = (options for name, options in steps if name == "split")
    assert split["bounds"] == pytest.approx([-600_020.0, -1_160_030.0, -599_970.0, -1_159_980.0], abs=0.5)


@pytest.mark.parametrize("name", ODD_NAMES)
def test_a_tile_may_be_called_anything(tmp_path: Path, name: str) -> None:
    """The plan stands, the step gets the very file, and the file it writes back has the tile's own name."""
    tile = made_tile(tmp_path / "lidar {a} 'b'" / f"{name}.laz")
    steps = dict(parsed(planned(write_area(tmp_path, str(tile).replace("[", "[[]").replace("'", "''")))))
    assert steps["split"]["tile"] == tile
    assert steps["label"]["tile"] == tile
    assert steps["label"]["out"] == Path("points") / f"{name}.laz"


@given(st.text(min_size=1), st.text(min_size=1))
def test_safe_names_are_safe_and_tell_tiles_apart(one: str, other: str) -> None:
    """Whatever two tiles are called."""
    names = [safe_name(text) for text in (one, other)]
    assert all(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_.-]*", name) for name in names)
    assert (names[0] == names[1]) == (one == other)


def test_a_common_name_stays_as_it_is() -> None:
    """So that a mapper finds it again among the work files."""
    assert safe_name("dgm_565_5712_1.ab-c") == "dgm_565_5712_1.ab-c"


@given(st.integers(-(10**6), 10**6), st.integers(-(10**6), 10**6))
def test_a_block_is_found_by_its_name(col: int, row: int) -> None:
    """West and south of the origin too; and a name begins with a letter."""
    block = Block(col, row, 250.0)
    assert block_named(block.name, 250.0) == block
    assert block.name[0].isalpha()


def test_a_wrong_name_of_a_block_is_an_error() -> None:
    """Such as those of before."""
    with pytest.raises(ValueError, match="no name of a block"):
        block_named("-3_7", 250.0)


def test_the_language_of_the_area_file_reaches_the_sheets(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both sheets are drawn and exports described in it; a language without a catalogue is no option of theirs."""
    made_tile(tmp_path / "lidar" / "a.laz")
    steps = parsed(planned(write_area(tmp_path, "lidar/*.laz", language="fi")))
    said = {name: options["language"] for name, options in steps if "language" in options}
    assert said == {"sheet": "fi", "fieldwork_sheet": "fi", "export": "fi"}
    with pytest.raises(SystemExit):
        parser_of("sheet", find_step("sheet")).parse_args(["--language", "xx"])
    assert "'xx' is none of en, de, sv, fi, cs, fr" in capsys.readouterr().err
