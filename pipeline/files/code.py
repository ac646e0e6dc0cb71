"""A fingerprint of the code behind a step, so that Snakemake runs it again when the code changes and only then."""

from __future__ import annotations

import ast
import hashlib
from pathlib import Path

PACKAGE = Path(__file__).parent.parent


def fingerprint(*places: str) -> str:
    """Twelve characters that change with the code of these modules or packages (`points`, `steps/block.py`).

    Comments and docstrings do not count: rewording one should not compute a region again.
    """
    digest = hashlib.sha256()
    for place in sorted(places):
        target = PACKAGE / place
        modules = sorted(target.rglob("*.py")) if target.is_dir() else [target]
        for module in modules:
            digest.update(ast.dump(_without_docstrings(ast.parse(module.read_text(encoding="utf-8")))).encode())
    return digest.hexdigest()[:12]


def _without_docstrings(tree: ast.Module) -> ast.Module:
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                node.body = node.body[1:] or [ast.Pass()]
    return tree
