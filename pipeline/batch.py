"""`tussock refresh --batch`: many areas, one workflow, one table."""

from __future__ import annotations

from pathlib import Path

from pipeline.plan.batch import hold_batch, plan_batch
from pipeline.refresh.batch.table import DONE


def refresh_batch(list_file: Path, /, *, cores: int, memory_mb: int, refresh: str = "") -> tuple[int, str]:
    """Refresh the areas of a list that are not done; how many failed, and what a mapper is told.

    Parameters
    ----------
    refresh : words of a shell that refresh one area in place of `tussock refresh`; "" for that command

    Raises
    ------
    InputError
        If the list cannot be used, or another batch of the same list is at work.
    """
    # Imported late: a list that cannot be used is refused at once.
    from pipeline.steps.batch.summary import describe_batch, read_summary
    from pipeline.workflow import run_batch

    batch = plan_batch(list_file)
    hold_batch(batch)
    run_batch(batch, list_file, cores=cores, memory_mb=memory_mb, refresh=refresh)
    table = read_summary(batch)
    return int((table["status"] != DONE).sum()), describe_batch(batch, table)
