"""A fingerprint of the code behind a step, so that Snakemake runs it again when the code changes and only then."""

from __future__ import annotations

import ast
import functools
import hashlib
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline import shipped
from pipeline.remembered import Remembered

SHIPPED = f"{shipped.PACKAGE.name}.shipped"
"""The module that names the files that ship with the code: who imports a name from it depends on that file."""


def fingerprint(module: str, /) -> str:
    """Twelve characters that change with the code of this module, of all it imports, and of the tables they read.

    Comments and docstrings do not count: rewording one should not compute a region again.
    """
    digest = hashlib.sha256()
    for path in sorted(closure(module)):
        digest.update(_name_of(path).encode())
        digest.update(_meaning(path))
    return digest.hexdigest()[:12]


def closure(module: str, /) -> frozenset[Path]:
    """Files of a module, of every module of the pipeline it imports, directly or not, and of the tables they read."""
    found: set[Path] = set()
    waiting = [module]
    while waiting:
        path = _file_of(waiting.pop())
        if path is None or path in found:
            continue
        found.add(path)
        names, tables = _imports(path)
        waiting += names
        found |= tables
    return frozenset(found)


def _name_of(path: Path) -> str:
    """A name of a file that is the same in a clone and where Tussock is installed."""
    return path.relative_to(path.parents[1] if path.parent == shipped.CONFIG else shipped.PACKAGE.parent).as_posix()


@functools.cache
def _file_of(module: str) -> Path | None:
    """The file of a module or package of the pipeline; None for names that are neither."""
    if module.partition(".")[0] != shipped.PACKAGE.name:
        return None
    base = shipped.PACKAGE.parent.joinpath(*module.split("."))
    for path in (base.with_suffix(".py"), base / "__init__.py"):
        if path.exists():
            return path
    return None


def _imports(path: Path) -> tuple[tuple[str, ...], frozenset[Path]]:
    """Modules that a file imports, wherever in it, with the packages above them, and shipped files it names."""
    return (_read(path).names, _read(path).tables) if path.suffix == ".py" else ((), frozenset())


def _meaning(path: Path) -> bytes:
    """What of a file counts: the syntax of a module without its docstrings, the bytes of a table."""
    return _read(path).meaning if path.suffix == ".py" else path.read_bytes()


@dataclass(frozen=True)
class _Module:
    """What a module imports and means; kept in place of its syntax tree, which takes fifty times the room."""

    names: tuple[str, ...]
    shipped: tuple[str, ...]
    """What it takes from `pipeline.shipped`."""
    meaning: bytes

    @property
    def tables(self) -> frozenset[Path]:
        """The files that ship with the code which it names."""
        return frozenset(file for name in self.shipped for file in _files_of(getattr(shipped, name)))

    def to_bytes(self) -> bytes:
        """The module as it is kept from run to run."""
        return json.dumps([self.names, self.shipped, self.meaning.hex()]).encode()

    @classmethod
    def from_bytes(cls, value: bytes, /) -> _Module:
        """The module that `to_bytes` wrote."""
        names, taken, meaning = json.loads(value)
        return cls(tuple(names), tuple(taken), bytes.fromhex(meaning))


_KNOWN: dict[Path, _Module] = {}
"""Modules of the package that `read_package` has read in this process."""


def read_package(remembered: Remembered, /) -> None:
    """Read all modules of the package: one whose text an earlier run has read is not parsed again.

    Parsing all of them takes a second, and a run waits for that before its first step.
    """
    paths = sorted(path for path in shipped.PACKAGE.rglob("*.py") if path not in _KNOWN)
    sources = [path.read_bytes() for path in paths]
    found = remembered("module", sources, lambda numbers: [_parsed(sources[number]).to_bytes() for number in numbers])
    _KNOWN.update(zip(paths, map(_Module.from_bytes, found), strict=True))


def how_read() -> str:
    """A mark of how modules are read: what was kept under another one is not used."""
    return f"{sys.version} {hashlib.sha256(Path(__file__).read_bytes()).hexdigest()}"


@functools.cache
def _read(path: Path) -> _Module:
    """A module, parsed at most once in a process."""
    return _KNOWN.get(path) or _parsed(path.read_bytes())


def _parsed(source: bytes) -> _Module:
    tree = ast.parse(source)
    names: set[str] = set()
    taken: set[str] = set()
    for node in _statements(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
            if node.module == SHIPPED:
                taken |= {alias.name for alias in node.names}
        elif isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            # Docstrings, and the sentences below constants.
            node.body = [part for part in node.body if not _is_text(part)] or [ast.Pass()]
    parents = {name.rpartition(".")[0] for name in names}
    meaning = hashlib.sha256(ast.dump(tree).encode()).digest()
    return _Module(tuple(sorted((names | parents) - {""})), tuple(sorted(taken)), meaning)


def _files_of(shipped_as: object) -> list[Path]:
    """The file that a name of `pipeline.shipped` stands for, or all files of a folder that is read whole."""
    if shipped_as in shipped.READ_WHOLE:
        return sorted(shipped_as.iterdir())
    return [shipped_as] if isinstance(shipped_as, Path) and shipped_as.is_file() else []


def _statements(tree: ast.Module) -> Iterator[ast.AST]:
    """The module and every statement in it, however deep; what stands in an expression is no statement."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        yield node
        for field in ("body", "orelse", "finalbody", "handlers", "cases"):
            inner = getattr(node, field, [])
            waiting += inner if isinstance(inner, list) else []


def _is_text(part: ast.stmt) -> bool:
    return isinstance(part, ast.Expr) and isinstance(part.value, ast.Constant) and isinstance(part.value.value, str)
