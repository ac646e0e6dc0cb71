"""What went in, what came out, with which settings and versions."""

from __future__ import annotations

import platform
from importlib.metadata import version
from pathlib import Path
from typing import cast

from pipeline.files import arrays, checksums, layers
from pipeline.files.exports.unasked import drop_unasked
from pipeline.files.written_points import drop_others, drop_removed, written_points

LIBRARIES = ("geopandas", "laspy", "lazrs", "numpy", "pyproj", "rasterio", "scipy", "shapely", "snakemake")
"""Whose versions may change a result."""
FIELDWORK = ("fieldwork/check_list.csv", "fieldwork/check_points.gpx", "fieldwork/outings.txt")
"""What a draft writes for the work on foot; other files in that folder are of mappers and other commands."""
OF_BLOCKS = ("grids", "boulders", "disputes")
"""Folders of the work files that hold one file or folder a block."""
SECTIONS = ("landform", "rock", "vegetation", "manmade")
OF_FIELDS = ("running", "base_level", *(f"features/{name}" for name in SECTIONS))
"""Folders of the work files that hold one file or folder a field."""


def manifest(*, folder: Path, plan: Path, decided: Path, borrowed: Path, out: Path) -> None:
    """What went in, what came out, with which settings and versions; what is left of before is dropped.

    It carries no clock time, so that the same input gives the same file; the files themselves have dates.
    """
    content = arrays.read_json(plan)
    tiles = [str(tile["name"]) for tile in cast("list[dict[str, object]]", content["tiles"])]
    drop_removed(folder, tiles)
    drop_others(folder / "work", OF_BLOCKS, cast("list[str]", content["blocks"]))
    drop_others(folder / "work", OF_FIELDS, list(cast("dict[str, object]", content["fields"])))
    drop_others(folder / "work" / "kept", ("block",), cast("list[str]", content["blocks"]))
    drop_others(folder / "work" / "kept", SECTIONS, list(cast("dict[str, object]", content["fields"])))
    area = cast("dict[str, list[str]]", content["area"])
    drop_unasked(folder, exports=area["exports"], backdrops=area["backdrops"])
    made = [
        path
        for pattern in ("draft.gpkg", "rasters/*.tif", "sheets/*", "exports/*", "backdrops/*", "report/*", *FIELDWORK)
        for path in sorted(folder.glob(pattern))
        if not path.name.startswith(".")
    ]
    content |= {
        "decided": arrays.read_json(decided),
        "borrowed": arrays.read_json(borrowed)["sources"],
        "tussock": version("tussock"),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "made": {path.relative_to(folder).as_posix(): checksums.sha256_of(path) for path in made}
        | written_points(folder),
        "features": layers.count_features(folder / "draft.gpkg"),
        "cautions": [
            "Not field-checked. Not for navigation or competition.",
            "Cliffs, water, wires, private and protected land need local knowledge.",
            "Follow local rules and land-owner permission.",
        ],
    }
    arrays.write_json(out, content)
