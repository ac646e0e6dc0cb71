"""`tussock calibrate`: the mapper's notes set the limits of the runnability bands for this area."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.errors import InputError, counted
from pipeline.fieldwork.questions.listed import check_list_of_notes
from pipeline.files import arrays, layers, rasters
from pipeline.files.fieldwork.check_lists import write_note_places
from pipeline.files.found.notes import read_notes
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.plan.plan import CALIBRATED, Plan, calibration_path, limits_in_words
from pipeline.settings import load_area
from pipeline.sheet.picture import render_png
from pipeline.vegetation.calibration.askable import askable_by_draft
from pipeline.vegetation.calibration.calibration import Calibration, calibrate
from pipeline.vegetation.calibration.next_notes import where_notes_teach
from pipeline.vegetation.calibration.notes import Notes, density_at
from pipeline.vegetation.calibration.outside import ENOUGH_SHARE, inside, why_outside
from pipeline.vegetation.calibration.plot import calibration_plot
from pipeline.vegetation.draft import limits_of
from pipeline.vegetation.running.runnability import BAND_OF, BAND_SYMBOLS

PLOT_DPI = 150.0
"""Resolution of the plot of a calibration, dots per inch: 1000 dots wide (our choice)."""


@dataclass(frozen=True)
class Outcome:
    """A calibration and what could not be used for it."""

    calibration: Calibration
    n_left_out: int
    n_outside: int
    next_places: gpd.GeoDataFrame


def calibrate_area(plan: Plan, notes_path: Path, /) -> Outcome:
    """Fit the band limits of an area to notes; write the file later runs use, a plot, and where to look next.

    The notes are weighed against the limits of the area file, or their defaults, and never against those of an earlier
    calibration: the same notes give the same limits however often. Where they teach nothing, an earlier one stays.

    Raises
    ------
    InputError
        If the area has no draft yet, or the notes cannot be used.
    """
    raster = plan.out / "rasters" / "understorey.tif"
    if not raster.exists():
        raise InputError(f"{plan.out}: holds no draft yet; run 'tussock draft {plan.area_path.name}' first")
    density, grid = rasters.read_heights(raster)
    table = read_notes(notes_path, grid.crs, tuple(BAND_OF))
    area = _outline(plan, grid)
    places_told = shapely.get_coordinates(shapely.centroid(table.geometry.to_numpy()))
    is_inside = inside(places_told, area)
    if is_inside.mean() < ENOUGH_SHARE:
        raise InputError(_said_outside(notes_path, places_told[~is_inside], len(table), area, grid.crs))
    n_outside, table = int((~is_inside).sum()), table[is_inside]
    settings = plan.area.expert.calibration
    symbol = table["symbol"].str.partition(".")[0]
    usable = symbol.isin(list(BAND_OF)).to_numpy()
    if not usable.any():
        raise InputError(f"{notes_path}: none of the notes names a band; use {', '.join(sorted(BAND_OF))}")
    shapes = table.geometry.to_numpy()[usable]
    found = Notes(
        place=shapely.get_coordinates(shapely.centroid(shapes)),
        density=density_at(density, grid, shapes, radius_m=settings.note_radius_m),
        band=np.array([BAND_OF[text] for text in symbol[usable]], np.int64),
    )
    seen = np.isfinite(found.density)
    # Not the limits of the plan: an earlier calibration is in them, and its notes would count twice.
    fitted = calibrate(found, limits=limits_of(load_area(plan.area_path).expert.vegetation))
    places = where_notes_teach(
        density,
        grid,
        found.place,
        limits=fitted.limits,
        spread=fitted.spread_ratio,
        most_places=settings.next_notes,
        askable=_askable(plan, density, grid, area),
    )
    _write(plan, found, fitted, places)
    return Outcome(fitted, int((~usable).sum() + (~seen).sum()), n_outside, places)


def _outline(plan: Plan, grid: Grid) -> Polygon | MultiPolygon:
    """The area as the draft has it; where its work files are gone, what the rasters cover."""
    path = plan.out / "work" / "outline.gpkg"
    return layers.read_outline(path)[0] if path.exists() else shapely.box(*grid.bounds)


def _said_outside(path: Path, places: EastNorth, n: int, area: Polygon | MultiPolygon, crs: str) -> str:
    """The words for notes that lie outside the area."""
    many = counted(len(places), "note")
    which = f"none of its {many} lies" if len(places) == n > 1 else f"its {many} lies" if n == 1 else (
        f"{many} of {n} lie outside, and so hardly any lies")  # fmt: skip
    is_not = "outside" if n == 1 else "in"
    return f"{path}: {which} {is_not} the area: {why_outside(places, area, crs)}. Nothing was changed"


def _askable(plan: Plan, density: Heights, grid: Grid, area: Polygon | MultiPolygon) -> Mask:
    """Where the question can be answered, by the draft and the slope of its ground."""
    draft, slope = plan.out / "draft.gpkg", plan.out / "rasters" / "slope.tif"
    tables = [layers.read_layer(draft, name) for name in layers.count_features(draft)] if draft.exists() else []
    slope_deg = rasters.read_heights(slope)[0] if slope.exists() else None
    return askable_by_draft(density, grid, area, tables, slope_deg=slope_deg)


def _write(plan: Plan, notes: Notes, fitted: Calibration, places: gpd.GeoDataFrame) -> None:
    picture = render_png(
        calibration_plot(notes, fitted, title=f"{plan.area.name}: how it ran on foot, against what was measured"),
        dpi=PLOT_DPI,
    )
    rasters.write_png(plan.out / "report" / "calibration.png", picture, dpi=PLOT_DPI)
    write_note_places(plan.out / "fieldwork", check_list_of_notes(places))
    if fitted.is_used:
        limits = (round(limit, 4) for limit in fitted.limits)
        arrays.write_json(
            calibration_path(plan.area_path),
            {
                **dict(zip(CALIBRATED, limits, strict=True)),
                "started_from": list(fitted.limits_before),
                "notes": fitted.n_notes,
                "places": fitted.n_places,
                "weighted_kappa_before": _number(fitted.kappa_before),
                "weighted_kappa_after": _number(fitted.kappa_after),
            },
        )


def _number(value: float) -> float | None:
    return round(value, 4) if np.isfinite(value) else None


def describe_outcome(outcome: Outcome, plan: Plan, /) -> str:
    """What a mapper is told."""
    fitted = outcome.calibration
    lines = [fitted.message]
    if outcome.n_left_out:
        lines.append(f"Left out: {counted(outcome.n_left_out, 'note')}, naming no band or where nothing was seen.")
    if outcome.n_outside:
        lines.append(f"Left out: {counted(outcome.n_outside, 'note')} outside the area.")
    lines += ["", "Found on foot (rows) against drawn, each place judged without its own notes:"]
    lines.append("        " + "".join(f"{symbol:>6}" for symbol in BAND_SYMBOLS))
    for symbol, row in zip(BAND_SYMBOLS, fitted.confusion_after, strict=True):
        lines.append(f"  {symbol:>6}" + "".join(f"{count:>6}" for count in row))
    if len(outcome.next_places):
        lines += ["", "Where the next notes would teach most (in fieldwork/note_places.csv and note_places.gpx):"]
        for place, between in zip(outcome.next_places.geometry, outcome.next_places["between"], strict=True):
            lines.append(f"  east {place.x:.0f} north {place.y:.0f}: {between}?")
    if fitted.is_used:
        lines += [
            "",
            f"Later runs use {calibration_path(plan.area_path).name}, in place of "
            f"{limits_in_words(fitted.limits_before)} in the area file or its defaults, until you write others there; "
            "'tussock draft' draws the new bands.",
        ]
    elif calibration_path(plan.area_path).exists():
        name = calibration_path(plan.area_path).name
        lines += ["", f"{name} of an earlier call stays; remove it to go back to the limits of the area file."]
    return "\n".join(lines)
