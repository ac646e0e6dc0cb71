"""A map put on a page: its plates clipped to what the page shows, elevations, frame, and where it lies on the earth."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyproj
import shapely

from pipeline.sheet.around import draw_frame, shown_part
from pipeline.sheet.content import Content
from pipeline.sheet.marginalia import Place
from pipeline.sheet.page.colours import Plate, tint
from pipeline.sheet.page.ink import area_path
from pipeline.sheet.page.page import Box, Frame, Sheet
from pipeline.sheet.page.pdf import CAP_HEIGHT_MM_PER_PT, Book, Georeference, Plates
from pipeline.sheet.page.position import corners, tick_step_m

RIM_MM = 1.0
"""What is kept around the map, for symbols that reach over its bounds."""
EDGE_MM = 0.25
"""What is shown beyond the outline, so that the line of the edge is drawn in full."""


def rim_of(frame: Frame, /) -> Box:
    """The whole map with its rim, millimetres of the map."""
    return Box(-RIM_MM, -RIM_MM, frame.width_mm + 2 * RIM_MM, frame.height_mm + 2 * RIM_MM)


def draw_map(
    book: Book,
    plates: Plates,
    content: Content,
    frame: Frame,
    sheet: Sheet,
    /,
    *,
    opacity: Mapping[Plate, float] | None = None,
) -> None:
    """The part of the map a page shows, clipped to the area, with its frame; half of the edge's line stays.

    Parameters
    ----------
    opacity : how strong each plate is printed, 0 to 1; all in full where it is not given
    """
    book.place(plates, sheet.page_from_map, clip=clip_of(content, sheet), opacity=opacity)
    window = shapely.box(*shown_part(sheet))
    labels = content.labels
    size_pt = labels.height_mm * sheet.magnify / CAP_HEIGHT_MM_PER_PT
    for words, place, turn, box in zip(labels.words, labels.places, labels.turn_deg, labels.boxes, strict=True):
        if shapely.covers(window, box):
            right, up = sheet.page_from_map @ tuple(place)
            book.turned_text(right, up, words, size_pt=size_pt, turn_deg=float(turn), colour=tint("brown"))
    step_m = tick_step_m(frame.scale / sheet.magnify)
    draw_frame(book, sheet, sheet.page_from_map @ frame.map_from_ground, step_m=step_m)


def clip_of(content: Content, sheet: Sheet, /) -> str:
    """What a page shows of the mapped area, as a path in millimetres of the map."""
    window = shapely.box(*shown_part(sheet)).buffer(RIM_MM, join_style="mitre")
    inside = shapely.intersection(window, shapely.buffer(content.outline, EDGE_MM))
    return area_path(np.array([inside], object))


def crs_name(crs: str, /) -> str:
    """The name of a CRS in words."""
    return str(pyproj.CRS.from_user_input(crs).name)


def place_of(sheet: Sheet, frame: Frame, crs: str, /) -> Place:
    """Where a page's map lies, for a GPS."""
    step_m = tick_step_m(frame.scale / sheet.magnify)
    return Place(crs_name(crs), step_m, corners(sheet, sheet.page_from_map @ frame.map_from_ground, crs))


def georeference(sheet: Sheet, frame: Frame, crs: str, /) -> Georeference:
    """The corners of a page's map in latitude and longitude."""
    projected = pyproj.CRS.from_user_input(crs)
    to_ground = ~(sheet.page_from_map @ frame.map_from_ground)
    window = sheet.window
    left, right, bottom, top = window.left, window.right, window.bottom, window.top
    corners = ((left, bottom), (left, top), (right, top), (right, bottom))
    unproject = pyproj.Transformer.from_crs(projected, projected.geodetic_crs, always_xy=True)
    places = [unproject.transform(*(to_ground @ corner)) for corner in corners]
    return Georeference(
        window,
        tuple((latitude, longitude) for longitude, latitude in places),
        projected.to_wkt("WKT1_GDAL"),
        projected.to_epsg(),
    )
