"""One field against many: `python -m tests.benchmarks.seams FOLDER FIELD_M [SECTION ...]`.

FOLDER is the output folder of a run. Its sections are drawn anew, once in one field and once in fields of so many
metres, joined, and compared feature by feature.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from pipeline.draft.joining import join_fields
from pipeline.files import layers, rasters
from pipeline.lattice.fields import Field, fields_over
from pipeline.rock.draft import judge_rock
from pipeline.settings import LandformSettings, ManmadeSettings, RockSettings, VegetationSettings
from pipeline.steps.area.usual_ground import usual_ground_of_area
from pipeline.steps.field.landform import landform
from pipeline.steps.field.manmade import manmade
from pipeline.steps.field.rock import rock
from pipeline.steps.field.vegetation import vegetation

SECTIONS = ("rock", "manmade", "landform", "vegetation")
SAME_M = 1e-3
"""Shapes that lie at most this far apart everywhere are the same, in metres."""


@dataclass(frozen=True)
class Run:
    """What a finished run left that fields are drawn from."""

    out: Path

    def draw(self, section: str, field: Field, folder: Path) -> gpd.GeoDataFrame:
        """The features of a section of a field."""
        core, made = list(field.core), folder / f"{section}.{field.name}.gpkg"
        earth, support, canopy = (
            self.out / "rasters" / f"{name}.tif" for name in ("bare_earth", "ground_support", "canopy_height")
        )
        counts = self.out / "work" / "counts"
        if section == "landform":
            landform(
                bare_earth=earth,
                ground_support=support,
                canopy_height=canopy,
                core=core,
                out=made,
                base_level=folder / "base_level.json",
                interval_m=5.0,
                scale=15_000,
                settings=LandformSettings(),
            )
        elif section == "rock":
            usual = folder / "usual.json"
            if not usual.exists():
                usual_ground_of_area(counts=counts, out=usual)
            boulders = self.out / "work" / "boulders"
            rock(
                boulders=boulders,
                blocks=sorted(path.stem for path in boulders.glob("*.gpkg")),
                bare_earth=earth,
                ground_support=support,
                canopy_height=canopy,
                counts=counts,
                usual=usual,
                core=core,
                out=made,
                settings=RockSettings(),
            )
        elif section == "vegetation":
            vegetation(
                bare_earth=earth,
                canopy_height=canopy,
                counts=counts,
                core=core,
                out=made,
                running=folder / "running",
                settings=VegetationSettings(),
            )
        else:
            manmade(
                bare_earth=earth,
                canopy_height=canopy,
                counts=counts,
                core=core,
                out=made,
                scale=15_000,
                settings=ManmadeSettings(),
            )
        return layers.read_features(made)

    def joined(self, section: str, field_m: float, folder: Path) -> gpd.GeoDataFrame:
        """A section drawn in fields of so many metres (0: in one)."""
        grid = rasters.read_grid(self.out / "rasters" / "bare_earth.tif")
        fields = fields_over([grid.bounds], field_m=field_m or 1e6, one_field_m2=0)
        pieces = [self.draw(section, field, folder) for field in fields]
        judge = RockSettings().bare_rock_max_brightness_ratio
        rewrite = (lambda table: judge_rock(table, dark_ratio=judge)) if section == "rock" else None
        return join_fields(pieces, field_m=field_m or 1e6, crs=grid.crs, rewrite=rewrite)


def unmatched(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame, /, *, same_m: float = SAME_M) -> gpd.GeoDataFrame:
    """The features of one table that the other has not: same symbol, same shape, same words."""
    if not len(one) or not len(other):
        return one
    shapes, others = one.geometry.to_numpy(), other.geometry.to_numpy()
    a, b = shapely.STRtree(others).query(shapely.buffer(shapes, same_m))
    is_same = one["symbol"].to_numpy(str)[a] == other["symbol"].to_numpy(str)[b]
    is_same &= one["evidence"].to_numpy(str)[a] == other["evidence"].to_numpy(str)[b]
    a, b = a[is_same], b[is_same]
    near = shapely.hausdorff_distance(shapes[a], others[b]) <= same_m
    return one[~np.isin(np.arange(len(one)), a[near])]


def main(out: Path, field_m: float, sections: list[str]) -> None:
    """Print what differs, by symbol."""
    run = Run(out)
    with tempfile.TemporaryDirectory() as scratch:
        for section in sections or SECTIONS:
            began = time.perf_counter()
            whole = run.joined(section, 0, Path(scratch))
            middle = time.perf_counter()
            cut = run.joined(section, field_m, Path(scratch))
            ended = time.perf_counter()
            lost, found = unmatched(whole, cut), unmatched(cut, whole)
            print(f"{section}: {len(whole)} features in one field ({middle - began:.0f} s), {len(cut)} in fields of")
            print(f"  {field_m:.0f} m ({ended - middle:.0f} s); {len(lost)} and {len(found)} differ")
            for name, table in (("one field only", lost), ("fields only", found)):
                for row in table.itertuples():
                    east, north = row.geometry.centroid.coords[0]
                    print(f"    {name}: {row.symbol} {east:.1f} {north:.1f} {row.geometry.length:.2f} {row.evidence}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3:])
