"""How well the survey saw the ground, square by square."""

from __future__ import annotations

import numpy as np
from affine import Affine

from pipeline.lattice.grid import Heights
from pipeline.report.looks import Json
from pipeline.report.pictures import Classes, Raster, legend_of, turned
from pipeline.report.place import Place

SQUARE_M = 20.0
"""Side of the squares that are told by number: a few times the error of a phone's GPS in forest (our choice)."""
UNKNOWN = -1
SUPPORT: Classes = (
    (0.5, (26, 122, 87)),
    (1.0, (128, 186, 110)),
    (2.0, (240, 214, 110)),
    (4.0, (226, 133, 62)),
    (np.inf, (168, 40, 60)),
)
"""Distance to the nearest ground return, metres, and its colour. A feature is found if several returns lie on it, so
half a metre shows a boulder, two metres a knoll, four metres no more than a hill (our choice)."""
SUPPORT_WORDS = (
    "up to 0.5 m: boulders can show",
    "up to 1 m: small landforms can show",
    "up to 2 m: knolls and gullies can show",
    "up to 4 m: hills and valleys only",
    "farther: the ground is guessed",
)


def quality_of(support: Raster, place: Place, /) -> dict[str, Json]:
    """The data block `quality`: squares by number, shares by class, and the legend of the classes."""
    return {
        "squares": squares_of_support(*support, place),
        "shares": shares_of_support(support[0]),
        "legend": legend_of(SUPPORT, SUPPORT_WORDS),
    }


def squares_of_support(support: Heights, transform: Affine, place: Place, /) -> dict[str, Json]:
    """Mean distance to the nearest ground return in squares along the page's axes, rows from the top.

    Returns
    -------
    `side_m`, `cols`, `decimetres` : one whole number a square, `UNKNOWN` outside the survey
    """
    # Averaged first to pixels of a fifth of the square: the warping looks at few cells only where it makes large ones.
    pixel_m = SQUARE_M / 5
    fine = turned(support, transform, place, pixel_m=pixel_m)
    rows, cols = -(-fine.shape[0] // 5), -(-fine.shape[1] // 5)
    padded = np.full((rows * 5, cols * 5), np.nan, np.float32)
    padded[: fine.shape[0], : fine.shape[1]] = fine
    pieces = padded.reshape(rows, 5, cols, 5)
    known = np.isfinite(pieces).sum(axis=(1, 3))
    sums = np.nansum(pieces, axis=(1, 3))
    means = np.where(known > 0, np.rint(10 * sums / np.maximum(known, 1)), UNKNOWN).astype(int)
    return {"side_m": SQUARE_M, "cols": cols, "decimetres": means.ravel().tolist()}


def shares_of_support(support: Heights, /) -> list[Json]:
    """Share of the ground in each class of `SUPPORT`, in percent of what the survey covers."""
    known = support[np.isfinite(support)]
    bounds = [bound for bound, _ in SUPPORT[:-1]]
    counts = np.bincount(np.searchsorted(bounds, known, side="right"), minlength=len(SUPPORT))
    return [round(100 * float(count) / max(1, known.size), 1) for count in counts]
