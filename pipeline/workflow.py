"""Driving Snakemake for `tussock draft`: the same workflow as plain `snakemake`, with a progress display."""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from snakemake.api import SnakemakeApi
from snakemake.logging import logger as snakemake_logger
from snakemake.scheduling.greedy import SchedulerSettings as GreedySettings
from snakemake.settings.types import (
    ConfigSettings,
    DAGSettings,
    ExecutionSettings,
    OutputSettings,
    Quietness,
    ResourceSettings,
    SchedulingSettings,
    StorageSettings,
)
from snakemake_interface_common.exceptions import WorkflowError

from pipeline.errors import counted
from pipeline.files.disk.room import FULL_BELOW_BYTES, free_disk_bytes, full_disk_message
from pipeline.plan.batch import Batch
from pipeline.plan.plan import Plan, handed_over
from pipeline.shipped import BATCH_WORKFLOW, WORKFLOW

MESSAGE_MARK = "error: "
"""What a step puts before a message meant for the mapper (`pipeline.command`)."""

DOING = {
    "survey": "surveying the tiles",
    "split": "decoding tile",
    "decide": "deciding on cells and flight lines",
    "block": "working through block",
    "label": "writing points of tile",
    "ground_report": "comparing the producer's ground with ours",
    "rasters": "joining the rasters",
    "bare_earth": "levelling the lakes",
    "relief": "shading the relief",
    "landform": "drawing contours and landforms of field",
    "rock": "drawing rock of field",
    "water": "drawing water",
    "vegetation": "drawing vegetation of field",
    "manmade": "drawing buildings, ways, walls and wires of field",
    "usual_ground": "asking how bright the ground is",
    "season": "looking whether leaves were out",
    "rides": "following rides",
    "running": "joining the rasters of runnability",
    "base_level": "comparing base levels",
    "borrow": "taking in other maps",
    "compose": "composing the draft",
    "effort": "estimating the hours",
    "sheet": "drawing the field sheet",
    "export": "writing export",
    "map_tiles": "cutting the map into tiles",
    "backdrop": "drawing backdrop",
    "check_list": "ranking what to look at on foot",
    "fieldwork_sheet": "drawing the fieldwork sheet",
    "report": "putting the page together",
    "manifest": "writing the manifest",
}


@dataclass(frozen=True)
class Failure:
    """Why a run did not end well."""

    message: str
    is_bad_input: bool


def run_workflow(
    plan: Plan, /, *, cores: int, memory_mb: int, keep: bool = False, targets: Collection[str] = ()
) -> Failure | None:
    """Make everything of the plan that is not up to date, or of some files only; None when all is made.

    Jobs run side by side as long as the memory they say they need is at most `memory_mb`. With `keep` the files stay
    that nobody needs any more. `targets` are files below the folder of the plan.

    The plan holds its folder (`pipeline.plan.plan.plan_run`).
    """
    with _progress(plan) as progress:
        try:
            with handed_over(plan):
                _execute(plan, progress, cores=cores, memory_mb=memory_mb, keep=keep, targets=targets)
        except WorkflowError as error:
            return _failure(plan.out, progress.failed_logs, str(error))
    return None


def _execute(
    plan: Plan, listener: logging.Handler, *, cores: int, memory_mb: int, keep: bool, targets: Collection[str]
) -> None:
    with SnakemakeApi(OutputSettings(quiet={Quietness.ALL}, enable_file_logging=False)) as api:
        workflow = api.workflow(
            snakefile=WORKFLOW,
            workdir=plan.out,
            resource_settings=ResourceSettings(cores=cores, resources={"mem_mb": memory_mb}),
            storage_settings=StorageSettings(notemp=keep),
            config_settings=ConfigSettings(config={"area": str(plan.area_path)}),
        )
        # Snakemake sets its own handlers up on entering; ours has to come after them.
        snakemake_logger.addHandler(listener)
        dag = workflow.dag(DAGSettings(targets=frozenset(targets), force_incomplete=True))
        # Snakemake's own lock outlives a killed run; that of `plan_run` does not.
        # The scheduler it takes by default solves an equation in a process of its own whenever a job has ended, a fifth
        # of what Snakemake costs; ours are so many of a kind that this finds no better order.
        dag.execute_workflow(
            execution_settings=ExecutionSettings(lock=False),
            scheduling_settings=SchedulingSettings(scheduler="greedy"),
            scheduler_settings=GreedySettings(),
        )


