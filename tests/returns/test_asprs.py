"""Class numbers."""

from pipeline.returns import asprs
from sample_tiles.scene import pulses


def test_numbers_are_those_of_the_scene_maker() -> None:
    """The maker of test scenes, which shares no code with the pipeline, writes the same numbers for the same things."""
    ours = (asprs.GROUND, *asprs.VEGETATION, *asprs.NOISE, asprs.WATER, asprs.WIRE)
    theirs = (pulses.GROUND, pulses.GRASS, pulses.UNDERGROWTH, pulses.CROWN, pulses.LOW_NOISE, pulses.HIGH_NOISE)
    assert ours == (*theirs, pulses.WATER, pulses.WIRE)


def test_each_number_has_one_name() -> None:
    """0 to 20, each once."""
    numbers = [value for value in vars(asprs).values() if isinstance(value, int)]
    assert sorted(numbers) == list(range(21))
