"""Runs killed at random moments, each followed by one to the end: `python -m tests.benchmarks.kills N [SEED]`.

A run is killed with all its processes (SIGKILL), as when the power goes; nothing of it can tidy up. The same command is
then given again, and what it makes must be, byte for byte, what a run makes that nobody disturbed.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

from tests.paths import PROJECT
from tests.runs import SAMPLE, write_area
from tests.same_files import differing, results_of


def start(area: Path, /) -> subprocess.Popen[bytes]:
    """A draft begun as the leader of its own group of processes."""
    command = [sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "2"]
    return subprocess.Popen(
        command, cwd=PROJECT, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )


def finish(area: Path, /) -> float:
    """Draft to the end; seconds.

    Raises
    ------
    SystemExit
        With what the run said, if it fails.
    """
    begun_s = time.perf_counter()
    process = start(area)
    _, said = process.communicate()
    if process.returncode:
        raise SystemExit(said.decode(errors="replace"))
    return time.perf_counter() - begun_s


def kill_after(area: Path, seconds: float, /) -> bool:
    """Draft for so long and kill it with all it has started; false if it had ended by then."""
    process = start(area)
    time.sleep(seconds)
    family = psutil.Process(process.pid).children(recursive=True) if process.poll() is None else []
    was_running = process.poll() is None
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    # Whoever has left the group would work on beside the next run.
    for one in family:
        with contextlib.suppress(psutil.Error):
            one.kill()
    process.communicate()
    return was_running


def killed(times: int, /, *, seed: int) -> list[str]:
    """A line for each killed run, and a last one that counts those whose results are the same."""
    moments, lines, same = random.Random(seed), [], 0
    with tempfile.TemporaryDirectory(prefix="tussock-kills-") as name:
        # One folder for all, as a path that stands in a result would make it differ.
        area = write_area(Path(name), f"{SAMPLE}/*.laz")
        whole_s = finish(area)
        expected = results_of(area.parent / "out")
        for number in range(1, times + 1):
            _clear(area.parent / "out")
            after_s = moments.uniform(0, whole_s)
            while not kill_after(area, after_s):
                _clear(area.parent / "out")
                after_s = moments.uniform(0, after_s)
            found = differing(expected, results_of_finished(area))
            same += not found
            lines.append(f"{number}: killed after {after_s:.1f} s, {'the same' if not found else ', '.join(found)}")
            print(lines[-1], flush=True)
    lines.append(f"{same} of {times} the same in all {len(expected)} files (seed {seed})")
    print(lines[-1], flush=True)
    return lines


def results_of_finished(area: Path, /) -> dict[str, str]:
    """Draft to the end and read what came out."""
    finish(area)
    return results_of(area.parent / "out")


def _clear(out: Path) -> None:
    subprocess.run(["rm", "-rf", str(out)], check=True)


if __name__ == "__main__":
    killed(int(sys.argv[1]), seed=int(sys.argv[2]) if len(sys.argv) > 2 else 1)
