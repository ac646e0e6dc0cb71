"""Writing the PDF: pages measured in millimetres, plates as transparency groups, text in an embedded typeface.

Every plate is a form XObject with a transparency group in CMYK; those that overprint are blended by multiplying, which
in a subtractive colour space adds the inks (ISO 32000-1, 11.3.5 and 11.6.6).
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final, Literal

import pikepdf
from affine import Affine
from PIL import Image
from reportlab.lib.colors import CMYKColor
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from pipeline.sheet.page.colours import COVERING, Cmyk, Plate, tint
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.letters import PLAIN, POINTS_PER_MM, runs, text_width_mm, typeface
from pipeline.sheet.page.page import Box

CAP_HEIGHT_MM_PER_PT = 0.714 * 25.4 / 72
"""Height of the figures of the typeface (Noto Sans) in millimetres, for a size of one point."""
COMPRESSION: Final = 4
"""Level of zlib, 1 to 9, for the plates: files are 5 % larger than with the usual 6, in a quarter of its time (measured
on two sheets)."""
BLACK = tint("black")
Align = Literal["left", "centre", "right"]


@dataclass(frozen=True)
class Plates:
    """Names of the forms that hold the plates of one drawing, bottom first."""

    forms: tuple[tuple[Plate, str], ...]


@dataclass(frozen=True)
class Georeference:
    """Where the corners of the map's window lie on the earth.

    Attributes
    ----------
    window : Box
        The map on the page, millimetres.
    corners_deg : four pairs of latitude and longitude in the datum of the CRS
        Lower left, upper left, upper right, lower right.
    wkt : str
        The projected CRS as well-known text.
    epsg : int or None
    """

    window: Box
    corners_deg: tuple[tuple[float, float], ...]
    wkt: str
    epsg: int | None


@dataclass
class Book:
    """A PDF being written, page by page.

    Attributes
    ----------
    title, subject, author : what programs show of the file
    made : day written into the file; without one it holds a fixed day
    """

    title: str
    subject: str
    author: str = ""
    made: datetime.date | None = None
    _bytes: io.BytesIO = field(default_factory=io.BytesIO)
    _plates: dict[str, str] = field(default_factory=dict)
    _georeferences: list[tuple[Georeference, ...]] = field(default_factory=list)

    def __post_init__(self) -> None:
        # Invariant: no time of writing, so the same map is the same file.
        self.canvas = Canvas(
            self._bytes, pageCompression=1, invariant=1, initialFontName=typeface(PLAIN), pdfVersion=(1, 7)
        )
        self.canvas.setTitle(self.title)
        self.canvas.setSubject(self.subject)
        self.canvas.setCreator("Tussock")
        self.canvas.setAuthor(self.author)

    def begin_page(self, width_mm: float, height_mm: float, /) -> None:
        """Start a page of this size."""
        self.canvas.setPageSize((width_mm * POINTS_PER_MM, height_mm * POINTS_PER_MM))

    def end_page(self, *georeferences: Georeference) -> None:
        """Finish the page; with the place of its maps on the earth, phones and GIS programs find it."""
        self.canvas.showPage()
        self._georeferences.append(georeferences)

    def finished(self) -> bytes:
        """The file: pages as ReportLab wrote them, and in them what it does not offer, put in by pikepdf.

        These are the plates, for which ReportLab has left empty forms, and where the pages lie on the earth.
        """
        self.canvas.save()
        target = io.BytesIO()
        pikepdf.settings.set_flate_compression_level(COMPRESSION)
        with pikepdf.Pdf.open(self._bytes) as pdf:
            filled: set[str] = set()
            for page, georeferences in zip(pdf.pages, self._georeferences, strict=True):
                if georeferences:
                    page.obj["/VP"] = pikepdf.Array([_viewport(georeference) for georeference in georeferences])
                for name, form in page.resources.get("/XObject", {}).items():
                    # A plate shown on several pages is one form.
                    if name in self._plates and name not in filled:
                        _fill(form, self._plates[name])
                        filled.add(name)
            if self.made:
                for entry in ("/CreationDate", "/ModDate"):
                    pdf.docinfo[entry] = f"D:{self.made:%Y%m%d}000000Z"
            # An identifier made from the content: the same map is the same file.
            pdf.save(target, deterministic_id=True)
        return target.getvalue()

    # ------------------------------------------------------------ plates

    def add_plates(self, name: str, ink: Ink, box: Box, /) -> Plates:
        """Store the plates of a drawing within a box of its own millimetres, to be placed on pages."""
        forms = []
        for plate in Plate:
            text = ink.text_of(plate)
            if text:
                form = f"{name}_{plate.name.lower()}"
                self.canvas.beginForm(form, *(round(edge, 3) for edge in (box.left, box.bottom, box.right, box.top)))
                self.canvas.endForm()
                self._plates[f"/{pdfdoc.xObjectName(form)}"] = text
                forms.append((plate, form))
        return Plates(tuple(forms))

    def place(
        self,
        plates: Plates,
        page_from_drawing: Affine,
        /,
        *,
        clip: str = "",
        opacity: Mapping[Plate, float] | None = None,
    ) -> None:
        """Put the plates on the page, inside a path given in the drawing's millimetres, some of them pale."""
        self.canvas.saveState()
        self._transform(page_from_drawing)
        if clip:
            self.canvas.clipPath(PDFPathObject([clip]), stroke=0, fill=0)
        for plate, form in plates.forms:
            self.canvas.setBlendMode("Normal" if plate in COVERING else "Multiply")
            if opacity is not None:
                self.canvas.setFillAlpha(opacity.get(plate, 1.0))
            self.canvas.doForm(form)
        self.canvas.restoreState()

    def picture(self, grey: Image.Image, page_from_picture: Affine, /, *, clip: str, page_from_clip: Affine) -> None:
        """Put a grey picture on the page, inside a path; the transform is from (column, row) to millimetres."""
        self.canvas.saveState()
        self._transform(page_from_clip)
        self.canvas.clipPath(PDFPathObject([clip]), stroke=0, fill=0)
        # The PDF draws a picture into the unit square, upright.
        upright = Affine(grey.width, 0, 0, 0, -grey.height, grey.height)
        self._transform(~page_from_clip @ page_from_picture @ upright, unit_pt=1.0)
        self.canvas.drawImage(ImageReader(grey), 0, 0, 1, 1)
        self.canvas.restoreState()

    def _transform(self, affine: Affine, *, unit_pt: float = POINTS_PER_MM) -> None:
        """Draw from here on in other units, those of the transform's source."""
        to_points = Affine.scale(unit_pt) @ affine
        self.canvas.transform(to_points.a, to_points.d, to_points.b, to_points.e, to_points.c, to_points.f)

    # ------------------------------------------------------------ marginalia

    def text(
        self,
        right_mm: float,
        up_mm: float,
        words: str,
        /,
        *,
        size_pt: float,
        face: str = PLAIN,
        align: Align = "left",
        colour: Cmyk = BLACK,
    ) -> None:
        """One line of text on its base line."""
        canvas = self.canvas
        canvas.setFillColor(CMYKColor(*colour))
        before = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
        right_mm -= before * text_width_mm(words, size_pt=size_pt, face=face) if before else 0.0
        for run in runs(words, face=face):
            canvas.setFont(run.face, size_pt)
            canvas.drawString(right_mm * POINTS_PER_MM, up_mm * POINTS_PER_MM, run.letters)
            right_mm += canvas.stringWidth(run.letters, run.face, size_pt) / POINTS_PER_MM

    def turned_text(
        self, right_mm: float, up_mm: float, words: str, /, *, size_pt: float, turn_deg: float, colour: Cmyk
    ) -> None:
        """A word about its middle, turned counter-clockwise, printed over what is below."""
        self.canvas.saveState()
        self.canvas.setBlendMode("Multiply")
        self.canvas.translate(right_mm * POINTS_PER_MM, up_mm * POINTS_PER_MM)
        self.canvas.rotate(turn_deg)
        half_height = CAP_HEIGHT_MM_PER_PT * size_pt / 2
        self.text(0.0, -half_height, words, size_pt=size_pt, align="centre", colour=colour)
        self.canvas.restoreState()

    def line(
        self, start: tuple[float, float], end: tuple[float, float], /, *, line_mm: float, colour: Cmyk = BLACK
    ) -> None:
        """A straight line."""
        self.canvas.setLineWidth(line_mm * POINTS_PER_MM)
        self.canvas.setStrokeColor(CMYKColor(*colour))
        self.canvas.line(*(place * POINTS_PER_MM for place in (*start, *end)))

    def ring(self, middle: tuple[float, float], radius_mm: float, /, *, line_mm: float, colour: Cmyk) -> None:
        """A circle, open."""
        self.canvas.setLineWidth(line_mm * POINTS_PER_MM)
        self.canvas.setStrokeColor(CMYKColor(*colour))
        self.canvas.circle(*(part * POINTS_PER_MM for part in (*middle, radius_mm)), stroke=1, fill=0)

    def box(self, box: Box, /, *, fill: Cmyk | None = None, line_mm: float = 0.0, colour: Cmyk = BLACK) -> None:
        """A rectangle: filled, outlined, or both."""
        canvas = self.canvas
        canvas.setLineWidth(line_mm * POINTS_PER_MM)
        canvas.setStrokeColor(CMYKColor(*colour))
        if fill is not None:
            canvas.setFillColor(CMYKColor(*fill))
        edges = [edge * POINTS_PER_MM for edge in (box.left, box.bottom, box.width, box.height)]
        canvas.rect(*edges, stroke=int(line_mm > 0), fill=int(fill is not None))


