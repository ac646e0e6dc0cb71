"""Loops over single returns and cells, compiled to machine code where arrays as a whole are too slow."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Generic, ParamSpec, TypeVar, cast

Given = ParamSpec("Given")
Made = TypeVar("Made")


def compiled(loop: Callable[Given, Made], /) -> Callable[Given, Made]:
    """The function compiled by Numba when it is first called; it may use arrays, numbers and loops only.

    What was compiled is kept for later runs: beside the module, or where that cannot be written to in the user's cache
    folder (`NUMBA_CACHE_DIR` names another). Where neither can be written to, it is compiled in every process.
    Arithmetic is that of NumPy, in the order written: no sum is rearranged.
    """
    return _Loop(loop)


def begin_compiling() -> None:
    """Have Numba read its tables, which takes 0.17 s and else happens at the first call of any compiled loop.

    A process whose copies call such loops spares each of them that time by doing this first.
    """
    _next(0)


class _Loop(Generic[Given, Made]):
    """A loop that Numba is imported for when it is first called.

    Numba takes a quarter of a second to import, and many a step imports a module with loops and calls none of them.
    """

    def __init__(self, loop: Callable[Given, Made]) -> None:
        self._loop = loop

    def __call__(self, *args: Given.args, **kwargs: Given.kwargs) -> Made:
        return self._made(*args, **kwargs)

    @cached_property
    def _made(self) -> Callable[Given, Made]:
        import numba

        try:
            made = numba.njit(cache=True, error_model="numpy")(self._loop)
        except RuntimeError:  # no folder for the cache
            made = numba.njit(error_model="numpy")(self._loop)
        return cast("Callable[Given, Made]", made)

    @property
    def _numba_type_(self) -> object:
        """What Numba takes the loop for where another compiled loop calls it: for the loop that it made itself."""
        return self._made._numba_type_  # type: ignore[attr-defined]


@compiled
def _next(number: int) -> int:
    """The next whole number: the smallest loop there is."""
    return number + 1
