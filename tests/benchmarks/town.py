"""Drafts of two real towns against official maps: buildings, streets and footpaths, the edge of the water.

Run: TUSSOCK_DATA=folder python -m tests.benchmarks.town

Nothing was tuned on `roofs`. On `town` it was seen that plans had no courtyards.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.features import rasterize

from pipeline.features import WAYS
from pipeline.lattice.grid import Grid
from pipeline.manmade.tracks.network import merged
from pipeline.outlines.skeleton import skeleton_lines
from tests.runs import layers_of, tussock, write_area

STREET, FOOT = ("rijbaan lokale weg",), ("voetpad", "voetpad op trap", "voetgangersgebied")
"""Functions of road parts in the official map of `town`: carriageways, and what is for people on foot."""
NEAR_M = 5.0
"""How far from the middle of a street or path, in metres, a drawn way is still this one."""
ON_ROAD_M = 1.5
"""How far beside a road part, in metres, a drawn way still lies on it."""
EDGE_M = 1.0
"""How far the edge of drawn water may be from that of the map, metres."""
LEAST_CENTRE_M = 8.0
"""Length in metres of the shortest piece of centre line that counts: shorter ones are spurs into corners."""


def buildings(drawn: gpd.GeoDataFrame, true: shapely.Geometry, mapped: shapely.Geometry, /) -> str:
    """Recall, precision and F1 by area within what the official map covers."""
    chosen = drawn[drawn.symbol == "521"].geometry
    ours, theirs = (shapely.intersection(shapely.union_all(one), mapped) for one in (chosen, true))
    both = shapely.intersection(ours, theirs).area
    recall, precision = both / theirs.area, both / max(ours.area, 1e-9)
    f1 = 2 * both / (ours.area + theirs.area)
    return f"recall {recall:.3f}, precision {precision:.3f}, F1 {f1:.3f}; {len(chosen)} plans"


def centre_lines(areas: shapely.Geometry, /) -> shapely.Geometry:
    """Lines along the middle of road parts, on cells of half a metre."""
    grid = Grid.covering(areas.bounds, cell_m=0.5, crs="EPSG:28992").pad(2.0)
    cells = rasterize([areas], grid.shape, transform=grid.transform).astype(bool)
    lines = merged(skeleton_lines(cells, grid, cut_at_corners=False))
    return shapely.union_all([line for line in lines if line.length >= LEAST_CENTRE_M])


def ways(drawn: gpd.GeoDataFrame, roads: gpd.GeoDataFrame, mapped: shapely.Geometry, /) -> list[str]:
    """Recall of streets and footpaths, and the precision of all ways together, by length."""
    ours = shapely.intersection(shapely.union_all(drawn[drawn.symbol.isin(WAYS)].geometry), mapped)
    lines = []
    for name, functions in (("streets", STREET), ("footpaths", FOOT)):
        areas = shapely.union_all(roads[roads.function.isin(functions)].geometry)
        middle = shapely.intersection(centre_lines(areas), mapped)
        met = shapely.intersection(middle, shapely.buffer(ours, NEAR_M)).length
        lines.append(f"{name}: {middle.length:.0f} m within the survey, recall {met / middle.length:.2f}")
    on = shapely.intersection(ours, shapely.buffer(shapely.union_all(roads.geometry), ON_ROAD_M)).length
    lines.append(f"ways drawn: {ours.length:.0f} m, precision {on / max(ours.length, 1e-9):.2f}")
    return lines


def water(drawn: gpd.GeoDataFrame, true: shapely.Geometry, mapped: shapely.Geometry, /) -> str:
    """Share of the map's water that is drawn, and of its edge that has a drawn edge within EDGE_M."""
    inner = shapely.buffer(mapped, -2 * EDGE_M)
    ours = shapely.union_all(drawn[drawn.symbol.isin(("301", "302"))].geometry)
    area = shapely.intersection(true, mapped)
    edge = shapely.intersection(shapely.boundary(true), inner)
    near = shapely.intersection(edge, shapely.buffer(shapely.boundary(ours), EDGE_M))
    share = shapely.intersection(ours, area).area / area.area
    return (
        f"water: {share:.2f} of {area.area:.0f} m2 drawn; {near.length / edge.length:.2f} of the edge within {EDGE_M} m"
    )


def _drafted(tiles: Path, folder: Path, **settings: str) -> tuple[dict[str, gpd.GeoDataFrame], shapely.Geometry]:
    """The layers of a draft and the ground its tiles cover."""
    done = tussock("draft", write_area(folder, f"{tiles}/*.laz", **settings), "--cores", "2")
    if done.returncode:
        raise SystemExit(done.stderr or done.stdout)
    with rasterio.open(folder / "out" / "rasters" / "bare_earth.tif") as raster:
        return layers_of(folder / "out"), shapely.box(*raster.bounds)


def _official(folder: Path, name: str) -> gpd.GeoDataFrame:
    layer = gpd.read_file(folder / f"bgt_{name}.sqlite")
    return layer.set_geometry(layer.geometry.make_valid())


def main() -> None:
    """Draft both and print."""
    if not os.environ.get("TUSSOCK_DATA"):
        print("TUSSOCK_DATA does not name the folder with the measuring data: nothing was measured")
        return
    root = Path(os.environ["TUSSOCK_DATA"]).resolve()
    with tempfile.TemporaryDirectory(prefix="tussock-town-") as name:
        layers, covered = _drafted(root / "town", Path(name) / "town", crs="EPSG:28992")
        parts = {path.stem.removeprefix("bgt_") for path in (root / "town").glob("bgt_*.sqlite")} - {"scheiding"}
        official = {part: _official(root / "town", part) for part in sorted(parts)}
        # The official map was cut out around one quarter: beyond it, it says nothing.
        everything = shapely.union_all(np.concatenate([part.geometry.to_numpy() for part in official.values()]))
        mapped = shapely.intersection(shapely.buffer(shapely.buffer(everything, 0.5), -0.5), covered)
        print(f"town, {mapped.area / 1e4:.1f} ha that the official map covers")
        print("buildings:", buildings(layers["manmade_area"], official["pand"].geometry.union_all(), mapped))
        print("\n".join(ways(layers["manmade_line"], official["wegdeel"], mapped)))
        print(water(layers["water_area"], official["waterdeel"].geometry.union_all(), mapped))
        layers, covered = _drafted(root / "roofs", Path(name) / "roofs")
        walls = gpd.read_file(root / "roofs" / "outlines.shp").geometry.union_all()
        print("roofs, outlines of walls, which roofs overhang")
        print("buildings:", buildings(layers["manmade_area"], walls, covered))


if __name__ == "__main__":
    main()
