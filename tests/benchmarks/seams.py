"""One field against many: `python -m tests.benchmarks.seams FOLDER FIELD_M [PICTURE]`.

FOLDER is the output folder of a run with default settings. Its map is drawn anew from the rasters and counts that the
run left, once in one field and once in fields of so many metres, joined and composed as a run does it, and compared
feature by feature. Fields must be so small that a field and its margin of 200 m leave out some of the area: else each
field sees all there is, and no seam could show.
"""

from __future__ import annotations

import datetime
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from PIL import Image, ImageDraw
from shapely.geometry.base import BaseGeometry

from docs.make_pictures import draw_map
from pipeline.files import arrays, rasters
from pipeline.lattice.fields import FIELD_M, Field, fields_over
from pipeline.settings import LandformSettings, ManmadeSettings, RockSettings, SheetSettings, VegetationSettings
from pipeline.steps.area.compose import compose
from pipeline.steps.area.rides import rides
from pipeline.steps.field.landform import landform
from pipeline.steps.field.manmade import manmade
from pipeline.steps.field.rock import rock
from pipeline.steps.field.vegetation import vegetation
from tests.benchmarks.results import Table
from tests.runs import layers_of

SAME_M = 1e-3
"""Shapes that lie at most this far apart everywhere are the same, in metres."""
RIM_M = 1.0
"""Nearer to a border of fields than this, in metres, a difference is told apart from those beyond: there a line may be
cut at another vertex without anyone seeing it on the map."""
INTERVAL_M, SCALE, MAP_DATE = 5.0, 15_000, "2027-04-10"
"""Of the map that is drawn; any would do."""
PICTURE_DPI = 500
PICTURE_M = 400.0
"""Side, in metres, of the square around a crossing of borders that the picture shows."""


@dataclass(frozen=True)
class Run:
    """What a finished run left that fields are drawn from."""

    out: Path

    def draw(self, fields: Sequence[Field], field_m: float, folder: Path) -> Path:
        """Draw all sections of all fields and compose them: the folder with the draft."""
        for field in fields:
            self._draw_landform(field, folder)
            self._draw_rock(field, folder)
            self._draw_vegetation(field, folder)
            self._draw_manmade(field, folder)
        plan = folder / "plan.json"
        arrays.write_json(plan, {"fields": {field.name: list(field.core) for field in fields}, "field_m": field_m})
        features, settings = folder / "features", VegetationSettings()
        rides(
            candidates=folder / "candidates",
            plan=plan,
            counts=self._counts,
            out=features / "rides.gpkg",
            settings=settings,
        )
        for name in ("water.gpkg", "borrowed.gpkg"):
            (features / name).write_bytes((self.out / "work" / "features" / name).read_bytes())
        compose(
            features=features,
            plan=plan,
            outline=self.out / "work" / "outline.gpkg",
            out=folder / "draft.gpkg",
            left_out=folder / "left_out.csv",
            disagreements=folder / "disagreements.csv",
            map_date=MAP_DATE,
            rock=RockSettings(),
            vegetation=settings,
        )
        return folder

    @property
    def _counts(self) -> Path:
        return self.out / "work" / "counts"

    def _raster(self, name: str) -> Path:
        return self.out / "rasters" / f"{name}.tif"

    def _draw_landform(self, field: Field, folder: Path) -> None:
        landform(
            bare_earth=self._raster("bare_earth"),
            ground_support=self._raster("ground_support"),
            canopy_height=self._raster("canopy_height"),
            core=list(field.core),
            out=folder / "features" / "landform" / f"{field.name}.gpkg",
            base_level=folder / f"{field.name}.json",
            interval_m=INTERVAL_M,
            scale=SCALE,
            settings=LandformSettings(),
        )

    def _draw_rock(self, field: Field, folder: Path) -> None:
        boulders = self.out / "work" / "boulders"
        rock(
            boulders=boulders,
            blocks=sorted(path.stem for path in boulders.glob("*.gpkg")),
            bare_earth=self._raster("bare_earth"),
            ground_support=self._raster("ground_support"),
            canopy_height=self._raster("canopy_height"),
            counts=self._counts,
            usual=self.out / "work" / "usual_ground.json",
            core=list(field.core),
            out=folder / "features" / "rock" / f"{field.name}.gpkg",
            settings=RockSettings(),
        )

    def _draw_vegetation(self, field: Field, folder: Path) -> None:
        vegetation(
            bare_earth=self._raster("bare_earth"),
            canopy_height=self._raster("canopy_height"),
            counts=self._counts,
            decided=self.out / "work" / "decided.json",
            core=list(field.core),
            out=folder / "features" / "vegetation" / f"{field.name}.gpkg",
            candidates=folder / "candidates" / field.name,
            running=folder / "running" / field.name,
            settings=VegetationSettings(),
        )

    def _draw_manmade(self, field: Field, folder: Path) -> None:
        manmade(
            bare_earth=self._raster("bare_earth"),
            canopy_height=self._raster("canopy_height"),
            counts=self._counts,
            water=self.out / "work" / "features" / "water.gpkg",
            core=list(field.core),
            out=folder / "features" / "manmade" / f"{field.name}.gpkg",
            settings=ManmadeSettings(),
        )


