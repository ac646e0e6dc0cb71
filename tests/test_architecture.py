"""The shape of the code: who may import whom."""

import ast
from pathlib import Path

import pytest

from tests.paths import PROJECT

PIPELINE = PROJECT / "pipeline"
SECTIONS = ("landform", "rock", "water", "vegetation", "manmade")
OPENS_FILES = {"files", "steps", "plan", "cli.py", "workflow.py", "explain.py", "__main__.py"}
"""Rooms and modules that may import `pipeline.files`."""
KNOWS_SNAKEMAKE = {"workflow.py"}


def modules() -> list[Path]:
    """All modules of the pipeline."""
    return sorted(PIPELINE.rglob("*.py"))


def imports_of(module: Path) -> set[str]:
    """Names of the modules that a module imports, wherever in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def room_of(module: Path) -> str:
    """First part of a module's path below the pipeline."""
    return module.relative_to(PIPELINE).parts[0]


@pytest.mark.parametrize("section", SECTIONS)
def test_no_section_imports_another(section: str) -> None:
    """The sections of the ISOM know nothing of each other; what meets, meets in the draft."""
    others = tuple(f"pipeline.{other}" for other in SECTIONS if other != section)
    for module in (PIPELINE / section).rglob("*.py"):
        assert not [name for name in imports_of(module) if name.startswith(others)], module


def test_only_steps_and_what_drives_them_open_files() -> None:
    """Pure functions cannot touch the disk through the room that does."""
    for module in modules():
        if room_of(module) not in OPENS_FILES:
            assert not [name for name in imports_of(module) if name.startswith("pipeline.files")], module


def test_only_the_driver_knows_snakemake() -> None:
    """Every step runs without Snakemake."""
    knowing = {room_of(m) for m in modules() if any(name.split(".")[0] == "snakemake" for name in imports_of(m))}
    assert knowing == KNOWS_SNAKEMAKE


def test_sections_and_terrain_never_look_downstream() -> None:
    """Data flow one way: nothing before the draft imports the draft, the sheet or a step."""
    downstream = ("pipeline.draft", "pipeline.sheet", "pipeline.steps", "pipeline.plan.plan")
    for room in ("points", "terrain", *SECTIONS):
        for module in (PIPELINE / room).rglob("*.py"):
            assert not [name for name in imports_of(module) if name.startswith(downstream)], module


@pytest.mark.parametrize(
    ("room", "knows"),
    [
        ("lattice", {"lattice"}),
        ("returns", {"lattice", "returns"}),
        ("points", {"errors", "lattice", "points", "returns", "settings"}),
        ("terrain", {"lattice", "returns", "settings", "terrain"}),
    ],
)
def test_the_lower_rooms_stand_on_each_other_in_one_order(room: str, knows: set[str]) -> None:
    """Lattice below returns, returns below points and terrain, which know nothing of each other nor of the sections."""
    for module in (PIPELINE / room).rglob("*.py"):
        rooms = {name.split(".")[1] for name in imports_of(module) if name.startswith("pipeline.")}
        assert rooms <= knows, module


def test_the_import_reader_sees_imports_inside_functions(tmp_path: Path) -> None:
    """A forbidden import hidden in a function is found (the check itself can fail)."""
    module = tmp_path / "hidden.py"
    module.write_text("def f():\n    from pipeline.files import las\n")
    assert "pipeline.files.las" in imports_of(module)
