"""Loops over single returns and cells, compiled to machine code where arrays as a whole are too slow."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numba

Given = ParamSpec("Given")
Made = TypeVar("Made")


def compiled(loop: Callable[Given, Made], /) -> Callable[Given, Made]:
    """The function compiled by Numba when it is first called; it may use arrays, numbers and loops only.

    What was compiled is kept for later runs: beside the module, or where that cannot be written to in the user's cache
    folder (`NUMBA_CACHE_DIR` names another). Where neither can be written to, it is compiled in every process.
    Arithmetic is that of NumPy, in the order written: no sum is rearranged.
    """
    try:
        made = numba.njit(cache=True, error_model="numpy")(loop)
    except RuntimeError:  # no folder for the cache
        made = numba.njit(error_model="numpy")(loop)
    return cast("Callable[Given, Made]", made)
