"""One input tile written back, every return in its place, with its class."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.las import tiles as las
from pipeline.files.las.class_layer import Beside
from pipeline.files.written_points import record_written
from pipeline.returns.asprs import UNCLASSIFIED


def label(*, tile: Path, classified: list[Path], beside: Path, out: Path, record: Path) -> None:
    """Write one tile back: every return in its place, all fields kept, with its class; and a record that it was.

    `beside` is what `split` left of the tile; it is named as the tile is in `classified`.
    """
    name = beside.name
    classes = np.full(las.read_header(tile).n_points, UNCLASSIFIED, np.uint8)
    for path in classified:
        if (path / f"{name}.index.npy").exists():
            index, asprs_class = arrays.map_arrays(path, (f"{name}.index", f"{name}.asprs_class")).values()
            classes[cast("NDArray[np.uint32]", index)] = asprs_class
    las.write_classified(out, tile, classes, beside=_known(beside))
    record_written(record, out)


def _known(folder: Path) -> Beside | None:
    """What `split` left of the points of a tile, if it did."""
    columns = arrays.map_arrays(folder)
    return Beside(**columns) if columns else None  # type: ignore[arg-type]
