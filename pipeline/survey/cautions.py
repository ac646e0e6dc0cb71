"""What a mapper should know before trusting a draft, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.intake.tile_header import TileHeader
from pipeline.survey.measure import Flight
from pipeline.survey.sample.sample import Sample

LARGE_OFFSET_M = 0.1
"""Flight lines that differ by more in height are cautioned: the USGS Lidar Base Specification allows 0.08 m between
swaths (from memory)."""
_WORTH_SAYING_SHARE = 0.01  # of the points: oddities of fewer are not mentioned (our choice)


def cautions_of(headers: Sequence[TileHeader], samples: Sequence[Sample], flight: Flight, /) -> tuple[str, ...]:
    """Cautions in words, from the headers of the tiles, what was read of them, and how they were flown."""
    return (
        *_of_heights(headers),
        *_of_returns(headers, samples),
        *_of_points(samples),
        *_of_flight_lines(flight),
    )


def _of_heights(headers: Sequence[TileHeader]) -> Iterator[str]:
    systems = sorted({header.crs.height_name for header in headers if header.crs.height_name})
    if len(systems) > 1:
        yield f"tiles give heights in different systems ({'; '.join(systems)}): look for steps between them"


def _of_returns(headers: Sequence[TileHeader], samples: Sequence[Sample]) -> Iterator[str]:
    if any(header.has_synthetic_returns for header in headers):
        yield "the return numbers were made up by software"
    senseless = [header for header in headers if header.lone_number]
    for header in senseless:
        yield (
            f"{header.path.name}: every return is numbered {header.lone_number}, which cannot be; "
            "the numbers are not used, and each return counts as a pulse"
        )
    numbered = [sample for sample in samples if sample.most_number > 1]
    if numbered and max(sample.most_of_first for sample in numbered) <= 1:
        yield "the returns are numbered, but their total is not given: last returns cannot be told"
    if not numbered and len(senseless) < len(headers):
        yield "there is one return a pulse, or the returns are not numbered"


def _of_points(samples: Sequence[Sample]) -> Iterator[str]:
    n_read, n_usable = sum(sample.n_read for sample in samples), sum(sample.n_usable for sample in samples)
    n_overlap = sum(sample.n_overlap for sample in samples)
    if n_usable < n_read * (1 - _WORTH_SAYING_SHARE):
        share = f"{1 - n_usable / n_read:.0%}"
        yield f"{share} of the points are withheld, synthetic, repeated or noise: they decide nothing"
    if n_overlap > n_usable * _WORTH_SAYING_SHARE:
        yield f"{n_overlap / n_usable:.0%} of the points are marked as overlap of flight lines; they are used"


def _of_flight_lines(flight: Flight) -> Iterator[str]:
    worst = flight.worst_offset
    if worst is not None and abs(worst.offset_m) >= LARGE_OFFSET_M:
        lines = f"flight lines {worst.first} and {worst.second} differ by {abs(worst.offset_m):.2f} m in height"
        yield f"{lines}: low banks and small knolls along their edges may be made by that"
