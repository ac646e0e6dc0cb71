"""`tussock audit`: a finished draft, as its sheet prints it, against the least sizes and gaps of the norm."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from pipeline.audit.audit import Audit, find_all, table_of
from pipeline.audit.printed import printed
from pipeline.errors import InputError
from pipeline.files import arrays, layers
from pipeline.norm.paper import enlargement
from pipeline.norm.symbols import norm_table
from pipeline.sheet.content import marks_on_paper, on_map
from pipeline.sheet.page.north import SHEET_EDGE, north_of_area
from pipeline.sheet.page.page import frame_of


def audit_folder(out: Path, /) -> Audit:
    """The audit of the draft in a folder, at the scale that its manifest names.

    Raises
    ------
    InputError
        If the folder holds no finished draft.
    """
    draft, manifest = out / "draft.gpkg", out / "manifest.json"
    if not (draft.exists() and manifest.exists()):
        raise InputError(f"{out}: holds no finished draft (draft.gpkg and manifest.json); run 'tussock draft' first")
    told = arrays.read_json(manifest)
    area = cast("dict[str, object]", told["area"])
    crs = str(cast("dict[str, object]", told["working_crs"])["crs"])
    return audit_draft(
        {name: layers.read_layer(draft, name) for name in layers.count_features(draft)},
        crs=crs,
        scale=cast("int", area["scale"]),
        map_date=datetime.date.fromisoformat(str(area["map_date"])),
    )


def audit_draft(drawn: dict[str, gpd.GeoDataFrame], /, *, crs: str, scale: int, map_date: datetime.date) -> Audit:
    """The audit of the layers of a draft. The mapped area is what their sheet edge encloses."""
    outline = _mapped_area(drawn["technical_line"])
    frame = frame_of(outline, north=north_of_area(outline, crs=crs, date=map_date), scale=scale)
    edge_mm = on_map(np.array([outline], object), frame)[0]
    marks = marks_on_paper(list(drawn.values()), frame, edge_mm, symbols=norm_table())
    enlarge = enlargement(scale)
    on_paper = printed([mark for mark in marks if mark.symbol.section != "technical"])
    edge = shapely.transform(edge_mm, lambda points: points / enlarge)
    findings = find_all(on_paper, edge)
    to_ground = ~frame.map_from_ground
    places = [to_ground @ (one.place.x * enlarge, one.place.y * enlarge) for one in findings]
    ground = gpd.GeoSeries([shapely.Point(place) for place in places], crs=crs)
    return Audit(table_of(findings, ground), len(on_paper))


def _mapped_area(technical: gpd.GeoDataFrame) -> MultiPolygon:
    """The area that the lines of the sheet edge enclose, holes left out."""
    edges = technical.geometry[technical["symbol"] == SHEET_EDGE].to_numpy()
    rings = [shapely.Polygon(shapely.get_coordinates(edge)) for edge in edges]
    # The ring of a hole lies inside that of its part: what is covered an even number of times is not mapped.
    area: BaseGeometry = MultiPolygon()
    for ring in rings:
        area = area.symmetric_difference(ring)
    return MultiPolygon([part for part in shapely.get_parts(area) if isinstance(part, shapely.Polygon)])
