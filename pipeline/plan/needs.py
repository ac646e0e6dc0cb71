"""What a run needs of the machine: memory of each job, and room on the disk at its peak.

These are estimates with room to spare, not a measurement of each step: a draft of 16.5 million returns on 1 km2 was
watched once, and no step that states a need held more than it (block 1.66 GiB, rock and vegetation 0.83 GiB, split and
survey 0.49 GiB). A sensor or a forest unlike that one may need more.
"""

from __future__ import annotations

from pipeline.returns.ground_cells import CELL_M, PATCH_M

START_MB = 250
"""Memory of a step that has imported what it needs and read nothing."""
SPLIT_MB_PER_MILLION = 330
"""Memory for a million returns of a tile that is being split, up to those of one piece."""
PIECE_MILLIONS = 2.0
"""Millions of returns of a tile that are in memory at once (`pipeline.files.las.tiles.PIECE_POINTS`)."""
LABEL_MB_PER_MILLION = 110
"""The same for a tile that is written back."""
BLOCK_MB_PER_MILLION = 330
"""Memory for a million returns of a block and its halo."""
SURVEY_MB = 1_500
"""Memory of the survey, which reads a sample of limited size."""
AREA_MB_PER_KM2 = 700
"""Memory of a step of the whole area for each square kilometre, at cells of 0.5 m."""

FIELD_M2 = 2e6
"""Ground of a field and its margin, which is also the most that is drawn in one field."""
BAND_MB = 700
"""Memory of a step that makes rasters of the area band by band."""

SPLIT_BYTES = 49
"""Bytes on disk of one return that is laid out for a block or its halo."""
BESIDE_BYTES = 2
"""Bytes of each return that are kept, in memory and on disk, so that a tile is written back without decoding it."""
CLASSIFIED_BYTES = 5
"""Bytes of one return of a classified block: its place in the tile and its class."""
KEPT_MB_PER_KM2 = 210
"""What is in `work/` beside the results at the end, for each square kilometre: a draft of 1 km2 with cells of 0.5 m and
16 returns per m2 left 85 MB, 74 MB of them grids of blocks, and had 40 MB of rasters of runnability there for a while;
the classes of blocks, which stay since, are reckoned at 80 MB. With less here, a run could be let go on a disk that it
then fills."""
BACKDROP_MB_PER_KM2 = 13
"""What a backdrop takes for each square kilometre at cells of 0.5 m, upright and turned, GeoTIFF and PNG (measured on
the sample: 0.9 MB on 0.09 km2 for a grey one, twice that for a green one)."""
RESULTS_MB_PER_KM2 = 150
"""Rasters, layers and sheets of a square kilometre, without the points."""


def split_mb(n_returns: float, /) -> int:
    """Memory that splitting a tile needs, MB."""
    in_pieces = SPLIT_MB_PER_MILLION * min(n_returns / 1e6, PIECE_MILLIONS)
    return round(START_MB + in_pieces + 2 * BESIDE_BYTES * n_returns / 1e6)


def label_mb(n_returns: float, /) -> int:
    """Memory that writing a tile back needs, MB: a byte a return for the classes, what is known, a piece at a time."""
    in_pieces = LABEL_MB_PER_MILLION * min(n_returns / 1e6, PIECE_MILLIONS)
    return round(START_MB + in_pieces + (1 + 2 * BESIDE_BYTES) * n_returns / 1e6)


def block_mb(n_returns: float, /) -> int:
    """Memory that a block with so many returns, halo included, needs, MB."""
    return round(START_MB + BLOCK_MB_PER_MILLION * n_returns / 1e6)


def decide_mb(returns_per_m2: float, /, *, ground_m2: float, halo_m: float) -> int:
    """Memory of the choice of the ground, MB: a patch with its halo, and 100 bytes a square of 10 m while joining."""
    n_returns = returns_per_m2 * (PATCH_M + 2 * halo_m) ** 2
    return round(START_MB + BLOCK_MB_PER_MILLION * n_returns / 1e6 + 100 * ground_m2 / CELL_M**2 / 1e6)


def area_mb(ground_m2: float, /) -> int:
    """Memory of a step that works on the whole area at once, MB."""
    return round(START_MB + AREA_MB_PER_KM2 * ground_m2 / 1e6)


def field_mb(ground_m2: float, /) -> int:
    """Memory of a step that draws a section of a field, MB."""
    return round(START_MB + AREA_MB_PER_KM2 * min(ground_m2, FIELD_M2) / 1e6)


def peak_disk_bytes(
    *, n_returns: float, halo_ratio: float, tile_bytes: float, ground_m2: float, n_backdrops: int = 0
) -> float:
    """Room that a run needs at its peak: all tiles laid out and classified, points and rasters written.

    Parameters
    ----------
    halo_ratio : returns laid out for each return of the survey, since halos overlap
    tile_bytes : size of the tiles; those written back are about as large
    """
    per_return = SPLIT_BYTES * halo_ratio + BESIDE_BYTES + CLASSIFIED_BYTES
    return (
        n_returns * per_return
        + tile_bytes
        + ground_m2 * (KEPT_MB_PER_KM2 + RESULTS_MB_PER_KM2 + n_backdrops * BACKDROP_MB_PER_KM2)
    )
