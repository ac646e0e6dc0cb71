"""Plans of surveys that exist only as a table, however large."""

from pathlib import Path

from pipeline.files.intake import Intake
from pipeline.intake.placement import Placement
from pipeline.intake.tile_table import Tile, make_table
from pipeline.intake.working_crs import WorkingCrs
from pipeline.plan.plan import Plan
from pipeline.settings import Area, Borrowing

CRS = "EPSG:25832"


def made_plan(n_along: int, *, side_m: float = 500.0, returns_per_m2: float = 16.0, **settings: object) -> Plan:
    """A square survey of `n_along` by `n_along` tiles; no file of it exists."""
    tiles = []
    for col in range(n_along):
        for row in range(n_along):
            west, south = 400_000 + col * side_m, 5_700_000 + row * side_m
            name = f"{int(west)}_{int(south)}"
            bounds = (west, south, west + side_m - 0.01, south + side_m - 0.01)
            n_points, key = round(returns_per_m2 * side_m**2), f"{col:032x}{row:032x}"
            tiles.append(Tile(name, f"/lidar/{name}.laz", key, n_points, bounds, Placement(CRS, CRS, 1.0)))
    area = Area.model_validate({"name": "Made", "tiles": "*.laz", "map_date": "2027-04-10"} | settings)
    working = WorkingCrs(CRS, "UTM zone 32N", CRS, "UTM zone 32N")
    return Plan(
        Path("/lidar/area.yaml"),
        area,
        Path("/lidar/out"),
        Intake(make_table(tiles, crs=CRS), working, ()),
        None,
        Borrowing(),
    )
