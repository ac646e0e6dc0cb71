"""Tussock built as a wheel, installed where nothing of the clone is, and used from an empty folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from tests.paths import PROJECT
from tests.runs import SAMPLE, layers_of, write_area

SOURCES = ("pipeline", "config", "pyproject.toml", "setup.py", "README.md", "LICENSE")


def run(*command: str | Path, cwd: Path) -> str:
    """Run a command without the clone on Python's path; what it printed."""
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of an environment's programs, in which the wheel is installed.

    What Tussock depends on is taken from the environment of the tests, so that nothing is fetched from anywhere.
    """
    folder = tmp_path_factory.mktemp("installed")
    source = folder / "source"
    source.mkdir()
    for name in SOURCES:
        if (PROJECT / name).is_dir():
            shutil.copytree(PROJECT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(PROJECT / name, source / name)
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet")
    run(*pip, "wheel", "--no-deps", "--no-index", "--no-build-isolation", "--wheel-dir", folder, source, cwd=folder)
    shutil.rmtree(source)
    run(sys.executable, "-m", "venv", "--without-pip", folder / "env", cwd=folder)
    (wheel,) = folder.glob("*.whl")
    python = folder / "env" / "bin" / "python"
    packages = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder).strip()
    (Path(packages) / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    run(*pip, "--python", python, "install", "--no-compile", "--no-deps", "--no-index", wheel, cwd=folder)
    take_over_compiled(Path(packages) / "pipeline")
    return python.parent


def take_over_compiled(package: Path) -> None:
    """Give an installed package the loops that were compiled for the clone: compiling them again takes half a minute.

    Numba takes them where the module is as old and as large as the one that they were compiled from.
    """
    ours = PROJECT / "pipeline"
    for module in package.rglob("*.py"):
        if (ours / module.relative_to(package)).exists():
            shutil.copystat(ours / module.relative_to(package), module)
    for compiled in ours.rglob("__pycache__/*.nb[ic]"):
        target = package / compiled.relative_to(ours)
        target.parent.mkdir(exist_ok=True)
        shutil.copy(compiled, target)


@pytest.mark.slow
def test_the_wheel_carries_all_that_the_command_reads(installed: Path, tmp_path: Path) -> None:
    """Code, rules, tables and profiles are those of the wheel."""
    asked = "from pipeline import shipped as s; print(s.PACKAGE, s.WORKFLOW, s.CONFIG, s.SYMBOLS, sep='\\n')"
    package, *files = run(installed / "python", "-c", asked, cwd=tmp_path).splitlines()
    assert installed.parent in Path(package).parents
    assert all(Path(file).exists() and Path(package) in Path(file).parents for file in files)
    inside = {path.relative_to(Path(package) / "config") for path in (Path(package) / "config").rglob("*.*")}
    assert {path.relative_to(PROJECT / "config") for path in (PROJECT / "config").rglob("*.*")} <= inside
    catalogues = {path.name for path in (Path(package) / "words" / "po").iterdir()}
    assert catalogues == {path.name for path in (PROJECT / "pipeline" / "words" / "po").iterdir()}


@pytest.mark.slow
def test_the_installed_command_drafts_the_sample_from_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    """`tussock draft` needs nothing but the area file and its tiles."""
    shutil.copytree(SAMPLE, tmp_path / "tiles", ignore=shutil.ignore_patterns("out", "scene", "*.py"))
    area = write_area(tmp_path / "area", f"{tmp_path}/tiles/*.laz")
    (tmp_path / "empty").mkdir()
    run(installed / "tussock", "draft", area, "--cores", "2", cwd=tmp_path / "empty")
    assert list((tmp_path / "empty").iterdir()) == []
    assert (area.parent / "out" / "sheets" / "field_sheet.pdf").stat().st_size > 10_000
    assert sum(len(layer) for layer in layers_of(area.parent / "out").values()) > 50
