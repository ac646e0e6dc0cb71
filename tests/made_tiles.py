"""Small lidar tiles for tests, written with laspy: another hand than the one that reads them."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pyproj

WEST, SOUTH = 412_500.0, 6_051_300.0
UTM = "EPSG:25832"


def made_header(point_format: int = 6, *, crs: str | None = UTM, scale: float = 0.01) -> laspy.LasHeader:
    """A header as surveys have it, in centimetres, of LAS 1.4 (1.2 for the formats 0 to 3)."""
    header = laspy.LasHeader(point_format=point_format, version="1.2" if point_format < 4 else "1.4")
    header.offsets, header.scales = [0, 0, 0], [scale] * 3
    if crs is not None:
        header.add_crs(pyproj.CRS.from_user_input(crs))
    return header


def made_points(
    header: laspy.LasHeader,
    *,
    n: int = 2000,
    west: float = WEST,
    south: float = SOUTH,
    side: float = 50.0,
    level: float = 200.0,
    seed: int = 1,
) -> laspy.LasData:
    """Single returns strewn over a flat square, every standard field filled with something to lose."""
    rng = np.random.default_rng(seed)
    points = laspy.LasData(header)
    points.x, points.y = west + rng.uniform(0, side, n), south + rng.uniform(0, side, n)
    points.z = np.full(n, level) + rng.uniform(0, 0.1, n)
    points.intensity = rng.integers(0, 65535, n)
    points.return_number = points.number_of_returns = np.ones(n, np.uint8)
    points.classification = rng.choice([1, 2, 5], n)
    points.user_data = rng.integers(0, 255, n)
    points.point_source_id = rng.integers(1, 4, n)
    names = set(points.point_format.dimension_names)
    for name in names & {"red", "green", "blue", "nir"}:
        points[name] = rng.integers(0, 65535, n)
    if "gps_time" in names:
        points.gps_time = 3e8 + np.arange(n) * 1e-5
    if "wavepacket_index" in names:
        points["wavepacket_index"] = np.ones(n, np.uint8)
        points["wavepacket_offset"] = 60 + 256 * np.arange(n)
        points["wavepacket_size"] = np.full(n, 256)
        points["x_t"] = rng.normal(size=n)
    return points


def made_tile(path: Path, *, point_format: int = 6, crs: str | None = UTM, **places: float) -> Path:
    """A tile on disk; LAZ or LAS by its ending."""
    path.parent.mkdir(parents=True, exist_ok=True)
    header = made_header(point_format, crs=crs)
    made_points(header, **places).write(path)  # type: ignore[arg-type]
    return path
