"""The shape of the code: which room may import which, and how large a room may grow.

Every check is a function that lists what is wrong with a tree. It is asked about the project, where it must find
nothing, and about a small made-up tree with one fault, where it must find that fault.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.rooms import LAYERS, PIPELINE, Tree, cycles, layer_of

MOST_MODULES = 13
"""Most modules in one folder, `__init__.py` not counted: more cannot be taken in at a glance (our choice)."""
SECTIONS = ("landform", "rock", "water", "vegetation", "manmade")
"""Folders of the sections of the ISOM, 3.1 to 3.5."""
OPENS_FILES = {"files", "steps", "plan", "cli", "workflow", "explain", "__main__"}
"""Rooms that may import `pipeline.files`; `steps` stands for `steps/area` and the rest of that folder too."""
READS_BY_ITSELF = {
    "pipeline.norm.symbols": "the table of the norm",
    "pipeline.settings.reading": "the area file",
    "pipeline.words.language": "the catalogues that ship with the code",
    "pipeline.rock.boulders.trees": "the fitted trees that ship with the code",
    "pipeline.fieldwork.questions.matters": "the table of looks that ships with the code",
    "pipeline.sheet.page.pdf": "a PDF in memory, by pikepdf's open",
}
"""Modules outside those rooms that open a file themselves, and which."""
OPENING = {"open", "read_text", "read_bytes", "write_text", "write_bytes", "read_file", "to_file", "savez", "memmap"}
"""Names of calls that open a file."""
KNOWS_SNAKEMAKE = {"pipeline.workflow"}

Check = Callable[[Tree], list[str]]


def unplaced(tree: Tree, /) -> list[str]:
    """Rooms in no layer, layers' names without a room, and imports of modules that do not exist."""
    known = {name for _, names in LAYERS for name in names}
    tops = {room.partition("/")[0] for room in tree.rooms}
    return [
        *(f"room '{room}' is in no layer: say in tests/rooms.py where" for room in sorted(tops - known)),
        *(f"layer names '{name}', which is no room" for name in sorted(known - tops)),
        *(f"{one}, which does not exist" for one in tree.unresolved),
    ]


def rings(tree: Tree, /) -> list[str]:
    """Rooms that import each other, directly or through others."""
    found = []
    for ring in cycles(tree):
        inside = [imports for pair, imports in tree.edges.items() if set(pair) <= set(ring)]
        found.append(f"ring of {', '.join(ring)}: " + "; ".join(str(one) for imports in inside for one in imports))
    return found


def upward(tree: Tree, /) -> list[str]:
    """Imports of a room by one that lies in a lower layer."""
    found = []
    for (importer, imported), imports in tree.edges.items():
        low, high = layer_of(importer), layer_of(imported)
        if low is not None and high is not None and high > low:
            found += [f"{one}: {LAYERS[low][0]} lies below {LAYERS[high][0]}" for one in imports]
    return found


def parents_below(tree: Tree, /) -> list[str]:
    """Imports of a folder's own modules by a room inside that folder: the parent stands above its children."""
    inside = {pair: imports for pair, imports in tree.edges.items() if pair[0].startswith(f"{pair[1]}/")}
    return [f"{one}: {a} stands inside {b}" for (a, b), imports in inside.items() for one in imports]


def between_sections(tree: Tree, /) -> list[str]:
    """Imports of one section of the ISOM by another; what meets, meets in the draft."""
    tops = {pair: tuple(room.partition("/")[0] for room in pair) for pair in tree.edges}
    wrong = [pair for pair, (a, b) in tops.items() if a != b and {a, b} <= set(SECTIONS)]
    return [str(one) for pair in wrong for one in tree.edges[pair]]


def opening_files(tree: Tree, /) -> list[str]:
    """Modules that reach a file and are not of the rooms that may, through `pipeline.files` or by themselves."""
    through = [one for (_, room), imports in tree.edges.items() if _top(room) == "files" for one in imports]
    found = [str(one) for one in through if _top(tree.room_of(one.importer)) not in OPENS_FILES]
    for module in (module for modules in tree.rooms.values() for module in modules):
        if _top(tree.room_of(module)) not in OPENS_FILES and module not in READS_BY_ITSELF:
            found += [
                f"{module} line {line} opens a file by '{name}'" for name, line in _openings(tree.modules[module])
            ]
    return found


def _openings(path: Path) -> list[tuple[str, int]]:
    """Calls in a file that open another, and their lines."""
    calls = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call)]
    named = [(call.func.attr if isinstance(call.func, ast.Attribute) else call.func, call.lineno) for call in calls]
    plain = [(name.id if isinstance(name, ast.Name) else str(name), line) for name, line in named]
    return [(name, line) for name, line in plain if name in OPENING]


def _top(room: str) -> str:
    return room.partition("/")[0]


def knowing_snakemake(tree: Tree, /) -> list[str]:
    """Modules that import Snakemake: every step must run without it."""
    knowing = tree.outside("snakemake") | tree.outside("snakemake_interface_common")
    return [f"{module} imports snakemake" for module in sorted(knowing - KNOWS_SNAKEMAKE)]


