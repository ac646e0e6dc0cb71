"""A command run to its end while its processes are watched: seconds and memory."""

from __future__ import annotations

import os
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.paths import PROJECT

EVERY_S = 0.05
"""Seconds between two looks at the memory; a peak that is shorter may be missed."""


@dataclass(frozen=True)
class Cost:
    """What a command took.

    Attributes
    ----------
    seconds : float
        By the clock on the wall.
    largest_gib : float
        Most memory that one of its processes held.
    together_gib : float
        Most that all of them held at one moment; what they share is counted for each.
    """

    seconds: float
    largest_gib: float
    together_gib: float


def run_watched(command: list[str], /, *, tree: Path = PROJECT) -> Cost:
    """Run a command in the folder of a tree of the project, with that tree's code.

    Raises
    ------
    SystemExit
        With what it wrote to standard error, if it fails.
    """
    start, largest, together = time.perf_counter(), 0, 0
    environment = os.environ | {"PYTHONPATH": str(tree)}
    process = psutil.Popen(command, cwd=tree, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    while process.poll() is None:
        held = _held(process)
        largest, together = max(largest, *held), max(together, sum(held))
        time.sleep(EVERY_S)
    if process.returncode != 0:
        raise SystemExit(process.stderr.read().decode())
    return Cost(time.perf_counter() - start, largest / 2**30, together / 2**30)


def _held(process: psutil.Popen) -> list[int]:
    """Bytes that a process and each of its descendants hold; one that has just ended holds none."""
    held = [0, 0]
    try:
        family = [process, *process.children(recursive=True)]
    except psutil.Error:
        return held
    for one in family:
        try:
            held.append(one.memory_info().rss)
        except psutil.Error:
            continue
    return held
