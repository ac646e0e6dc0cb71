"""What holds for all tests."""

from hypothesis import settings

# A loaded machine is slow, which says nothing about the code: time is measured in `tests/benchmarks`.
settings.register_profile("tussock", deadline=None)
settings.load_profile("tussock")
