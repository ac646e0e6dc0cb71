"""Reading the symbol table."""

from __future__ import annotations

from pathlib import Path

from pipeline.draft.symbols import SymbolTable, symbol_table
from pipeline.errors import SettingsError


def read_symbols(path: Path, /) -> SymbolTable:
    """The symbol table of a file such as `config/symbols.csv`.

    Raises
    ------
    SettingsError
        If the file is missing or does not fit.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read as a symbol table: {error}") from error
    try:
        return symbol_table(text)
    except SettingsError as error:
        raise SettingsError(f"{path}: {error}") from error
