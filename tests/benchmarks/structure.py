"""How the code is built, counted: rooms, settings, lines that stand twice, lengths of functions.

`make figures ONLY=structure` counts the tree as it is and the tree as it was at the commit `BEFORE`.
"""

from __future__ import annotations

import ast
import io
import keyword
import statistics
import subprocess
import tarfile
import tempfile
import tokenize
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.results import Table
from tests.paths import PROJECT
from tests.rooms import PIPELINE, Tree, cycles

BEFORE = "21d3181"
"""Commit that the counts are held against: the last before the code was divided into rooms."""
RUN_LINES = 6
"""Lines of code that must stand twice in a row before they count."""
RUN_SHAPES = 4
"""Lines of a run that must differ in shape: six parameters below each other are alike in every function."""
LAS_WORDS = ("las", "laz", "geotiff")
"""Modules of `pipeline/files/` that have one of these in their path are the reading of LAS."""


def structure() -> list[Table]:
    """The counts, before and now, and the rooms as they are."""
    now = Tree(PIPELINE)
    with tempfile.TemporaryDirectory() as scratch:
        before = Tree(_tree_of(BEFORE, Path(scratch)))
        counts = [("before", counts_of(before)), ("now", counts_of(now))]
    rows = [[name, *(str(count[name]) for _, count in counts)] for name in counts[-1][1]]
    rooms = [
        [room, str(len(modules)), str(sum(_n_lines(now.modules[module]) for module in modules))]
        for room, modules in now.rooms.items()
    ]
    return [
        Table("Before and now", ["count", f"before ({BEFORE})", "now"], rows),
        Table("Rooms now", ["room", "modules", "lines"], rooms),
    ]


def counts_of(tree: Tree, /) -> dict[str, int | str]:
    """What is counted of one tree, by name."""
    files = list(tree.modules.values())
    lengths = function_lengths(files)
    bodies = [length.lines for length in lengths]
    longest = max(lengths, key=lambda length: length.lines)
    las = [path for path in files if _reads_las(path.relative_to(tree.package).as_posix())]
    largest = max(tree.rooms, key=lambda room: len(tree.rooms[room]))
    code = [path for path in files if path.parent.name != "settings"]
    same, alike = repeated(code, shapes_only=False), repeated(code, shapes_only=True)
    return {
        "rooms": len(tree.rooms),
        "modules": sum(len(modules) for modules in tree.rooms.values()),
        "modules in the largest room": f"{len(tree.rooms[largest])} ({largest})",
        "rings of rooms": len(cycles(tree)),
        "lines": sum(map(_n_lines, files)),
        "settings": n_settings(files),
        "lines of LAS reading": sum(map(_n_lines, las)),
        f"runs of {RUN_LINES} lines or more that stand again, word for word": f"{same[0]} ({same[1]} lines)",
        f"runs of {RUN_LINES} lines or more that stand again, but for names": f"{alike[0]} ({alike[1]} lines)",
        "functions": len(lengths),
        "lines of a function's body, median": f"{statistics.median(bodies):g}",
        "lines of a function's body, 90 % within": f"{statistics.quantiles(bodies, n=10, method='inclusive')[-1]:g}",
        "longest body": f"{longest.lines} ({longest.name})",
    }


def _tree_of(commit: str, folder: Path) -> Path:
    """The pipeline as it was at a commit, unpacked into a folder."""
    packed = subprocess.run(
        ["git", "archive", commit, "pipeline"], cwd=PROJECT, capture_output=True, check=False, timeout=60
    )
    if packed.returncode:
        raise SystemExit(f"commit {commit} is not in this clone: fetch the whole history first")
    with tarfile.open(fileobj=io.BytesIO(packed.stdout)) as archive:
        archive.extractall(folder, filter="data")
    return folder / "pipeline"


def _reads_las(path: str) -> bool:
    """Whether a module, named from the package on, is of the reading of LAS."""
    return path.startswith("files/") and any(word in path for word in LAS_WORDS)


