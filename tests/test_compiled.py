"""Loops compiled by Numba, and that a step which calls none does not wait for Numba."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from pipeline.compiled import compiled
from pipeline.plan.steps import STEPS


@compiled
def _doubled(value: float) -> float:
    return 2.0 * value


@compiled
def _sum_of_doubled(values: np.ndarray) -> float:
    total = 0.0
    for value in values:
        total += _doubled(value)
    return total


def test_a_compiled_loop_calls_another() -> None:
    """Each is compiled when it is first needed, also when that is inside another."""
    assert _sum_of_doubled(np.arange(4.0)) == 12.0
    assert _doubled(1.5) == 3.0


def imported_by(code: str) -> set[str]:
    """The packages that a new Python has imported after some code."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*{{name.partition('.')[0] for name in sys.modules}})"],
        check=True,
        capture_output=True,
        text=True,
    )
    return set(done.stdout.split())


@pytest.mark.parametrize("step", ["label", "manifest", "relief", "season", "sheet"])
def test_a_step_without_loops_does_not_wait_for_numba(step: str) -> None:
    """Numba takes a quarter of a second to import, in every one of a run's many processes."""
    assert "numba" not in imported_by(f"import {STEPS[step].partition(':')[0]}")


def test_numba_is_there_when_a_loop_is_called() -> None:
    """The way of telling what is imported would see Numba."""
    code = "from pipeline.returns.cloud import Cloud, northward; northward(Cloud.empty())"
    assert "numba" not in imported_by(code), "no returns, nothing to sort"
    code = "import numpy; from pipeline.returns.cloud import Cloud, northward; northward(Cloud.of(numpy.zeros((2, 3))))"
    assert "numba" in imported_by(code)
