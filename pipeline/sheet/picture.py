"""Pictures of the sheet: a page as pixels, and the map alone with its place on the ground."""

from __future__ import annotations

import io
import math

import numpy as np
import pypdfium2
from affine import Affine
from numpy.typing import NDArray
from PIL import Image

from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import SheetDrawing

Picture = NDArray[np.uint8]
"""(rows, cols, 3) uint8: red, green, blue."""
MM_PER_INCH = 25.4


def sheet_pictures(drawing: SheetDrawing, /, *, settings: SheetSettings) -> tuple[Picture, Picture, Affine]:
    """The first page, the map alone, and the map's transform from (column, row) to (east, north).

    The map of an overview is rendered more finely than its page, so that the georeferenced image keeps its detail.
    """
    page = render_png(drawing.pdf, dpi=settings.resolution_dpi)
    fine_dpi = map_resolution_dpi(drawing, dpi=settings.resolution_dpi, largest_image_mpx=settings.largest_image_mpx)
    whole = page if fine_dpi == settings.resolution_dpi else render_png(drawing.pdf, dpi=fine_dpi)
    return page, *map_picture(drawing, whole)


def render_png(pdf: bytes, /, *, dpi: float, page: int = 0) -> Picture:
    """A page of the PDF as a picture.

    Raises
    ------
    IndexError
        If the PDF has no such page.
    """
    with pypdfium2.PdfDocument(io.BytesIO(pdf)) as document:
        if not 0 <= page < len(document):
            raise IndexError(f"the sheet has {len(document)} pages, not {page + 1}")
        bitmap = document[page].render(scale=dpi / 72, rev_byteorder=True)
        picture: Picture = np.array(bitmap.to_numpy()[..., :3])
    return picture


def ground_from_pixel(drawing: SheetDrawing, picture: Picture, /, *, page: int = 0) -> Affine:
    """Transform from (column, row) of the picture of a page to (east, north) in the CRS.

    Whole numbers are the corners of pixels, as GDAL counts. Magnetic north is up, so the transform turns as well as
    scales.
    """
    sheet = drawing.sheets[page]
    rows, columns = picture.shape[:2]
    page_from_pixel = Affine(sheet.width_mm / columns, 0, 0, 0, -sheet.height_mm / rows, sheet.height_mm)
    transform: Affine = ~drawing.page_from_ground(page) @ page_from_pixel
    return transform


def map_picture(drawing: SheetDrawing, picture: Picture, /) -> tuple[Picture, Affine]:
    """The map cut out of a picture of the first page, without title and legend, and its transform to the ground."""
    sheet = drawing.sheets[0]
    rows, columns = picture.shape[:2]
    per_mm = columns / sheet.width_mm, rows / sheet.height_mm
    left, right = math.floor(sheet.window.left * per_mm[0]), math.ceil(sheet.window.right * per_mm[0])
    top = math.floor((sheet.height_mm - sheet.window.top) * per_mm[1])
    bottom = math.ceil((sheet.height_mm - sheet.window.bottom) * per_mm[1])
    transform: Affine = ground_from_pixel(drawing, picture) @ Affine.translation(left, top)
    return picture[top:bottom, left:right], transform


def grid_north_up(picture: Picture, transform: Affine, /) -> tuple[Picture, Affine]:
    """A turned map laid out anew with grid north up, for devices that cannot turn a picture.

    Returns
    -------
    picture : (rows, cols, 4) uint8, with what lies outside the map transparent
    transform : of the new picture, (column, row) to (east, north), not turned
    """
    rows, columns = picture.shape[:2]
    cell = math.hypot(transform.a, transform.d)
    places = [transform @ corner for corner in ((0, 0), (columns, 0), (columns, rows), (0, rows))]
    west, north = min(place[0] for place in places), max(place[1] for place in places)
    width = math.ceil((max(place[0] for place in places) - west) / cell)
    height = math.ceil((north - min(place[1] for place in places)) / cell)
    upright = Affine(cell, 0, west, 0, -cell, north)
    back = ~transform @ upright
    turned = Image.fromarray(picture).convert("RGBA")
    # Pillow turns a picture in half the time that GDAL takes, to one grey level the same (measured).
    steps = (back.a, back.b, back.c, back.d, back.e, back.f)
    turned = turned.transform((width, height), Image.Transform.AFFINE, steps, Image.Resampling.BILINEAR)
    return np.asarray(turned), upright


def map_resolution_dpi(drawing: SheetDrawing, /, *, dpi: float, largest_image_mpx: float) -> float:
    """Resolution at which the first page shows the map as finely as `dpi` does at the map's scale.

    A map on one page needs `dpi` itself; an overview needs more, up to the most pixels allowed.
    """
    sheet = drawing.sheets[0]
    page_inches2 = sheet.width_mm * sheet.height_mm / MM_PER_INCH**2
    most = math.sqrt(largest_image_mpx * 1e6 / page_inches2)
    return min(dpi / sheet.magnify, max(most, dpi))
