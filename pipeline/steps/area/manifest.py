"""What went in, what came out, with which settings and versions."""

from __future__ import annotations

import platform
from importlib.metadata import version
from pathlib import Path

from pipeline.files import arrays, checksums, layers

LIBRARIES = ("geopandas", "laspy", "lazrs", "numpy", "pyproj", "rasterio", "scipy", "shapely", "snakemake")
"""Whose versions may change a result."""


def manifest(*, folder: Path, plan: Path, ground: Path, out: Path) -> None:
    """What went in, what came out, with which settings and versions.

    It carries no clock time, so that the same input gives the same file; the files themselves have dates.
    """
    content = arrays.read_json(plan)
    made = [
        path
        for pattern in ("draft.gpkg", "rasters/*.tif", "points/*.laz", "sheets/*", "report/*")
        for path in sorted(folder.glob(pattern))
        if not path.name.startswith(".")
    ]
    content |= {
        "ground": arrays.read_json(ground),
        "tussock": version("tussock"),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "made": {path.relative_to(folder).as_posix(): checksums.sha256_of(path) for path in made},
        "features": layers.count_features(folder / "draft.gpkg"),
        "cautions": [
            "Not field-checked. Not for navigation or competition.",
            "Cliffs, water, wires, private and protected land need local knowledge.",
            "Follow local rules and land-owner permission.",
        ],
    }
    arrays.write_json(out, content)
