"""Tables of a run as they are: CSV with a head line, UTF-8."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.errors import InputError


def read_table(path: Path, /) -> pd.DataFrame:
    """All columns of a table; without rows where the file is missing or empty. Numbers stay text where one is none.

    Raises
    ------
    InputError
        If the file is no table.
    """
    if not path.exists() or not path.stat().st_size:
        return pd.DataFrame()
    try:
        return pd.read_csv(path, keep_default_na=False, na_values=[""], dtype={"name": str, "symbol": str, "id": str})
    except (ValueError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as a table ({error}); let the draft write it anew") from error
