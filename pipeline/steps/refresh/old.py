"""OLD read: an earlier run or any map, checked against the new area before anything is made or written."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from pipeline.errors import InputError
from pipeline.exports.formats import FROM_DRAFT
from pipeline.files import arrays
from pipeline.files.checksums import sha256_of
from pipeline.files.earlier.number_table import read_number_table
from pipeline.files.earlier.vector import read_given
from pipeline.files.earlier.written import LATER, MAP, written_copy
from pipeline.files.known_drafts import is_known
from pipeline.norm.symbols import norm_table
from pipeline.refresh.keep.keeping import MAPPED, ORIGINAL
from pipeline.refresh.old.columns import KEY
from pipeline.refresh.old.edits import Changed, changed_since
from pipeline.refresh.old.later import Later, with_later
from pipeline.refresh.old.old_map import GivenLayer, Kind, OldMap
from pipeline.refresh.old.place import Bounds, apart_m, fitting_systems
from pipeline.refresh.old.understood import is_edited, is_of_a_draft, same_crs, understand
from pipeline.refresh.register.coarse import FARTHEST_M
from pipeline.settings import load_area
from pipeline.steps.refresh.marked import area_file_named, drawn_marks

DRAFT = "draft.gpkg"
STYLED_DRAFT = Path("exports") / FROM_DRAFT["styled"]
"""The draft with symbols, in which mappers draw, too; below the folder of a run."""
AS_WRITTEN = Path("fieldwork") / "as_written.gpkg"
"""The draft as it was written, below the folder of a run."""


@dataclass(frozen=True)
class Place:
    """Where the new tiles are.

    Attributes
    ----------
    crs : the working CRS
    bounds : of all tiles
    out : folder of the new draft
    """

    crs: str
    bounds: Bounds
    out: Path


def read_old(old: Path, place: Place, /, *, numbers: Path | None = None, own_crs: str | None = None) -> OldMap:
    """An earlier run, or any map with symbol numbers. Nothing is written, neither there nor anywhere else.

    Parameters
    ----------
    old : folder of a run, its area file, or a map in GeoPackage, GeoJSON, shapefile or DXF
    numbers : table of the map's own numbers
    own_crs : CRS of a map that does not say its own

    Raises
    ------
    InputError
        If it cannot be read, says no symbols or no CRS, is the new area itself, or lies elsewhere.
    """
    path = _meant(old)
    map_file, run = _map_of(path)
    _refuse_new_area(old, path, place)
    own_numbers = read_number_table(numbers, norm_table()) if numbers else {}
    read = [_with_crs(layer, old, own_crs, place) for layer in read_given(map_file)]
    noted = [layer for layer in read if layer.name.startswith((ORIGINAL, MAPPED))]
    layers = [layer for layer in read if not layer.name.startswith((ORIGINAL, MAPPED))]
    kind: Kind = "run" if is_of_a_draft(layers) else "map"
    copy = _as_written(map_file) if kind == "run" else None
    changed = _changes_of(map_file, layers, copy) if kind == "run" else Changed()
    drawn = drawn_marks(old, run, layers, changed) if kind == "run" and run else None
    if drawn and drawn.n_marks:
        layers = drawn.layers
        changed = _changed_between(copy, layers) if copy else changed
    found = understand(
        layers,
        source=old,
        crs=place.crs,
        symbols=norm_table(),
        own_numbers=own_numbers,
        kind=kind,
        edited=changed.rows,
    )
    _refuse_elsewhere(found, layers, place, is_run=run is not None)
    struck = None if changed.struck is None else changed.struck.to_crs(place.crs)
    return replace(
        found,
        struck=struck,
        rasters=run / "rasters" if run and (run / "rasters").is_dir() else None,
        season=_season(run),
        date=_date(run),
        originals={**found.originals, **_originals_of(noted)},
        ground=_ground_of(noted) if kind == "run" else found.ground,
        notes=(*found.notes, *((drawn.told,) if drawn and drawn.n_marks else ())),
        knows_edits=copy is not None,
    )


def _meant(old: Path) -> Path:
    """The folder or file that is meant: of an area file, or of a folder with one, the folder of its draft."""
    if not old.exists():
        raise InputError(f"{old}: there is no such file or folder; name the earlier run or the map")
    area = area_file_named(old)
    if area.is_file() and not _has_map(old):
        return (area.parent / load_area(area).out).resolve()
    return old


def _has_map(folder: Path) -> bool:
    return any((folder / name).exists() for name in (MAP, DRAFT))


def _map_of(path: Path) -> tuple[Path, Path | None]:
    """The file or folder to read, and the folder of the run where it is one. A refreshed map goes before the draft."""
    if path.is_dir():
        name = next((name for name in (MAP, DRAFT) if (path / name).exists()), None)
        return (path / name, path) if name else (path, None)
    folder = _folder_of(path)
    is_run = folder is not None and ((folder / "rasters").is_dir() or (folder / "manifest.json").exists())
    return path, folder if is_run else None


def _folder_of(path: Path) -> Path | None:
    """The folder of the run whose map a file is by its name; None for a map of any other name."""
    if path.name in (MAP, DRAFT):
        return path.parent
    whole = path.resolve()
    return whole.parents[1] if (whole.parent.name, whole.name) == STYLED_DRAFT.parts else None


def _refuse_new_area(old: Path, path: Path, place: Place) -> None:
    whole, out = path.resolve(), place.out.resolve()
    if whole == out or out in whole.parents:
        raise InputError(
            f"{old}: is the new area itself, or lies in its folder {place.out}; name the earlier run or map as "
            "OLD, and draft the new tiles in an area file with another 'out:'"
        )


def _with_crs(layer: GivenLayer, old: Path, own_crs: str | None, place: Place) -> GivenLayer:
    """A layer that says its CRS: the file's own word, else the mapper's."""
    if layer.crs is None and own_crs is None:
        fits = _fits(layer, place)
        raise InputError(
            f"{old}: does not say its coordinate system ({layer.name}); add it with '--crs', such as "
            f"'--crs {place.crs}'" + (f". Its coordinates would fit the new tiles as {fits}" if fits else "")
        )
    if own_crs is not None:
        try:
            pyproj.CRS(own_crs)
        except pyproj.exceptions.CRSError as error:
            raise InputError(f"--crs {own_crs}: is no coordinate system; write a code such as EPSG:25832") from error
    if layer.crs is not None and own_crs is not None and not same_crs(layer.crs, own_crs):
        raise InputError(f"{old}: says {pyproj.CRS(layer.crs).name}, and '--crs' says {own_crs}; leave '--crs' out")
    return replace(layer, crs=layer.crs or own_crs)


def _fits(layer: GivenLayer, place: Place) -> str:
    bounds = np.asarray(layer.table.total_bounds, np.float64)
    if not np.isfinite(bounds).all():
        return ""
    west, south, east, north = map(float, bounds)
    return ", ".join(fitting_systems((west, south, east, north), place.crs, place.bounds))


def _as_written(path: Path) -> Path | None:
    """The copy of a draft or a refreshed map as it was written; None where there is none."""
    folder = _folder_of(path)
    if folder is None:
        return None
    copy = written_copy(path) if path.name == MAP else folder / AS_WRITTEN
    return copy if copy is not None and copy.exists() else None


def _changes_of(path: Path, layers: list[GivenLayer], copy: Path | None) -> Changed:
    """What a mapper changed in a draft since it was written, where a copy of it is at hand."""
    if copy is None or (path.name == DRAFT and is_known(path)):
        return Changed()
    return _changed_between(copy, layers)


def _changed_between(copy: Path, layers: list[GivenLayer]) -> Changed:
    written = {
        layer.name: layer.table.set_crs(layer.crs)
        for layer in read_given(copy)
        if not layer.name.startswith((ORIGINAL, MAPPED))
    }
    found = {layer.name: layer.table.set_crs(layer.crs) for layer in layers}
    return changed_since(written, found) if written else Changed()


def _refuse_elsewhere(found: OldMap, layers: list[GivenLayer], place: Place, *, is_run: bool) -> None:
    """A map of another place has nothing to compare. Surveys may lie some hundred metres off by their datums."""
    west, south, east, north = map(float, found.features.total_bounds)
    away_m = apart_m((west, south, east, north), place.bounds)
    if away_m <= (FARTHEST_M if is_run else 0.0):
        return
    own = pd.concat([pd.DataFrame([layer.table.total_bounds]) for layer in layers if len(layer.table)])
    box = (float(own[0].min()), float(own[1].min()), float(own[2].max()), float(own[3].max()))
    fits = fitting_systems(box, place.crs, place.bounds)
    hint = (
        f"Its coordinates would fit as {', or '.join(fits)}: save it with the right system"
        if fits
        else "Is it the map of this place, and is its coordinate system right?"
    )
    raise InputError(
        f"{found.source}: lies {away_m / 1000:,.1f} km from the new tiles, read as {pyproj.CRS(layers[0].crs).name}; "
        f"nothing to compare. {hint}"
    )


def with_later_edits(old: OldMap, crs: str, out: Path, /) -> OldMap:
    """An earlier map with what a mapper changed since in the refreshed map in `out`, if there is one.

    A refresh done again writes that map anew; without this it would take the mapper's work on it back.
    """
    path = out / MAP
    copy = written_copy(path) if path.exists() else None
    if copy is None:
        return old
    known = _read_later(out)
    read = [layer for layer in read_given(path) if layer.crs and not layer.name.startswith((ORIGINAL, MAPPED))]
    read = [layer for layer in read if len(layer.table)]
    changed = Changed() if sha256_of(path) == copy.stem else _changed_between(copy, read)
    again = understand(
        read, source=path, crs=crs, symbols=norm_table(), own_numbers={}, kind="run", edited=changed.rows
    )
    names = again.given[KEY].to_numpy(object)
    news = set(names[is_edited(read, changed.rows)])
    missing = set() if changed.struck is None else set(changed.struck["id"].astype(str)) - set(names)
    later = Later((known.changed | news) & set(names), known.struck | missing)
    if not later:
        return old
    arrays.write_json(out / LATER, {"changed": sorted(later.changed), "struck": sorted(later.struck)})
    return with_later(old, replace(again, struck=changed.struck), later)


def _read_later(out: Path) -> Later:
    if not (out / LATER).exists():
        return Later()
    told = cast("dict[str, list[str]]", arrays.read_json(out / LATER))
    return Later(frozenset(told["changed"]), frozenset(told["struck"]))


def _originals_of(noted: list[GivenLayer]) -> dict[str, gpd.GeoDataFrame]:
    """Geometry as it first came, which an earlier refresh has noted."""
    return {str(layer.crs): layer.table.set_crs(layer.crs) for layer in noted if layer.name.startswith(ORIGINAL)}


def _ground_of(noted: list[GivenLayer]) -> gpd.GeoDataFrame | None:
    """The ground of a finished map that an earlier refresh has noted."""
    return next((layer.table.set_crs(layer.crs) for layer in noted if layer.name == MAPPED), None)


def _season(run: Path | None) -> str:
    path = run / "report" / "leaf_season.json" if run else None
    return str(arrays.read_json(path).get("leaves", "unknown")) if path and path.exists() else "unknown"


def _date(run: Path | None) -> str:
    """The last day of flight, where the survey's record tells it."""
    path = run / "report" / "survey.json" if run else None
    if path is None or not path.exists():
        return ""
    flight = cast("dict[str, object]", arrays.read_json(path).get("flight", {}))
    days = sorted(str(day) for day in cast("list[str]", flight.get("days", [])))
    return datetime.date.fromisoformat(days[-1]).isoformat() if days else ""
