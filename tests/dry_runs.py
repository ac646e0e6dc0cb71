"""Dry runs of Snakemake, each in a copy of a process that has imported it: importing takes half of a run of its own."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.paths import PROJECT

TIMEOUT_S = 300
"""A dry run that takes longer hangs; one takes a second and a half, and many times that beside other work."""

_copies = multiprocessing.get_context("forkserver" if sys.platform == "linux" else "spawn")
# Each dry run is a copy of its own, so that none sees what another left behind.
_copies.set_forkserver_preload(["snakemake.cli", "pipeline.workflow", "pipeline.plan.plan", "pipeline.exports.formats"])


def dry_run(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """What plain Snakemake says it would do in the project's folder, and how it ends; `words` are its options."""
    options = ["--dry-run", *map(str, words)]
    with tempfile.TemporaryDirectory(prefix="tussock-dry-run-") as folder:
        told = [Path(folder, "stdout"), Path(folder, "stderr")]
        process = _copies.Process(target=_snakemake, args=(options, dict(os.environ), *told))
        process.start()
        process.join(TIMEOUT_S)
        if process.exitcode is None:
            process.kill()
            raise subprocess.TimeoutExpired(["snakemake", *options], TIMEOUT_S)
        stdout, stderr = (path.read_text(encoding="utf-8") for path in told)
    return subprocess.CompletedProcess(["snakemake", *options], process.exitcode, stdout, stderr)


def _snakemake(options: list[str], environment: dict[str, str], stdout: Path, stderr: Path) -> None:
    """Run Snakemake in this process, which ends as Snakemake does."""
    from snakemake.cli import main

    os.environ.clear()
    os.environ.update(environment)
    os.chdir(PROJECT)
    for standard, path in ((1, stdout), (2, stderr)):
        file = os.open(path, os.O_WRONLY | os.O_CREAT)
        os.dup2(file, standard)
        os.close(file)
    main(options)
