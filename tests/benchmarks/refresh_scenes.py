"""Whether two surveys of one place say what changed between them, and nothing else.

    python -m tests.benchmarks.refresh_scenes

Pairs of surveys are drafted and compared. A reported patch is right if it touches a true change; a true change is found
if a patch of a fitting kind touches it. By area, patches are laid over the true polygons.
"""

from __future__ import annotations

import functools
import itertools
import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import rasterio
import shapely
from rasterio.features import rasterize

from pipeline.files import arrays, layers, rasters
from pipeline.refresh.compare.ground import ground_change
from pipeline.refresh.register.coarse import coarse_shift
from pipeline.refresh.register.shift import Surface, find_shift, moved_onto
from pipeline.steps.refresh.refresh import refresh_run
from tests.benchmarks.refresh_pairs import write_pair
from tests.benchmarks.results import Table
from tests.benchmarks.sizes import draft_watched

PAIRS = (
    (31, (7.0, 5.0), (0.4, -0.3, -0.15)),
    (58, (5.0, 8.0), (-0.8, 0.6, 0.3)),
    (71, (6.0, 6.0), (0.55, 0.7, 0.2)),
    (83, (8.0, 4.5), (-0.2, -0.9, -0.4)),
)
"""Made places: seed, pulses a square metre of both surveys, true shift."""
HALVED = {"hard_moraine": "hard_moraine/tiles", "hard_steep": "hard_steep/tiles", "bc_forest": "bc_forest"}
"""Surveys that are compared with half of their own pulses: carpets of heather and flight lines that are off, steep
ground that hardly a pulse reaches, and real steep forest."""
SCENE_SHIFT = (-0.35, 0.25, 0.12)
FITTING = {
    "felled": {"felled"},
    "thicker": {"thicker", "grown"},
    "house": {"built"},
    "dug": {"dug"},
    "track": {"track"},
    "boulder gone": {"boulder gone"},
}
BOULDER_HEIGHTS_M = (0.0, 0.8, 1.0, 1.25, 1.5, 2.0, 99.0)
"""Where classes of boulders part: 1 m is the least height that the norm asks of a boulder (204), 2 m that of a large
one (205)."""
NEAR_BOULDER_M = 1.0
"""A patch farther than this from every boulder that went is wrong."""
COLUMNS = [
    "pair",
    "shift off, m",
    "features changed",
    "found",
    "right",
    "recall by area",
    "precision by area",
    "changes band",
    "seconds",
]
BOULDER_COLUMNS = [
    "place",
    *(f"found, {low:g} to {high:g} m high" for low, high in itertools.pairwise(BOULDER_HEIGHTS_M[:-1])),
    f"higher than {BOULDER_HEIGHTS_M[-2]:g} m",
    "said wrongly",
]
Drafter = Callable[[Path, str | None], Path]
"""Drafts the tiles in a folder, in a CRS where they do not say theirs: where the draft is."""


@dataclass(frozen=True)
class Score:
    """Patches against true changes."""

    n_found: int
    n_true: int
    n_right: int
    n_said: int
    area_recall: float
    area_precision: float

    @property
    def cells(self) -> list[str]:
        """The columns of the table."""
        found = f"{self.n_found} of {self.n_true}" if self.n_true else "-"
        areas = [f"{value:.3f}" if np.isfinite(value) else "-" for value in (self.area_recall, self.area_precision)]
        return [found, f"{self.n_right} of {self.n_said}", *areas]


def score(patches: gpd.GeoDataFrame, true: gpd.GeoDataFrame) -> Score:
    """How patches compare with true changes."""
    found = sum(
        any(kind in FITTING[row.kind] and shape.intersects(row.geometry) for kind, shape in _pairs(patches))
        for row in true.itertuples()
    )
    right = sum(bool(true.geometry.intersects(shape).any()) for shape in patches.geometry)
    said, there = patches.geometry.union_all(), true.geometry.union_all()
    shared = said.intersection(there).area if len(patches) and len(true) else 0.0
    recall = shared / there.area if len(true) else float("nan")
    precision = shared / said.area if len(patches) else float("nan")
    return Score(found, len(true), right, len(patches), recall, precision)


def _pairs(patches: gpd.GeoDataFrame) -> list[tuple[str, shapely.Geometry]]:
    return list(zip(patches["kind"], patches.geometry, strict=True))


