"""The rooms of the code and who imports whom, read from the source files without running them.

A room is a folder of modules, such as `landform/contours`. A module that lies at the top of the package, such as
`errors.py`, is a room of one file. The modules that lie beside sub-folders, such as `rock/draft.py` beside
`rock/boulders/`, are the room `rock`, which stands above the rooms inside it.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from tests.paths import PROJECT

PIPELINE = PROJECT / "pipeline"
LAYERS = (
    ("words", ("errors", "shipped", "features", "compiled", "remembered", "words")),
    ("tools", ("lattice", "outlines", "returns", "norm", "settings")),
    ("intake", ("intake",)),
    ("returns to grids", ("points", "terrain")),
    ("sections of the ISOM", ("landform", "rock", "water", "vegetation", "manmade")),
    ("other maps", ("borrowed",)),
    ("draft", ("draft",)),
    (
        "what people read, and new lidar over an earlier map",
        ("survey", "sheet", "fieldwork", "marks", "exports", "advice", "audit", "effort", "report", "refresh"),
    ),
    ("files", ("files",)),
    ("plan", ("plan",)),
    ("steps", ("steps",)),
    ("command", ("command", "knock", "ready", "workflow", "batch", "explain", "cli", "__main__")),
)
"""What stands on what, lowest first: a room imports rooms of its own layer and of those below, never above.

Only the layers are told here, by the first folder of a room. The order of rooms within a layer comes from their imports
(`depths`), which must have no ring (`cycles`).
"""
Layers = tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Import:
    """One import of a module of the package by another."""

    importer: str
    imported: str
    line: int

    def __str__(self) -> str:
        return f"{self.importer} line {self.line} imports {self.imported}"


@dataclass(frozen=True)
class Tree:
    """All modules of a package.

    Attributes
    ----------
    package : Path
        The folder of the package.
    """

    package: Path

    @cached_property
    def modules(self) -> dict[str, Path]:
        """Dotted name of each module and package -> its file."""
        found = {}
        for path in sorted(self.package.rglob("*.py")):
            parts = path.relative_to(self.package.parent).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
        return found

    def room_of(self, module: str) -> str:
        """The room of a module: `rock/boulders` for `pipeline.rock.boulders.caps`, `errors` for `pipeline.errors`."""
        parts = self.modules[module].relative_to(self.package).with_suffix("").parts
        return "/".join(parts[:-1]) or parts[0]

    @cached_property
    def rooms(self) -> dict[str, list[str]]:
        """Room -> its modules that hold code, by name. The package's own `__init__` is no room."""
        found: dict[str, list[str]] = {}
        for module in self.modules:
            if module != self.package.name and _has_code(self.modules[module]):
                found.setdefault(self.room_of(module), []).append(module)
        return dict(sorted(found.items()))

    @cached_property
    def imports(self) -> list[Import]:
        """Every import of a module of the package, wherever it stands in a file, in order of files and lines."""
        found = (
            Import(module, self._module_named(name), line)
            for module, path in self.modules.items()
            for name, line in _names_imported(module, path)
            if name.partition(".")[0] == self.package.name
        )
        return list(dict.fromkeys(found))

    @cached_property
    def unresolved(self) -> list[Import]:
        """Imports of the package that name no module of it."""
        return [found for found in self.imports if found.imported not in self.modules]

    def outside(self, name: str) -> set[str]:
        """Modules that import a library from outside the package."""
        return {
            module
            for module, path in self.modules.items()
            if any(found.partition(".")[0] == name for found, _ in _names_imported(module, path))
        }

    @cached_property
    def edges(self) -> dict[tuple[str, str], list[Import]]:
        """(importing room, imported room) -> the imports between them; a room's imports of itself are left out."""
        found: dict[tuple[str, str], list[Import]] = {}
        for one in self.imports:
            if one.imported not in self.modules or self.package.name in (one.importer, one.imported):
                continue
            pair = self.room_of(one.importer), self.room_of(one.imported)
            if pair[0] != pair[1]:
                found.setdefault(pair, []).append(one)
        return dict(sorted(found.items()))

    def _module_named(self, name: str) -> str:
        """The module that an imported name lies in: the name itself, or what is left without its last part."""
        parent = name.rpartition(".")[0]
        return name if name in self.modules or parent not in self.modules else parent


def _has_code(path: Path) -> bool:
    """Whether a file is more than an `__init__.py` with a docstring."""
    return path.name != "__init__.py" or len(ast.parse(path.read_text(encoding="utf-8")).body) > 1


def _names_imported(module: str, path: Path) -> list[tuple[str, int]]:
    """Dotted names that a file imports, with their lines. `from a.b import c` is read as `a.b.c`."""
    found: list[tuple[str, int]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            start = ".".join(part for part in (_from_where(module, path, node.level), node.module) if part)
            found += [(f"{start}.{alias.name}", node.lineno) for alias in node.names]
    return sorted(found, key=lambda one: one[1])


def _from_where(module: str, path: Path, dots: int) -> str:
    """The package that the dots of a relative import stand for; nothing for none."""
    parts = module.split(".") + (["__init__"] if path.name == "__init__.py" else [])
    return ".".join(parts[:-dots]) if dots else ""


def layer_of(room: str, /, layers: Layers = LAYERS) -> int | None:
    """Number of the layer of a room, 0 the lowest; None where no layer names it or the folder it lies in."""
    top = room.partition("/")[0]
    return next((number for number, (_, names) in enumerate(layers) if top in names), None)


def cycles(tree: Tree, /) -> list[list[str]]:
    """Groups of rooms that import each other in a ring: the strongly connected parts of the graph, largest first."""
    reached = {room: _reach(tree, room) for room in tree.rooms}
    groups = {
        frozenset(other for other in reached[room] if room in reached.get(other, ()))
        for room in tree.rooms
        if room in reached[room]
    }
    return sorted((sorted(group) for group in groups), key=lambda group: (-len(group), group))


def _reach(tree: Tree, room: str) -> set[str]:
    """Rooms that a room imports, directly or through others; itself only where a ring leads back."""
    found: set[str] = set()
    waiting = [room]
    while waiting:
        at = waiting.pop()
        following = {imported for importer, imported in tree.edges if importer == at} - found
        found |= following
        waiting += following
    return found


def depths(tree: Tree, /) -> dict[str, int]:
    """How many storeys of rooms stand below each room, 0 for those that import none; rooms of a ring share a storey."""
    ring_of = {room: tuple(ring) for ring in cycles(tree) for room in ring}
    found: dict[tuple[str, ...], int] = {}

    def depth(ring: tuple[str, ...]) -> int:
        if ring not in found:
            below = {ring_of.get(b, (b,)) for a, b in tree.edges if a in ring} - {ring}
            found[ring] = 1 + max((depth(other) for other in below), default=-1)
        return found[ring]

    return {room: depth(ring_of.get(room, (room,))) for room in tree.rooms}


def text_of(tree: Tree, /) -> str:
    """The graph as text, lowest rooms first: each room, how many modules it has, and the rooms it imports."""
    order = depths(tree)
    lines = []
    for room in sorted(tree.rooms, key=lambda room: (layer_of(room) or 0, order[room], room)):
        below = sorted(imported for importer, imported in tree.edges if importer == room)
        lines.append(f"{room} ({len(tree.rooms[room])}): {', '.join(below) or '-'}")
    return "\n".join(lines) + "\n"