def _n_lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


# ---------------------------------------------------------------- settings


def n_settings(files: list[Path], /) -> int:
    """Values that an area file can set under `expert:`: the described fields of the sections of the settings."""
    n = 0
    for path in (path for path in files if path.parent.name == "settings" and path.stem != "area"):
        classes = [
            node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.ClassDef)
        ]
        n += sum(_is_described(part) for one in classes for part in one.body)
    return n


def _is_described(part: ast.stmt) -> bool:
    """Whether a statement of a class is `name: type = Field(..., description=...)`."""
    value = part.value if isinstance(part, ast.AnnAssign) else None
    return isinstance(value, ast.Call) and any(word.arg == "description" for word in value.keywords)


# ---------------------------------------------------------------- lengths of functions


@dataclass(frozen=True)
class Length:
    """A function and the lines of its body, docstring not counted."""

    name: str
    lines: int


def function_lengths(files: list[Path], /) -> list[Length]:
    """Every function and method of some files; one inside another counts for itself and within the other."""
    found = []
    for path in files:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                skipped = ast.get_docstring(node) is not None and len(node.body) > 1
                first = node.body[1 if skipped else 0].lineno
                found.append(Length(f"{path.stem}.{node.name}", (node.end_lineno or first) - first + 1))
    return found


# ---------------------------------------------------------------- lines that stand twice


def repeated(files: list[Path], /, *, shapes_only: bool) -> tuple[int, int]:
    """Runs of code that stand again elsewhere, and the lines in them.

    Blank lines, comments, docstrings and imports are no code. A run is as long as it goes on, so that twelve lines that
    stand twice are two runs (one in each place) of twelve lines.

    Parameters
    ----------
    shapes_only : bool
        Whether lines are alike when only names, numbers and texts in them differ.
    """
    places = defaultdict(list)
    codes = [code_lines(path, shapes_only=shapes_only) for path in files]
    shapes = codes if shapes_only else [code_lines(path, shapes_only=True) for path in files]
    for number, (code, shape) in enumerate(zip(codes, shapes, strict=True)):
        for start in range(len(code) - RUN_LINES + 1):
            if len(set(shape[start : start + RUN_LINES])) >= RUN_SHAPES:
                places["\n".join(code[start : start + RUN_LINES])].append((number, start))
    covered = set()
    for found in places.values():
        # Windows of one file that overlap are one place: `a b a b a b a` does not stand twice.
        apart = [
            at
            for k, at in enumerate(found)
            if k == 0 or at[0] != found[k - 1][0] or at[1] - found[k - 1][1] >= RUN_LINES
        ]
        if len(apart) > 1:
            covered |= {(number, start + k) for number, start in found for k in range(RUN_LINES)}
    runs = sum((number, line - 1) not in covered for number, line in covered)
    return runs, len(covered)


def code_lines(path: Path, /, *, shapes_only: bool) -> list[str]:
    """The lines of code of a file, each as its words with one space between; with shapes, N for a name, 0, and S."""
    text = path.read_text(encoding="utf-8")
    skipped = _lines_without_code(ast.parse(text))
    lines: dict[int, list[str]] = defaultdict(list)
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.string.strip() and token.type != tokenize.COMMENT and token.start[0] not in skipped:
            lines[token.start[0]].append(_shape(token) if shapes_only else token.string)
    return [" ".join(lines[line]) for line in sorted(lines)]


def _shape(token: tokenize.TokenInfo) -> str:
    if token.type == tokenize.NAME and not keyword.iskeyword(token.string):
        return "N"
    return {tokenize.NUMBER: "0", tokenize.STRING: "S"}.get(token.type, token.string)


def _lines_without_code(tree: ast.Module) -> set[int]:
    """Lines of bare texts (docstrings, sentences below constants) and of imports."""
    found: set[int] = set()
    for node in ast.walk(tree):
        is_text = (
            isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
        )
        if is_text or isinstance(node, ast.Import | ast.ImportFrom):
            found |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return found
