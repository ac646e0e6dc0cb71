"""What holds for all tests."""

from collections import Counter

import pytest
from hypothesis import settings

# A loaded machine is slow, which says nothing about the code: time is measured in `tests/benchmarks`.
settings.register_profile("tussock", deadline=None)
settings.load_profile("tussock")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files with most slow tests first.

    `make test` hands whole files out to as many processes as there are cores: a long file that is begun last would
    leave the other processes with nothing to do.
    """
    n_slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
    items.sort(key=lambda item: -n_slow[item.path])
