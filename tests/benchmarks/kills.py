"""Runs killed at random moments, then one to the end: `python -m tests.benchmarks.kills N [SEED]`.

A run is killed with all its processes (SIGKILL), as when the power goes; nothing of it can tidy up. The same command is
then given again, killed again, and at last left to end: what it makes must be, byte for byte, what a run makes that
nobody disturbed.
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


CHAIN = 5
"""Kills of one draft, one after the other, before it may end and is compared: what a killed run left may be what the
next killed run trips over, and a finished draft takes longer than a killed one."""


def killed(times: int, /, *, seed: int) -> list[str]:
    """A line for each finished draft, and a last one that counts kills and drafts whose results are the same.

    A moment is drawn from half the time of an undisturbed run, so that a chain of kills gets all the way through it. A
    draft that ends before its moment is compared as well, and the next one begins from nothing.
    """
    moments, lines, same, drafts, kills = random.Random(seed), [], 0, 0, 0
    with tempfile.TemporaryDirectory(prefix="tussock-kills-") as name:
        # One folder for all, as a path that stands in a result would make it differ.
        area = write_area(Path(name), f"{SAMPLE}/*.laz")
        whole_s = finish(area)
        expected = results_of(area.parent / "out")
        while kills < times:
            _clear(area.parent / "out")
            chain = _chain(area, moments, whole_s / 2, min(CHAIN, times - kills))
            kills += len(chain)
            found = differing(expected, results_of_finished(area))
            drafts, same = drafts + 1, same + (not found)
            after = ", ".join(f"{seconds:.1f}" for seconds in chain) or "never"
            lines.append(f"draft {drafts}: killed after {after} s; {', '.join(found) or 'the same'}")
            print(lines[-1], flush=True)
    lines.append(f"{kills} kills, {same} of {drafts} drafts the same in all {len(expected)} files (seed {seed})")
    print(lines[-1], flush=True)
    return lines


def _chain(area: Path, moments: random.Random, longest_s: float, most: int) -> list[float]:
    """Kill a draft so many times, or until it ends before its moment: seconds after which each kill came."""
    chain: list[float] = []
    while len(chain) < most:
        after_s = moments.uniform(0, longest_s)
        if not kill_after(area, after_s):
            break
        chain.append(after_s)
    return chain


def results_of_finished(area: Path, /) -> dict[str, str]:
    """Draft to the end and read what came out."""
    finish(area)
    return results_of(area.parent / "out")


def _clear(out: Path) -> None:
    subprocess.run(["rm", "-rf", str(out)], check=True)


if __name__ == "__main__":
    killed(int(sys.argv[1]), seed=int(sys.argv[2]) if len(sys.argv) > 2 else 1)