def unmatched(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame, /, *, same_m: float = SAME_M) -> gpd.GeoDataFrame:
    """The features of one table that the other has not: same symbol, same shape, same words.

    A feature of the other stands for one of this at most, so what was drawn twice is found as well.
    """
    if not len(one) or not len(other):
        return one
    shapes, others = one.geometry.to_numpy(), other.geometry.to_numpy()
    a, b = shapely.STRtree(others).query(shapely.buffer(shapes, same_m))
    is_same = one["symbol"].to_numpy(str)[a] == other["symbol"].to_numpy(str)[b]
    is_same &= one["evidence"].to_numpy(str)[a] == other["evidence"].to_numpy(str)[b]
    a, b = a[is_same], b[is_same]
    near = shapely.hausdorff_distance(shapes[a], others[b]) <= same_m
    partner: dict[int, int] = {}
    taken: set[int] = set()
    for ours, theirs in zip(a[near].tolist(), b[near].tolist(), strict=True):
        if ours not in partner and theirs not in taken:
            partner[ours] = theirs
            taken.add(theirs)
    return one[~np.isin(np.arange(len(one)), list(partner))]


def beyond_rim(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame, rim: BaseGeometry, /) -> gpd.GeoDataFrame:
    """Those features of two tables of differing ones that differ farther than the rim from all borders too.

    Compared is what lies outside the rim, so a line that only meets the border in another place does not count; other
    words of one feature do, and so does every point: nothing excuses one that is drawn twice, or lost, on a border.
    """
    if not len(one) or not len(other):
        return one
    cut, others = (table.set_geometry(_outside(table.geometry, rim)) for table in (one, other))
    cut, others = (table[~table.geometry.is_empty] for table in (cut, others))
    return one.loc[unmatched(cut, others).index]


def _outside(shapes: gpd.GeoSeries, rim: BaseGeometry) -> gpd.GeoSeries:
    """What of lines and areas lies outside the rim; points as they are."""
    return shapes.where(shapes.geom_type == "Point", shapes.difference(rim))


def compared(out: Path, field_m: float, picture: Path | None = None) -> Table:
    """Draw both ways and compare: a row for each layer and symbol that has any feature."""
    run = Run(out)
    bounds = rasters.read_grid(run._raster("bare_earth")).bounds
    corners = np.array(bounds) / FIELD_M
    west, south, east, north = (FIELD_M * np.concatenate((np.floor(corners[:2]), np.ceil(corners[2:])))).tolist()
    whole = Field("whole", (west, south, east, north))
    with tempfile.TemporaryDirectory(prefix="tussock-seams-") as name:
        begun_s = time.perf_counter()
        one = layers_of(run.draw([whole], FIELD_M, Path(name) / "one"))
        middle_s = time.perf_counter()
        fields = fields_over([bounds], field_m=field_m, one_field_m2=0)
        many = layers_of(run.draw(fields, field_m, Path(name) / "many"))
        ended_s = time.perf_counter()
    rim = shapely.buffer(borders_within(bounds, field_m), RIM_M, cap_style="square")
    rows = [row for layer in one for row in _rows(layer, one[layer], many[layer], rim)]
    print(f"one field {middle_s - begun_s:.0f} s, {len(fields)} fields of {field_m:.0f} m {ended_s - middle_s:.0f} s")
    if picture is not None:
        show(one, many, bounds, field_m, picture)
    columns = ["layer", "symbol", "in one field", "in fields", "differ", f"differ more than {RIM_M:g} m off a border"]
    return Table("", columns, rows)


