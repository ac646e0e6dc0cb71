"""Standing water against the water class of a survey's makers."""

from __future__ import annotations

import laspy
import numpy as np
import pytest
import shapely

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.settings import TerrainSettings, WaterSettings
from pipeline.terrain.counts import class_counts
from pipeline.terrain.surface import ground_support, surface_from_ground
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground, in_memory
from tests.paths import measuring_data


@pytest.mark.data
def test_lake_of_the_makers_is_drawn_and_dry_ground_is_not() -> None:
    """Nine tenths of the returns of class 9 lie in the standing water found, and hardly any of class 2.

    The tile is sample data of the R package lidR: classes 2 and 9 are its makers'. Other lakes of the tile send no
    pulses back and carry no class; they are found by that.
    """
    las = laspy.read(next(measuring_data("lake_edge").glob("*.la[sz]")))
    classes = np.asarray(las.classification)
    cloud = Cloud.of(
        np.column_stack([las.x, las.y, las.z]),
        return_number=np.asarray(las.return_number),
        n_returns=np.asarray(las.number_of_returns),
    )
    bounds = (las.x.min(), las.y.min(), las.x.max() + 0.01, las.y.max() + 0.01)
    grid = Grid.covering(bounds, cell_m=1.0, crs="EPSG:32187")
    earth = np.isin(classes, (2, 9))
    counts = class_counts(classes, cloud.east, cloud.north, cloud.is_last, grid)
    ground = Ground(
        grid,
        bare_earth=in_memory(surface_from_ground(cloud.enh[earth], grid, settings=TerrainSettings())),
        water_returns=in_memory(counts["water_returns"]),
        last_returns=in_memory(counts["last_returns"]),
        aimed_pulses=in_memory(counts["last_returns"]),
        ground_support=in_memory(ground_support(cloud.en[earth], grid)),
    )
    found = standing_water(ground, thin_max_ratio=WaterSettings().thin_max_ratio)
    water = shapely.union_all([body.shape for body in found])
    is_inside = shapely.contains_xy(water, cloud.east, cloud.north)
    assert is_inside[classes == 9].mean() > 0.9
    # 2.0 % since lakes are drawn up to the edge of the survey: returns of the shore at the rim of the tile.
    assert is_inside[classes == 2].mean() < 0.025
    assert len(found) >= 4
