"""A batch as one workflow of a cluster: the commands that the guide gives, with a stand-in for the queue."""

import importlib.util
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.files.tables import read_table
from tests.made_tiles import made_tile
from tests.paths import PROJECT

STUB = Path(__file__).with_name("stub_refresh.sh")
GUIDE = PROJECT / "docs" / "guide" / "refresh.md"
QUEUE = '#!/bin/sh\nnohup sh "$1" > "$1.said" 2>&1 < /dev/null &\necho $!\n'
"""Takes a job's script as the last word, begins it in the background, and says a number, as a queue does."""
HAS_PLUGIN = importlib.util.find_spec("snakemake_executor_plugin_cluster_generic") is not None


def list_of_three(folder: Path) -> Path:
    """A list of three areas, of which the second has no tiles."""
    tile = made_tile(folder / "tile.laz")
    for name, tiles in (("beck", tile), ("gone", "missing.laz"), ("hollin", tile)):
        (folder / name).mkdir()
        (folder / name / "area.yaml").write_text(f"name: {name}\ntiles: '{tiles}'\nmap_date: 2027-04-10\n")
        (folder / name / "old.txt").write_text("3")
    rows = [f"{name}/old.txt,{name}/area.yaml\n" for name in ("beck", "gone", "hollin")]
    (folder / "list.csv").write_text("old,area\n" + "".join(rows))
    return folder / "list.csv"


def command_of_guide(executor: str) -> list[str]:
    """The guide's command for a kind of cluster."""
    text = re.sub(r"\\\n\s*", "", GUIDE.read_text(encoding="utf-8"))
    lines = [line for line in text.splitlines() if line.startswith("snakemake --snakefile pipeline/rules/batch.smk")]
    return shlex.split(next(line for line in lines if executor in line))


def run_guide(executor: str, changed: dict[str, list[str]], folder: Path) -> subprocess.CompletedProcess[str]:
    """The guide's command with the options of this machine in place of some words, and the stub for the work."""
    words = command_of_guide(executor)[1:]
    assert set(changed) <= set(words), "the guide gives another command than is tried here"
    given = [one for word in words for one in changed.get(word, [word])]
    environment = os.environ | {"PYTHONPATH": str(PROJECT), "XDG_CACHE_HOME": str(folder / "cache")}
    return subprocess.run(
        [sys.executable, "-m", "snakemake", *given, f"refresh=sh {STUB}"],
        cwd=PROJECT, env=environment, capture_output=True, text=True, check=False, timeout=240,
    )  # fmt: skip


def check(done: subprocess.CompletedProcess[str], folder: Path) -> None:
    """Two areas are done, and the third is named with its reason, in the table."""
    assert done.returncode == 1, done.stdout + done.stderr
    table = read_table(folder / "list_refreshed" / "batch.csv").set_index("area")
    assert dict(table["status"]) == {"beck": "done", "gone": "failed", "hollin": "done"}
    assert "missing.laz" in table.loc["gone", "message"]


def test_the_command_of_the_guide_runs_without_a_cluster(tmp_path: Path) -> None:
    """All of it but the words that send jobs away."""
    words = command_of_guide("cluster-generic")
    queue = words[words.index("--cluster-generic-submit-cmd") + 1]
    away = {
        "--executor": [],
        "cluster-generic": [],
        "--cluster-generic-submit-cmd": [],
        queue: [],
        "--jobs": ["--cores"],
    }
    listed = f"list={list_of_three(tmp_path)}"
    check(run_guide("cluster-generic", away | {"list=list.csv": [listed]}, tmp_path), tmp_path)


@pytest.mark.skipif(not HAS_PLUGIN, reason="snakemake-executor-plugin-cluster-generic is not installed")
def test_a_queue_that_takes_scripts_by_a_command_runs_it(tmp_path: Path) -> None:
    """Each area goes out as a job of its own, and what fails there is named here."""
    submit = tmp_path / "submit.sh"
    submit.write_text(QUEUE)
    submit.chmod(0o755)
    words = command_of_guide("cluster-generic")
    queue = words[words.index("--cluster-generic-submit-cmd") + 1]
    changed = {queue: [str(submit)], "list=list.csv": [f"list={list_of_three(tmp_path)}"], "60": ["5"]}
    done = run_guide("cluster-generic", changed, tmp_path)
    check(done, tmp_path)
    assert done.stderr.count("external jobid") >= 3
