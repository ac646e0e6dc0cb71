"""Steps done by copies of a process that is ready: they end as they would in a process of their own."""

import json
import os
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import psutil
import pytest

from pipeline.knock import READY
from pipeline.ready import _user_of, steps_ready, to_begin_steps
from pipeline.settings import LandformSettings
from tests.paths import PROJECT

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux has a process that is ready")


@pytest.fixture(scope="module", autouse=True)
def ready() -> Iterator[None]:
    """One such process for all tests here."""
    before = os.environ.get("PYTHONPATH", "")
    os.environ["PYTHONPATH"] = os.pathsep.join([str(PROJECT), before])
    try:
        with steps_ready():
            yield
    finally:
        os.environ["PYTHONPATH"] = before


def asking(*words: str) -> list[str]:
    """A step as a shell of Snakemake begins it."""
    bin_first = f'PATH={shlex.quote(str(Path(sys.executable).parent))}:"$PATH"'
    return ["bash", "-c", f"{bin_first}; {to_begin_steps()} python -m pipeline {shlex.join(words)}"]


def step(*words: str, folder: Path, is_ready: bool) -> subprocess.CompletedProcess[str]:
    """A step in a process of its own, or in a copy of the one that is ready."""
    environment = {name: value for name, value in os.environ.items() if is_ready or name != READY}
    return subprocess.run(
        asking(*words),
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    "words", [("spilt",), ("season", "--cuonts=x"), ("season", "--counts=a b", "--survey=é", "--out=o")]
)
def test_a_step_ends_the_same_way_with_the_same_words(tmp_path: Path, words: tuple[str, ...]) -> None:
    """Exit status and last line of what it says, for an unknown step, a wrong option, and a missing file."""
    alone, copied = (step(*words, folder=tmp_path, is_ready=is_ready) for is_ready in (False, True))
    assert alone.returncode == copied.returncode != 0
    assert alone.stderr.splitlines()[-1] == copied.stderr.splitlines()[-1]


def test_a_step_works_in_the_folder_of_who_asks_and_writes_the_same_bytes(tmp_path: Path) -> None:
    """Paths on the command line are relative to the folder of the run, not to that of the process that is ready."""
    (tmp_path / "levels").mkdir()
    (tmp_path / "plan.json").write_text('{"fields": {"whole": {}}}')
    count = {"offset_m": 1.0, "n_hills": 3, "n_hollows": 2, "n_necks": 1}
    (tmp_path / "levels" / "whole.json").write_text(json.dumps({"counts": [count, count | {"offset_m": 0.0}]}))
    words = ("base_level", "--counts=levels", "--plan=plan.json", f"--settings={LandformSettings().model_dump_json()}")
    for out, is_ready in (("alone.txt", False), ("copied.txt", True)):
        assert step(*words, f"--out={out}", folder=tmp_path, is_ready=is_ready).returncode == 0
    assert (tmp_path / "copied.txt").read_bytes() == (tmp_path / "alone.txt").read_bytes() != b""


def test_a_copy_that_is_killed_is_told_from_one_that_failed(tmp_path: Path) -> None:
    """The step's process says that it was killed, with an exit status that stops the run."""
    os.mkfifo(tmp_path / "never.json")
    waiting = subprocess.Popen(
        asking("season", "--counts=x", "--survey=never.json", "--out=o"),
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        text=True,
    )
    os.kill(copy_in(tmp_path), signal.SIGKILL)
    _, told = waiting.communicate(timeout=60)
    assert waiting.returncode == 1
    assert "season was killed" in told


def copy_in(folder: Path) -> int:
    """The copy that works in this folder."""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        for process in psutil.Process().children(recursive=True):
            with suppress(psutil.Error):  # it has just ended
                if "pipeline.ready" in process.cmdline() and process.cwd() == str(folder):
                    return process.pid
        time.sleep(0.05)
    raise AssertionError("no copy works in the folder")


def test_all_ends_when_the_run_is_killed(tmp_path: Path) -> None:
    """Neither the process that waits nor a copy outlives the run that started them."""
    os.mkfifo(tmp_path / "never.json")
    code = (
        "import subprocess, sys; from pipeline.ready import steps_ready\n"
        "with steps_ready(): subprocess.run(sys.argv[2:], cwd=sys.argv[1])"
    )
    words = asking("season", "--counts=x", "--survey=never.json", "--out=o")
    run = psutil.Popen([sys.executable, "-c", code, tmp_path, *words], cwd=PROJECT, start_new_session=True)
    copy = psutil.Process(copy_in(tmp_path))
    others = [process for process in run.children(recursive=True) if "pipeline.ready" in process.cmdline()]
    assert copy in others
    run.kill()
    _, alive = psutil.wait_procs(others, timeout=20)
    assert not alive


def test_who_asks_is_known() -> None:
    """The user at the other end of a connection, by whom others are turned away."""
    one, other = socket.socketpair()
    with one, other:
        assert _user_of(one) == os.getuid()
