"""The rules: every command they print fits the step it calls."""

import shlex
from pathlib import Path

import pytest

from pipeline.command import STEPS, find_step, parser_of, run_step
from tests.dry_runs import dry_run
from tests.runs import SAMPLE, write_area


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What Snakemake would do for the sample, one export of each step and a backdrop asked for."""
    asked = {"exports": "[styled, mbtiles]", "backdrops": "[slope]"}
    area = write_area(tmp_path_factory.mktemp("dry"), f"{SAMPLE}/*.laz", **asked)
    result = dry_run("-p", "-F", "--cores", "1", "--config", f"area={area}")
    assert result.returncode == 0, result.stderr
    return result.stdout + result.stderr


def commands_of(text: str) -> list[list[str]]:
    """The step commands in a dry run, without their redirections."""
    words = [
        shlex.split(line.partition("python -m pipeline ")[2]) for line in text.splitlines() if " -m pipeline " in line
    ]
    return [command[: command.index("2>")] for command in words]


def test_every_printed_command_fits_its_step(planned: str) -> None:
    """Each option a rule passes is a parameter of the step, with a value of its type; each step is used."""
    commands = commands_of(planned)
    for name, *options in commands:
        parser_of(name, find_step(name)).parse_args(options)
    assert {name for name, *_ in commands} == set(STEPS)


def test_a_misspelt_option_would_be_noticed(planned: str) -> None:
    """The contract test fails for a wrong flag and for settings that do not fit (negative control)."""
    name, *options = next(command for command in commands_of(planned) if command[0] == "block")
    parser = parser_of(name, find_step(name))
    with pytest.raises(SystemExit):
        parser.parse_args([*options, "--blok", "e1_n1"])
    with pytest.raises(SystemExit):
        parser.parse_args([option.replace("halo_m", "halo") for option in options])


def test_few_jobs_for_each_tile_and_block(planned: str) -> None:
    """At most eight jobs a tile and block together, since starting Python costs as much as a small step."""
    names = [command[0] for command in commands_of(planned)]
    looped = {name for name in names if names.count(name) > 1}
    assert len(looped) <= 8


def test_an_unknown_step_is_answered_with_the_list(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever replays a command by hand sees what there is."""
    assert run_step(["spilt"]) == 2
    assert "split" in capsys.readouterr().err


def test_bad_input_to_a_step_is_one_message(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A step ends with status 2 and its message, without a traceback."""
    words = [f"--tile={tmp_path / 'gone.laz'}", f"--out={tmp_path / 'out'}", f"--seen={tmp_path / 'seen'}"]
    words += [f"--beside={tmp_path / 'beside'}"]
    words += ["--bounds=-9,-9,0,0", "--blocks", "w1_s1", "--source-crs=EPSG:25832", "--crs=EPSG:25832"]
    words += ["--height-unit-m=1", '--flow={"block_m":250,"halo_m":60}']
    assert run_step(["split", *words]) == 2
    assert capsys.readouterr().err.startswith("error: ")