def _viewport(georeference: Georeference) -> pikepdf.Dictionary:
    """A viewport with a geospatial measure (ISO 32000-2, 12.10; from memory)."""
    corners = pikepdf.Array([0, 0, 0, 1, 1, 1, 1, 0])
    system = pikepdf.Dictionary(Type=pikepdf.Name.PROJCS, WKT=georeference.wkt)
    if georeference.epsg is not None:
        system["/EPSG"] = georeference.epsg
    degrees = [Decimal(f"{degree:.9f}") for corner in georeference.corners_deg for degree in corner]
    window = georeference.window
    edges = [edge * POINTS_PER_MM for edge in (window.left, window.bottom, window.right, window.top)]
    return pikepdf.Dictionary(
        Type=pikepdf.Name.Viewport,
        BBox=pikepdf.Array([Decimal(f"{edge:.4f}") for edge in edges]),
        Measure=pikepdf.Dictionary(
            Type=pikepdf.Name.Measure,
            Subtype=pikepdf.Name.GEO,
            Bounds=corners,
            LPTS=corners,
            GPTS=pikepdf.Array(degrees),
            GCS=system,
        ),
    )


def _fill(form: pikepdf.Object, operators: str) -> None:
    """Make a form of these operators that is composed by itself before it is blended with what lies below."""
    form.write(operators.encode("ascii"))
    form["/Resources"] = pikepdf.Dictionary()
    form["/Group"] = pikepdf.Dictionary(
        Type=pikepdf.Name.Group, S=pikepdf.Name.Transparency, CS=pikepdf.Name.DeviceCMYK, I=True
    )