def borders_within(bounds: tuple[float, float, float, float], field_m: float, /) -> BaseGeometry:
    """The borders of fields that lie inside a rectangle, as lines."""
    west, south, east, north = bounds
    eastings = np.arange(np.floor(west / field_m) + 1, np.ceil(east / field_m)) * field_m
    northings = np.arange(np.floor(south / field_m) + 1, np.ceil(north / field_m)) * field_m
    upright = [shapely.LineString([(e, south), (e, north)]) for e in eastings]
    level = [shapely.LineString([(west, n), (east, n)]) for n in northings]
    return shapely.union_all([*upright, *level])


def _rows(layer: str, one: gpd.GeoDataFrame, many: gpd.GeoDataFrame, rim: BaseGeometry) -> list[list[str]]:
    rows = []
    for symbol in sorted(set(one["symbol"]) | set(many["symbol"])):
        a, b = (table[table["symbol"] == symbol].reset_index(drop=True) for table in (one, many))
        lost, found = unmatched(a, b), unmatched(b, a)
        far = pd.concat([beyond_rim(lost, found, rim), beyond_rim(found, lost, rim)])
        rows.append([layer, str(symbol), *map(str, (len(a), len(b), len(lost) + len(found), len(far)))])
        for kind, table in (("one field only", lost), ("fields only", found)):
            for row in table.itertuples():
                east, north = row.geometry.centroid.coords[0]
                shape = f"{row.geometry.length:.1f} m long" if row.geometry.length else "a point"
                print(f"  {layer} {kind}: {symbol} at {east:.1f} {north:.1f}, {shape}: {row.evidence}")
    return rows


def show(
    one: dict[str, gpd.GeoDataFrame],
    many: dict[str, gpd.GeoDataFrame],
    bounds: tuple[float, float, float, float],
    field_m: float,
    path: Path,
) -> None:
    """Write the map around a crossing of borders as one field and as several draw it, side by side."""
    west, south, east, north = bounds
    crossing = (np.round((west + east) / 2 / field_m) * field_m, np.round((south + north) / 2 / field_m) * field_m)
    frame = shapely.box(*(np.array([*crossing, *crossing]) + PICTURE_M / 2 * np.array([-1, -1, 1, 1])))
    pictures = []
    for draft in (one, many):
        clipped = {
            name: table[table.intersects(frame)].clip(frame, keep_geom_type=True) for name, table in draft.items()
        }
        crs = next(iter(draft.values())).crs
        map_date = datetime.date.fromisoformat(MAP_DATE)
        settings = SheetSettings(resolution_dpi=PICTURE_DPI)
        picture, transform, _ = draw_map(
            clipped,
            frame,
            str(crs),
            name="Seam",
            scale=SCALE,
            interval_m=INTERVAL_M,
            map_date=map_date,
            settings=settings,
        )
        pictures.append(Image.fromarray(picture))
        if draft is many:
            _mark(pictures[-1], transform, crossing)
    both = Image.new("RGB", (sum(one.width for one in pictures) + 20, pictures[0].height), "white")
    both.paste(pictures[0], (0, 0))
    both.paste(pictures[1], (pictures[0].width + 20, 0))
    both.quantize(96).save(path, optimize=True)


def _mark(picture: Image.Image, transform: Affine, crossing: tuple[float, float]) -> None:
    """Draw short ticks in red where borders leave the frame, so that they hide nothing."""
    pen = ImageDraw.Draw(picture)
    half, tick = PICTURE_M / 2, PICTURE_M / 40
    for across, along in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        ends = [(crossing[0] + across * far, crossing[1] + along * far) for far in (half - tick, half + tick)]
        pen.line([~transform * end for end in ends], fill=(220, 0, 0), width=4)


def main(out: Path, field_m: float, picture: Path | None) -> None:
    """Print the table and what differs."""
    print("\n".join(compared(out, field_m, picture).as_markdown()))


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]), Path(sys.argv[3]) if len(sys.argv) > 3 else None)
