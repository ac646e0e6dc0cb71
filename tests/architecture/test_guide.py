"""What the contributor's guide names is there: files, folders, functions, targets of make."""

import ast
import re
from pathlib import Path

import pytest

from tests.paths import PROJECT
from tests.rooms import LAYERS, PIPELINE, Tree, layer_of

GUIDE = PROJECT / "DEVELOPERS.md"
TO_BE_MADE = {"pipeline/manmade/fences.py", "tests/manmade/test_fences.py"}
"""Files that the guide tells its reader to make."""
FOLDERS = ("pipeline", "tests", "config", "docs", "sample_tiles")
ENDINGS = {"py", "md", "smk", "csv", "json", "gpkg", "npz", "tif", "png", "pdf", "yaml", "lock", "toml"}


def in_backticks(text: str) -> list[str]:
    """Everything that the text sets as code in a line."""
    return re.findall(r"`([^`\n]+)`", text)


def absent_paths(text: str) -> list[str]:
    """Files and folders of the project that the text names and that are not there."""
    named = {word for word in in_backticks(text) if re.fullmatch(rf"({'|'.join(FOLDERS)})/[\w./]*", word)}
    made_by_a_run = {word for word in named if word.startswith("sample_tiles/out")}
    return sorted(word for word in named - made_by_a_run - TO_BE_MADE if not (PROJECT / word).exists())


def absent_names(text: str, tree: Tree) -> list[str]:
    """Functions, classes and modules that the text names as `room.module.name` and that are not there."""
    rooms = {room.partition("/")[0] for room in tree.rooms}
    dotted = {word.removeprefix("pipeline.") for word in in_backticks(text) if re.fullmatch(r"\w+(\.\w+)+", word)}
    named = {word for word in dotted if word.partition(".")[0] in rooms and word.rpartition(".")[2] not in ENDINGS}
    return sorted(word for word in named if not _is_there(f"pipeline.{word}", tree))


def _is_there(name: str, tree: Tree) -> bool:
    module, _, last = name.rpartition(".")
    return name in tree.modules or (module in tree.modules and last in _defined(tree.modules[module]))


def _defined(path: Path) -> set[str]:
    """Functions and classes at the top of a file."""
    body = ast.parse(path.read_text(encoding="utf-8")).body
    return {node.name for node in body if isinstance(node, ast.FunctionDef | ast.ClassDef)}


def absent_targets(text: str) -> list[str]:
    """Targets of make that the text names and the Makefile has not."""
    known = set(re.findall(r"^([\w-]+):", (PROJECT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    named = {word.split()[1] for word in in_backticks(text) if re.match(r"make \w", word)}
    return sorted(named - known)


def test_paths_functions_and_targets_of_the_guide_are_there() -> None:
    """A contributor who follows the guide finds what it names."""
    text = GUIDE.read_text(encoding="utf-8")
    assert absent_paths(text) == []
    assert absent_names(text, Tree(PIPELINE)) == []
    assert absent_targets(text) == []


def test_every_room_is_in_the_guide() -> None:
    """The table of rooms leaves none out."""
    text = GUIDE.read_text(encoding="utf-8")
    tops = {room.partition("/")[0] for room in Tree(PIPELINE).rooms} - {"explain"}
    named = " ".join(in_backticks(text))
    assert [top for top in sorted(tops) if not re.search(rf"\b{top}(/|\.py)", named)] == []


def layers_in_order(text: str) -> list[int]:
    """Numbers of the layers of the rooms, as the table of rooms names them from top to bottom."""
    cells = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `pipeline/")]
    tops = [Path(word).stem for cell in cells for word in in_backticks(cell)]
    return [number for number in map(layer_of, tops) if number is not None]


def test_the_table_of_rooms_is_in_the_order_of_imports() -> None:
    """A room may import what stands above it in the table: the table runs through the layers without going back."""
    found = layers_in_order(GUIDE.read_text(encoding="utf-8"))
    assert len(set(found)) == len(LAYERS)
    assert found == sorted(found)


def test_a_table_in_another_order_is_told() -> None:
    """Files do not stand before the lattice."""
    found = layers_in_order("| `pipeline/files/` | x |\n| `pipeline/lattice/` | y |\n")
    assert found != sorted(found)


@pytest.mark.parametrize(
    ("text", "path", "name", "target"),
    [
        ("see `pipeline/attic/`", ["pipeline/attic/"], [], []),
        ("see `rock.draft.draft_gold`", [], ["rock.draft.draft_gold"], []),
        ("see `rock.gold.find`", [], ["rock.gold.find"], []),
        ("run `make gold ONLY=1`", [], [], ["gold"]),
        ("`draft.gpkg`, `pipeline/rock/`, `rock.draft.draft_rock`, `make test`", [], [], []),
    ],
)
def test_what_is_not_there_is_found(text: str, path: list[str], name: list[str], target: list[str]) -> None:
    """The checks can fail, and do not take a file for a function."""
    assert (absent_paths(text), absent_names(text, Tree(PIPELINE)), absent_targets(text)) == (path, name, target)
