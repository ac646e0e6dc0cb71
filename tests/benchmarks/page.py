"""What the page of a draft weighs and costs: `python -m tests.benchmarks.page OUT [OUT ...]`.

OUT is the output folder of a run. Its page is made as it is, and of the first also of copies laid side by side until
they cover as much ground as a large map, with every feature, row of a list and cell of a raster once a copy. Each page
is opened in Chromium from its file, on a desk and on a phone four times as slow.
"""

from __future__ import annotations

import json
import math
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from pipeline.files import layers, rasters
from pipeline.lattice.grid import Grid
from pipeline.report.grounds import GROUNDS
from pipeline.steps.report.report import report
from tests.benchmarks.results import Table
from tests.report.chromium import CHROMIUM, DESK, FLAGS, PHONE, READY

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SIDES_KM2 = (4.0, 10.0)
"""Ground of the larger pages."""
SLOWER = 4
"""How many times slower than this machine a phone is taken to be (common practice, no source)."""
REDRAWS = 5
COLUMNS = [
    "draft",
    "km2",
    "features",
    "seconds to make",
    "MB",
    "ready on a desk, s",
    "drawn anew, s",
    "ready on a phone, s",
]


def compared(out: Path, /, *others: Path) -> list[Table]:
    """A row for the page of the draft, one for each larger one, and one for each of other drafts."""
    # Asked for here, so that the other figures can be measured without a browser's driver.
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        raise SystemExit("no Chromium is installed")
    outline, _ = layers.read_outline(out / "work" / "outline.gpkg")
    own_km2 = outline.area / 1e6
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        scratch = Path(temporary)
        rows = [_row(folder, folder, scratch, browser) for folder in (out, *others)]
        for km2 in (side for side in SIDES_KM2 if side > own_km2):
            folder = repeated(out, scratch / "copies", math.ceil(math.sqrt(km2 / own_km2)))
            rows.append(_row(folder, out, scratch, browser))
            shutil.rmtree(folder)
        browser.close()
    return [Table("", COLUMNS, rows)]


def _row(folder: Path, original: Path, scratch: Path, browser: Browser) -> list[str]:
    """Costs of the page of a folder that holds a draft or copies of an original."""
    area = json.loads((original / "manifest.json").read_text(encoding="utf-8"))["area"]
    outline, _ = layers.read_outline(folder / "work" / "outline.gpkg")
    name = f"{area['name']}, copies" if folder != original else area["name"]
    return [name, f"{outline.area / 1e6:.2f}", *_costs(folder, area, scratch, browser)]


def _costs(folder: Path, area: dict[str, str], scratch: Path, browser: Browser) -> list[str]:
    page = scratch / "index.html"
    start = time.perf_counter()
    report(
        draft=folder / "draft.gpkg",
        outline=folder / "work" / "outline.gpkg",
        reports=folder / "report",
        ground=folder / "rasters",
        fieldwork=folder / "fieldwork",
        out=page,
        name=area["name"],
        map_date=area["map_date"],
        scale=int(area["scale"]),
        interval_m=float(area["contour_interval_m"]),
        calibration=[],
    )
    seconds = time.perf_counter() - start
    n_features = sum(layers.count_features(folder / "draft.gpkg").values())
    desk_s, drawn_s = opened(browser, page, slower=1)
    phone_s, _ = opened(browser, page, slower=SLOWER)
    size = page.stat().st_size / 1e6
    page.unlink()
    return [f"{n_features}", f"{seconds:.1f}", f"{size:.2f}", f"{desk_s:.2f}", f"{drawn_s:.3f}", f"{phone_s:.2f}"]


def opened(browser: Browser, file: Path, /, *, slower: int) -> tuple[float, float]:
    """Seconds from asking for the file until the map is drawn and can be used, and to draw all of it anew."""
    shape = {"viewport": PHONE, "device_scale_factor": 2} if slower > 1 else {"viewport": DESK}
    page = browser.new_context(offline=True, **shape).new_page()
    if slower > 1:
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slower})
    page.set_default_timeout(120_000)
    start = time.perf_counter()
    page.goto(file.as_uri())
    page.wait_for_selector(READY)
    ready_s = time.perf_counter() - start
    drawn_ms = page.evaluate(
        f"() => {{ const start = performance.now(); for (let i = 0; i < {REDRAWS}; i += 1) tussockPage.redraw();"
        f" return (performance.now() - start) / {REDRAWS}; }}"
    )
    page.context.close()
    return ready_s, drawn_ms / 1000


def repeated(out: Path, folder: Path, times: int, /) -> Path:
    """Copies of a draft side by side, `times` in a row and as many rows: a folder as the page's step reads it."""
    shutil.copytree(out / "report", folder / "report")
    shutil.copytree(out / "fieldwork", folder / "fieldwork")
    grid = rasters.read_grid(out / "rasters" / "bare_earth.tif")
    places = [(col, row) for row in range(times) for col in range(times)]
    steps = [(col * grid.cols * grid.cell_m, row * grid.rows * grid.cell_m) for col, row in places]
    tables = {}
    for name in layers.count_features(out / "draft.gpkg"):
        tables[name] = _shifted(layers.read_layer(out / "draft.gpkg", name), steps)
    layers.write_layers(folder / "draft.gpkg", tables)
    _outline(out, folder, steps)
    for path in (folder / "report" / "left_out.csv", *(folder / "fieldwork").glob("*.csv")):
        _shifted_rows(path, steps)
    whole = Grid(
        grid.crs,
        grid.west_col,
        grid.north_row + (times - 1) * grid.rows,
        grid.cell_m,
        grid.rows * times,
        grid.cols * times,
    )
    for ground in GROUNDS.values():
        values, _ = rasters.read_heights(out / "rasters" / f"{ground.raster}.tif")
        target = folder / "rasters" / f"{ground.raster}.tif"
        rasters.write_heights(target, np.tile(values, (times, times)), whole, description="copies")
    return folder


def _shifted(table: gpd.GeoDataFrame, steps: list[tuple[float, float]]) -> gpd.GeoDataFrame:
    if table.empty:
        return table
    copies = [
        table.assign(id=[f"{name}-{number}" for name in table["id"]], geometry=table.geometry.translate(*step))
        for number, step in enumerate(steps)
    ]
    return gpd.GeoDataFrame(pd.concat(copies, ignore_index=True), crs=table.crs)


def _shifted_rows(path: Path, steps: list[tuple[float, float]]) -> None:
    table = pd.read_csv(path, dtype={"symbol": str, "name": str})
    if {"east_m", "north_m"} <= set(table.columns):
        copies = [
            table.assign(east_m=table["east_m"] + east, north_m=table["north_m"] + north) for east, north in steps
        ]
        pd.concat(copies).to_csv(path, index=False)


def _outline(out: Path, folder: Path, steps: list[tuple[float, float]]) -> None:
    outline, crs = layers.read_outline(out / "work" / "outline.gpkg")
    parts = [shapely.transform(outline, lambda points, step=step: points + step) for step in steps]
    whole = gpd.GeoDataFrame(geometry=list(shapely.get_parts(shapely.union_all(parts))), crs=crs)
    layers.write_layers(folder / "work" / "outline.gpkg", {"outline": whole})


if __name__ == "__main__":
    for table in compared(*map(Path, sys.argv[1:])):
        print("\n".join(table.as_markdown()))
