"""The workflow with steps that do nothing but leave files: what Snakemake runs, and what it costs, without the work."""

import os
import re
import subprocess
import sys
from pathlib import Path

from pipeline.files.known_drafts import note_as_known
from tests.dry_runs import dry_run
from tests.paths import PROJECT

STUB = '''"""Ends `python -m pipeline STEP` before it begins: what file or folder it names and is missing is made."""

import sys

if sys.orig_argv[1:3] == ["-m", "pipeline"]:
    import json
    import os

    words = [word.partition("=")[2] if word.startswith("--") else word for word in sys.orig_argv[4:]]
    if sys.orig_argv[3] == "rasters":  # what is named by its folder alone
        words += ["rasters/ground_support.tif", "rasters/canopy_height.tif"]
    if sys.orig_argv[3] == "running":
        words += [f"rasters/{name}.tif" for name in ("understorey", "understorey_error", "running_speed")]
    points = [word for word in words if word.startswith("points/")]
    for path in words:
        is_path = "/" in path or path.endswith((".json", ".gpkg"))
        if not is_path or path.startswith(("/", "{")) or os.path.exists(path):
            continue
        folder, name = os.path.split(path)
        os.makedirs((folder or ".") if "." in name else path, exist_ok=True)
        with open(path if "." in name else os.path.join(path, "stub"), "w") as target:
            target.write(json.dumps({"points": points[0]} if points else {}))
    os._exit(0)
'''


def snakemake_with_stubs(area: Path, folder: Path) -> None:
    """Plain Snakemake over an area, every step replaced. `folder` keeps the stub."""
    folder.mkdir(exist_ok=True)
    (folder / "sitecustomize.py").write_text(STUB, encoding="utf-8")
    path = os.pathsep.join([str(folder), str(PROJECT), os.environ.get("PYTHONPATH", "")])
    command = [sys.executable, "-m", "snakemake", "--cores", "2", "--config", f"area={area}"]
    result = subprocess.run(
        command, capture_output=True, text=True, cwd=PROJECT, check=False, env=os.environ | {"PYTHONPATH": path}
    )
    assert result.returncode == 0, (result.stdout + result.stderr)[-2000:]
    # As compose does: what stands in for the draft is no draft, and must not be read for changes of a mapper.
    note_as_known(area.parent / "out" / "draft.gpkg")


def would_do(area: Path) -> str:
    """What plain Snakemake says it would do for an area."""
    result = dry_run("--cores", "2", "--config", f"area={area}")
    assert result.returncode == 0, (result.stdout + result.stderr)[-2000:]
    return result.stdout


def to_run(told: str) -> dict[str, str]:
    """Rule -> why it runs, from a dry run; of several jobs of a rule one that runs on its own account comes first."""
    found: dict[str, str] = {}
    _, *parts = re.split(r"^(?:local)?rule (\w+):$", told, flags=re.M)
    for rule, rest in zip(parts[::2], parts[1::2], strict=True):
        reason = re.search(r"^ +reason: (.*)$", rest, re.M)
        why = reason[1] if reason else ""
        if rule not in found or "Params have changed" in why:
            found[rule] = why
    return found


def told_anew(told: str) -> set[str]:
    """Rules that run since what they are told has changed, and not only since others make their input anew."""
    return {rule for rule, why in to_run(told).items() if "Params have changed" in why}
