"""A fingerprint of the code behind a step, so that Snakemake runs it again when the code changes and only then."""

from __future__ import annotations

import ast
import functools
import hashlib
from pathlib import Path

from pipeline import shipped

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


@functools.cache
def _imports(path: Path) -> tuple[tuple[str, ...], frozenset[Path]]:
    """Modules that a file imports, wherever in it, with the packages above them, and shipped files it names."""
    names: set[str] = set()
    tables: set[Path] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
            if node.module == SHIPPED:
                named = (getattr(shipped, alias.name) for alias in node.names)
                tables |= {file for file in named if isinstance(file, Path) and file.is_file()}
    parents = {name.rpartition(".")[0] for name in names}
    return tuple(sorted((names | parents) - {""})), frozenset(tables)


@functools.cache
def _meaning(path: Path) -> bytes:
    """What of a file counts: the syntax of a module without its docstrings, the bytes of a table."""
    if path.suffix != ".py":
        return path.read_bytes()
    return ast.dump(_without_docstrings(ast.parse(path.read_text(encoding="utf-8")))).encode()


def _without_docstrings(tree: ast.Module) -> ast.Module:
    """The module without any bare string: docstrings, and the sentences below constants."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            kept = [part for part in node.body if not _is_text(part)]
            node.body = kept or [ast.Pass()]
    return tree


def _is_text(part: ast.stmt) -> bool:
    return isinstance(part, ast.Expr) and isinstance(part.value, ast.Constant) and isinstance(part.value.value, str)
