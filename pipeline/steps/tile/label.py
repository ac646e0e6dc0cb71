"""One input tile written back, every return in its place, with its class."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import numpy as np
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.las import tiles as las
from pipeline.files.written_points import record_written
from pipeline.returns.asprs import UNCLASSIFIED


def label(*, tile: Path, classified: list[Path], out: Path, record: Path, tile_key: int) -> None:
    """Write one tile back: every return in its place, all fields kept, with its class; and a record that it was."""
    classes = np.full(las.read_header(tile).n_points, UNCLASSIFIED, np.uint8)
    for path in classified:
        ours = arrays.read_marked(path, "tile_key", tile_key, ("index", "asprs_class"))
        classes[cast("NDArray[np.uint32]", ours["index"])] = ours["asprs_class"]
    las.write_classified(out, tile, classes)
    record_written(record, out)