def crowded(tree: Tree, /) -> list[str]:
    """Folders with more modules than one takes in at a glance."""
    folders: dict[Path, int] = {}
    for path in tree.modules.values():
        folders[path.parent] = folders.get(path.parent, 0) + (path.name != "__init__.py")
    return [
        f"{folder.name} holds {n} modules, more than {MOST_MODULES}"
        for folder, n in folders.items()
        if n > MOST_MODULES
    ]


CHECKS: tuple[Check, ...] = (
    unplaced,
    rings,
    upward,
    parents_below,
    between_sections,
    opening_files,
    knowing_snakemake,
    crowded,
)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_the_project_keeps_its_shape(check: Check) -> None:
    """Nothing is wrong with the pipeline's own tree."""
    wrong = check(Tree(PIPELINE))
    assert not wrong, "\n".join(wrong)


# ---------------------------------------------------------------- the checks can fail

ONE_FILE = {"errors", "shipped", "features", "workflow", "explain", "cli", "__main__"}
"""Rooms that are a single file at the top of the package."""
SOUND = {
    **{name if name in ONE_FILE else f"{name}/one": "" for _, names in LAYERS for name in names},
    "rock/draft": "from pipeline.rock.boulders import caps\n",
    "rock/boulders/caps": "import numpy\nfrom pipeline.lattice import one\n",
    "norm/symbols": "from pipeline.shipped import SYMBOLS\ntext = SYMBOLS.read_text()\n",
    "steps/area/rock": "from pipeline.files import one\nfrom pipeline.rock.draft import x\n",
    "workflow": "import snakemake.api\n",
}
"""A made-up package with every layer and nothing wrong: module -> source."""

FAULTS: dict[str, tuple[Check, dict[str, str], str]] = {
    "room in no layer": (unplaced, {"attic/one": ""}, "'attic' is in no layer"),
    "module in no layer": (unplaced, {"helpers": ""}, "'helpers' is in no layer"),
    "import of nothing": (unplaced, {"rock/draft": "import pipeline.rock.gone.gold\n"}, "does not exist"),
    "ring of two": (
        rings,
        {"points/two": "import pipeline.terrain.one\n", "terrain/two": "from pipeline.points import one\n"},
        "points, terrain",
    ),
    "ring through a third": (
        rings,
        {
            "rock/cliffs/a": "from pipeline.rock.ground import b\n",
            "rock/ground/b": "from ..boulders import caps\n",
            "rock/boulders/d": "from pipeline.rock.cliffs.a import x\n",
        },
        "rock/boulders, rock/cliffs, rock/ground",
    ),
    "upward, within a function": (
        upward,
        {"lattice/two": "def f():\n    import pipeline.rock.draft\n"},
        "below sections",
    ),
    "upward, for types only": (
        upward,
        {"terrain/two": "if TYPE_CHECKING:\n    from pipeline.sheet.one import Page\n"},
        "pipeline.sheet.one",
    ),
    "child imports its parent": (
        parents_below,
        {"rock/boulders/d": "from pipeline.rock import draft\n"},
        "stands inside",
    ),
    "section imports section": (
        between_sections,
        {"water/two": "from pipeline.rock.boulders.caps import x\n"},
        "water.two",
    ),
    "pure room imports files": (
        opening_files,
        {"terrain/two": "from pipeline.files.one import x\n"},
        "pipeline.files.one",
    ),
    "pure room opens a file": (opening_files, {"terrain/two": "open('here')\n"}, "by 'open'"),
    "pure room reads a path": (opening_files, {"rock/ground/two": "PATH.read_text()\n"}, "by 'read_text'"),
    "step knows snakemake": (knowing_snakemake, {"steps/area/two": "from snakemake import io\n"}, "steps.area.two"),
    "room too full": (crowded, {f"water/m{n}": "" for n in range(MOST_MODULES)}, "water holds 14 modules"),
}
"""What is wrong -> the check that must say so, the modules added to the sound package, and words of the complaint."""


def made_up(folder: Path, *sources: dict[str, str]) -> Tree:
    """A package named `pipeline` of some modules."""
    package = folder / "pipeline"
    for module, source in {k: v for part in sources for k, v in part.items()}.items():
        path = package / f"{module}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(source or "x = 1\n", encoding="utf-8")
    for inner in [package, *(path for path in package.rglob("*") if path.is_dir())]:
        (inner / "__init__.py").write_text('"""A room."""\n', encoding="utf-8")
    return Tree(package)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_a_sound_tree_passes(check: Check, tmp_path: Path) -> None:
    """Without a fault no check complains, so that a complaint below comes from the fault alone."""
    assert check(made_up(tmp_path, SOUND)) == []


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_found(fault: str, tmp_path: Path) -> None:
    """Every check sees the fault that it is there for."""
    check, added, words = FAULTS[fault]
    assert words in "\n".join(check(made_up(tmp_path, SOUND, added)))


def test_every_check_has_a_fault_to_find() -> None:
    """A check that is never seen to fail may be one that cannot."""
    assert {check for check, _, _ in FAULTS.values()} == set(CHECKS)


def test_no_leave_to_read_files_is_out_of_use() -> None:
    """Each module that may open a file by itself does so."""
    tree = Tree(PIPELINE)
    assert [module for module in READS_BY_ITSELF if not _openings(tree.modules[module])] == []