def row_of(name: str, old: Path, new: Path, truth: gpd.GeoDataFrame, shift: tuple[float, float, float]) -> list[str]:
    """One row of the table: a refresh of two drafts against the truth."""
    told = refresh_run(old, new)
    found = told["shift"]
    counts, seconds = told["counts"], told["seconds"]
    assert isinstance(found, dict)
    assert isinstance(counts, dict)
    off_m = max(abs(found[key] - true) for key, true in zip(("east_m", "north_m", "up_m"), shift, strict=True))
    changed = sum(n for key, n in counts.items() if key != "unchanged")
    patches = layers.read_layer(new / "changes.gpkg", "changes")
    grid = rasters.read_grid(new / "rasters" / "bare_earth.tif")
    bands = patches[patches["kind"].isin(["thicker", "thinner"])].geometry.area.sum() / (
        grid.rows * grid.cols * grid.cell_m**2
    )
    result = score(patches, truth)
    share = f"{changed} of {sum(counts.values())}"
    return [name, f"{off_m:.4f}", share, *result.cells, f"{bands:.1%}", f"{seconds:.0f}"]


def boulder_row(name: str, old: Path, new: Path, truth: gpd.GeoDataFrame) -> list[str]:
    """One row of the table of boulders: how many of each class of height are told to be gone."""
    refresh_run(old, new)
    patches = layers.read_layer(new / "changes.gpkg", "changes")
    said = patches.geometry[patches["kind"] == "boulder gone"]
    found = np.array([bool(said.intersects(shape).any()) for shape in truth.geometry])
    classes = np.digitize(truth["height_m"], BOULDER_HEIGHTS_M)
    cells = [
        f"{int(found[classes == k].sum())} of {int((classes == k).sum())}" for k in range(1, len(BOULDER_HEIGHTS_M))
    ]
    near = truth.geometry.buffer(NEAR_BOULDER_M)
    wrong = sum(not near.intersects(shape).any() for shape in patches.geometry)
    return [name, *cells, str(wrong)]


def refresh_scenes(draft: Drafter, data: Path) -> list[Table]:
    """The tables of the page."""
    old = draft(data / "scene_a" / "tiles", None)
    nothing = gpd.GeoDataFrame({"kind": []}, geometry=[], crs="EPSG:25832")
    true = layers.read_layer(data / "scene_a_later" / "truth.gpkg", "changes")
    rows = []
    for name, truth in (("scene_a_again", nothing), ("scene_a_later", true)):
        rows.append(row_of(name, old, draft(data / name / "tiles", None), truth, SCENE_SHIFT))
        if name == "scene_a_later":
            seen = truth_that_shows(true, data)
            patches = layers.read_layer(draft(data / name / "tiles", None) / "changes.gpkg", "changes")
            rows.append(["the same, where the truth did change", "", "", *score(patches, seen).cells, "", ""])
    gone = []
    with tempfile.TemporaryDirectory(prefix="tussock-pairs-") as kept:
        for seed, pulses, shift in PAIRS:
            folder = Path(kept) / str(seed)
            write_pair(seed, folder, pulses=pulses, shift=shift)
            first = draft(folder / "old" / "tiles", None)
            for second in ("again", "later", "leaves"):
                truth = layers.read_layer(folder / second / "truth.gpkg", "changes")
                new = draft(folder / second / "tiles", None)
                rows.append(row_of(f"made {seed}, {second}", first, new, truth, shift))
            stones = layers.read_layer(folder / "no_boulders" / "truth.gpkg", "changes")
            gone.append(boulder_row(f"made {seed}", first, draft(folder / "no_boulders" / "tiles", None), stones))
        for name, tiles in HALVED.items():
            half = Path(kept) / name / "half" / "tiles"
            every = sorted((data / tiles).glob("*.laz"))
            write_half(every, half)
            rows.append(row_of(f"{name}, half", draft(data / tiles, None), draft(half, None), nothing, (0, 0, 0)))
    return [
        Table("", COLUMNS, rows),
        Table("All boulders gone", BOULDER_COLUMNS, gone),
        _two_surveys(draft, data),
        _epochs(data),
    ]


def write_half(tiles: Sequence[Path], folder: Path) -> None:
    """Copies of tiles with one pulse in two, chosen by its time."""
    folder.mkdir(parents=True, exist_ok=True)
    for tile in tiles:
        las = laspy.read(tile)
        ticks = np.round(np.asarray(las.gps_time) * 1e6).astype(np.int64)
        las.points = las.points[((ticks * 2654435761) >> 7) % 2 == 0]
        las.write(str(folder / tile.name))


