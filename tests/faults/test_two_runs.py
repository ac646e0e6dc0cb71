"""Two runs in one folder: the second is refused while the first is alive, whoever started them, and only then."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline.files.disk.lock import hold_folder
from tests.dry_runs import dry_run
from tests.paths import PROJECT
from tests.runs import SAMPLE, tussock, write_area

DRAFT = ("pipeline.cli", "draft")
SNAKEMAKE = ("snakemake", "--cores", "1", "--quiet", "all", "--rerun-incomplete", "--config")


def command(kind: tuple[str, ...], area: Path) -> list[str]:
    """A run of the area by the command or by plain Snakemake."""
    return [sys.executable, "-m", *kind, f"area={area}" if kind == SNAKEMAKE else str(area)]


@contextmanager
def running(kind: tuple[str, ...], area: Path) -> Iterator[None]:
    """A run that has begun; it is killed without warning in the end, with all the steps it started.

    Meanwhile it is halted, so that it neither ends nor takes the time of those who look at it.
    """
    begun = area.parent / "out" / "work" / "plan.json"
    run = subprocess.Popen(
        command(kind, area), cwd=PROJECT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    try:
        deadline = time.monotonic() + 60
        while not begun.exists():
            assert time.monotonic() < deadline, "the run wrote no plan in a minute"
            assert run.poll() is None, "the run ended before it began"
            time.sleep(0.02)
        os.killpg(run.pid, signal.SIGSTOP)
        yield
        assert run.poll() is None, "the first run was over before the second was refused"
    finally:
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()


@pytest.mark.slow
@pytest.mark.parametrize("first", [DRAFT, SNAKEMAKE], ids=["tussock", "snakemake"])
def test_the_second_run_is_refused_while_the_first_is_alive(tmp_path: Path, first: tuple[str, ...]) -> None:
    """With the name of the folder and what to do; a killed run is in nobody's way."""
    area = write_area(tmp_path, f"{SAMPLE}/*.laz")
    with running(first, area):
        by_command, by_snakemake = tussock("draft", area), dry_run(*SNAKEMAKE[1:], f"area={area}")
        assert by_command.returncode == 2
        assert by_snakemake.returncode != 0
        for told in (by_command.stderr, by_snakemake.stderr):
            assert f"{tmp_path / 'out'}: another run is at work here" in told
            assert "choose another 'out:'" in told
    after = dry_run(*SNAKEMAKE[1:], f"area={area}")
    assert after.returncode == 0, after.stderr


def holder(folder: Path) -> subprocess.Popen[str]:
    """Another process that holds a folder until it is ended."""
    code = "import sys; from pathlib import Path; from pipeline.files.disk.lock import hold_folder\n"
    code += "hold_folder(Path(sys.argv[1])); print('held', flush=True); input()"
    other = subprocess.Popen(
        [sys.executable, "-c", code, folder], cwd=PROJECT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    return other


def test_a_job_of_a_run_is_not_refused(tmp_path: Path) -> None:
    """A process that Snakemake starts for one job plans too, in the folder that its Snakemake holds.

    Without the word that it is a job it is refused (negative control). Neither writes anything.
    """
    area = write_area(tmp_path, f"{SAMPLE}/*.laz")
    code = "import sys; from pipeline.plan.plan import plan_or_exit\n"
    code += "print(len(plan_or_exit(sys.argv[1], is_job=bool(sys.argv[2])).tile_names), 'tiles')"
    with holder(tmp_path / "out") as other:
        ends = [
            subprocess.run(
                [sys.executable, "-c", code, area, is_job], cwd=PROJECT, capture_output=True, text=True, check=False
            )
            for is_job in ("job", "")
        ]
        other.communicate("\n")
    assert ends[0].stdout == "4 tiles\n"
    assert "another run" in ends[1].stderr
    assert [path.name for path in (tmp_path / "out").iterdir()] == [".lock"]


@pytest.mark.parametrize("ending", ["at its end", "killed"])
def test_a_folder_is_free_when_its_holder_is_gone(tmp_path: Path, ending: str) -> None:
    """Whether the process ended well or was killed; the file that is left behind does not count."""
    with holder(tmp_path) as other:
        if ending == "killed":
            other.kill()
        else:
            other.communicate("\n")
    assert (tmp_path / ".lock").exists()
    hold_folder(tmp_path)
    assert hold_folder(tmp_path) is hold_folder(tmp_path)