def run_batch(batch: Batch, list_file: Path, /, *, cores: int, memory_mb: int, refresh: str = "") -> None:
    """Refresh all areas of a batch that are not up to date, side by side; one that fails does not stop the others.

    The table and the page of the batch are written in the end, whatever came of the areas. The batch's folder is held
    by this process (`pipeline.plan.batch.batch_or_exit`).

    Parameters
    ----------
    refresh : words of a shell that refresh one area in place of `tussock refresh`; "" for that command
    """
    told = {"list": str(list_file.resolve()), "cores_each": max(1, cores // len(batch.names)), "most_mb": memory_mb}
    with SnakemakeApi(OutputSettings(quiet={Quietness.ALL}, enable_file_logging=False)) as api:
        workflow = api.workflow(
            snakefile=BATCH_WORKFLOW,
            workdir=batch.folder,
            resource_settings=ResourceSettings(cores=cores, resources={"mem_mb": memory_mb}),
            config_settings=ConfigSettings(config=told | ({"refresh": refresh} if refresh else {})),
        )
        show = _BatchListener()
        snakemake_logger.addHandler(show)
        try:
            dag = workflow.dag(DAGSettings(force_incomplete=True))
            dag.execute_workflow(
                execution_settings=ExecutionSettings(lock=False, keep_going=True),
                scheduling_settings=SchedulingSettings(scheduler="greedy"),
                scheduler_settings=GreedySettings(),
            )
        except WorkflowError as error:
            # Areas that failed stand in the table, each with its reason; what else may fail is said.
            if not show.n_failed:
                print(f"tussock: {error}", file=sys.stderr)
        finally:
            snakemake_logger.removeHandler(show)


class _BatchListener(logging.Handler):
    """Says which area begins and which fails; counts those that fail."""

    def __init__(self) -> None:
        super().__init__()
        self.n_failed = 0
        self.names: dict[int, str] = {}

    def emit(self, record: logging.LogRecord) -> None:
        """Take one of Snakemake's events."""
        event, told = str(getattr(record, "event", "")), record.__dict__
        if event == "job_info" and told.get("rule_name") == "refresh_area":
            self.names[int(told["jobid"])] = name = str(dict(told.get("wildcards") or {})["area"])
            print(f"refreshing {name}", file=sys.stderr, flush=True)
        elif event == "job_error":
            self.n_failed += 1
            print(f"failed: {self.names.get(int(told['jobid']), '')}", file=sys.stderr, flush=True)


def _failure(out: Path, failed_logs: list[Path], otherwise: str) -> Failure:
    """The message of the first step that failed, without its traceback where it was meant for the mapper."""
    if free_disk_bytes(out) < FULL_BELOW_BYTES:
        return Failure(full_disk_message(out), is_bad_input=True)
    for log in failed_logs:
        text = log.read_text(encoding="utf-8", errors="replace").strip() if log.exists() else ""
        if MESSAGE_MARK in text:
            return Failure(text[text.rindex(MESSAGE_MARK) + len(MESSAGE_MARK) :], is_bad_input=True)
        if text:
            last = text.splitlines()[-1]
            return Failure(f"a step failed: {last}\nThe whole message is in {log}", is_bad_input=False)
    return Failure(f"the workflow failed: {otherwise}", is_bad_input=False)


# ---------------------------------------------------------------- progress


class _Listener(logging.Handler):
    """Turns Snakemake's events into lines or a bar a mapper can read; remembers the logs of steps that failed."""

    def __init__(self, show: Progress | None, folder: Path) -> None:
        super().__init__()
        self.show = show
        self.folder = folder
        self.failed_logs: list[Path] = []
        self.started_s = time.monotonic()
        self.task = show.add_task("planning", total=None) if show else None

    def emit(self, record: logging.LogRecord) -> None:
        """Take one of Snakemake's events."""
        event = str(getattr(record, "event", ""))
        if event == "job_info":
            self._begin(str(record.__dict__.get("rule_name")), dict(record.__dict__.get("wildcards") or {}))
        elif event == "progress":
            self._advance(int(record.__dict__["done"]), int(record.__dict__["total"]))
        elif event == "job_error":
            self.failed_logs += [self.folder / log for log in record.__dict__.get("log") or []]

    def _begin(self, rule: str, wildcards: dict[str, str]) -> None:
        if rule not in DOING:
            return
        text = " ".join([DOING[rule], *wildcards.values()])
        if self.show and self.task is not None:
            self.show.update(self.task, description=text)
        else:
            print(f"[{time.monotonic() - self.started_s:5.0f} s] {text}", file=sys.stderr, flush=True)

    def _advance(self, done: int, total: int) -> None:
        if self.show and self.task is not None:
            self.show.update(self.task, completed=done, total=total)


@contextmanager
def _progress(plan: Plan) -> Iterator[_Listener]:
    """A bar on a terminal, lines elsewhere."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    bar = Progress(*columns, console=console, transient=True) if console.is_terminal else None
    print(
        f"{plan.area.name}: {counted(len(plan.tile_names), 'tile')}, {counted(plan.n_returns, 'return')}, "
        f"{counted(len(plan.block_names), 'block')} of {plan.flow.block_m:.0f} m, "
        f"up to {plan.peak_disk_bytes / 1e9:.1f} GB of disk on the way",
        file=sys.stderr,
    )
    listener = _Listener(bar, plan.out)
    try:
        if bar:
            bar.start()
        yield listener
    finally:
        if bar:
            bar.stop()
        snakemake_logger.removeHandler(listener)