def truth_that_shows(true: gpd.GeoDataFrame, data: Path) -> gpd.GeoDataFrame:
    """True changes of undergrowth and ground, cut to where the truth rasters of the two scenes differ at all."""
    found = true.copy()
    for kind, name, least in (("thicker", "pad", 0.05), ("dug", "dem", 0.05)):
        with rasterio.open(data / "scene_a" / f"truth_{name}.tif") as before:
            first, transform = before.read(1), before.transform
        with rasterio.open(data / "scene_a_later" / f"truth_{name}.tif") as after:
            differs = np.abs(after.read(1) - first) > least
        for row in found.index[found["kind"] == kind]:
            inside = rasterize([found.geometry[row]], out_shape=first.shape, transform=transform).astype(bool)
            cells = [
                shapely.geometry.shape(shape)
                for shape, value in rasterio.features.shapes((inside & differs).astype(np.uint8), transform=transform)
                if value == 1
            ]
            found.loc[row, "geometry"] = shapely.union_all(cells)
    return found


def _two_surveys(draft: Drafter, data: Path) -> Table:
    """What a real, thin pair says."""
    drafts = []
    with tempfile.TemporaryDirectory(prefix="tussock-two-") as kept:
        for year in (2015, 2023):
            folder = Path(kept) / str(year) / "tiles"
            folder.mkdir(parents=True)
            (folder / f"{year}.laz").symlink_to(data / "two_surveys" / f"{year}.laz")
            drafts.append(draft(folder, "EPSG:26917"))
        told = refresh_run(*drafts)
    words = arrays.read_json(drafts[1] / "refresh.json")["cannot_tell"]
    assert isinstance(words, list)
    rows = [
        [name, _in_words(told[name])]
        for name in ("shift", "datum", "seasons", "counts", "patches", "verified_unchanged")
    ]
    return Table("`two_surveys`, 2015 and 2023", ["what", "said"], [*rows, *(["cannot tell", str(w)] for w in words)])


def _in_words(value: object) -> str:
    """A value of `refresh.json` for a cell of a table."""
    return ", ".join(f"{name} {one}" for name, one in value.items()) if isinstance(value, dict) else str(value)


def _epochs(data: Path) -> Table:
    """A gully at three dates, rasters alone: where the ground changed by more than the noise."""
    surfaces = {}
    for year in (2004, 2012, 2016):
        heights, grid = rasters.read_heights(data / "dem_epochs" / f"elevation_{year}.tif")
        surfaces[year] = Surface(grid, heights)
    rows = []
    for first, second in ((2004, 2012), (2012, 2016), (2004, 2016)):
        old, new = surfaces[first], surfaces[second]
        shift = find_shift(old, new, start=coarse_shift(old, new))
        laid = moved_onto(old.bare_earth, old.grid, new.grid, shift, up_m=shift.up_m)
        change = ground_change(laid, new.bare_earth, None, None, cell_m=new.grid.cell_m)
        spread = 1.4826 * float(np.nanmedian(np.abs(new.bare_earth - laid)))
        where = f"{shift.east_m:+.2f} ± {shift.east_error_m:.2f}, {shift.north_m:+.2f} ± {shift.north_error_m:.2f}"
        rows.append([f"{first} to {second}", where, f"{spread:.2f}", f"{change.changed.mean():.2%}"])
    return Table("`dem_epochs`", ["years", "shift east, north, m", "spread, m", "share changed"], rows)


def drafting_into(folder: Path) -> Drafter:
    """Drafts every folder of tiles once, each into one of its own."""

    @functools.cache
    def draft(tiles: Path, crs: str | None) -> Path:
        name = "_".join(tiles.parts[-3:])
        return draft_watched(tiles, folder / name, **({"crs": crs} if crs else {}))[0]

    return draft


def main() -> None:
    """Print the tables, drafting into a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="tussock-refresh-") as kept:
        tables = refresh_scenes(drafting_into(Path(kept)), Path(os.environ["TUSSOCK_DATA"]).resolve())
    for table in tables:
        print(table.title)
        for row in [table.columns, *table.rows]:
            print(" | ".join(map(str, row)))


if __name__ == "__main__":
    main()
