"""Where the tests find the project's own files and the measuring data."""

import os
from pathlib import Path

import pytest

from pipeline.norm.symbols import SymbolTable, norm_table

PROJECT = Path(__file__).parent.parent


def symbols() -> SymbolTable:
    """The project's symbol table."""
    return norm_table()


def measuring_data(name: str) -> Path:
    """A folder of the measuring data, which TUSSOCK_DATA names; the test is skipped without."""
    folder = Path(os.environ.get("TUSSOCK_DATA", "")) / name
    if not os.environ.get("TUSSOCK_DATA") or not folder.exists():
        pytest.skip(f"measuring data '{name}' not found: set TUSSOCK_DATA to the folder that holds it")
    return folder
