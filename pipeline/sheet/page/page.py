"""The page: how ground becomes paper, how big the paper is, where map and panel lie on it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from affine import Affine
from shapely.geometry import MultiPolygon, Polygon

from pipeline.settings import SheetSettings
from pipeline.sheet.page.north import MagneticNorth

GAP_MM = 5.0
"""Distance between map, title and panel, so that they part."""
TITLE_MM = 14.0
"""Height of the title: name, scale and contour interval."""
FOOT_MM = 30.0
"""Height of the foot of a part sheet: scale bar, index of the sheets, sources, corners, a line for the fieldworker."""
TICKS_MM = 4.0
"""What is kept free around the map for the ticks of the grid and their figures."""
CAPTION_MM = 5.0
"""Height of the words above an enlargement and its ticks."""
LARGEST_FACTOR = 3
"""How many times a small map is enlarged at most in the room beside it: from 1:15 000 to 1:5 000 (our choice)."""
COLUMN_MM = 58.0
"""Width of a legend column: a symbol and its full name."""

PAPERS_MM: dict[str, tuple[float, float]] = {
    "A5": (148.0, 210.0),
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (215.9, 279.4),
}
"""ISO 216, and the letter of ANSI/ASME Y14.1; A3 is the largest sheet a map should have (ISOM 2017-2, 2.13, from
memory)."""
AUTO_PAPERS = ("A5", "A4", "A3")
"""Papers that are tried, smallest first, where the area file names none."""


@dataclass(frozen=True)
class Box:
    """A rectangle in millimetres, counted from the lower left."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height


@dataclass(frozen=True)
class Frame:
    """The map on paper: millimetres from its lower left corner, magnetic north up, exactly to scale.

    Attributes
    ----------
    map_from_ground : Affine
        (east, north) in the CRS -> (right, up) in millimetres of the map.
    width_mm, height_mm : float
        Size of the mapped area on paper.
    anchor_mm : pair of floats
        Corner of the map counted from the origin of the CRS, along the map's own axes.
    scale : int
    """

    map_from_ground: Affine
    width_mm: float
    height_mm: float
    anchor_mm: tuple[float, float]
    scale: int


def frame_of(outline: Polygon | MultiPolygon, /, *, north: MagneticNorth, scale: int) -> Frame:
    """The map of an outline at a scale, turned so that magnetic north is up.

    Lengths are those on the ellipsoid: the grid's scale factor at the middle of the area is taken out.
    """
    mm_per_m = 1000 / (scale * north.scale_factor)
    upright = Affine.scale(mm_per_m) @ Affine.rotation(north.grid_deg)
    west, south, east, north_edge = shapely.transform(
        outline, lambda points: points @ [[upright.a, upright.d], [upright.b, upright.e]]
    ).bounds
    placed = Affine.translation(-west, -south) @ upright
    return Frame(placed, east - west, north_edge - south, (west, south), scale)


@dataclass(frozen=True)
class Sheet:
    """One page: its size, what part of the map it shows, where, and where the panel's columns are.

    Attributes
    ----------
    window : Box
        Where the map lies on the page.
    map_corner_mm : pair of floats
        Place of the map, in its own millimetres, at the window's lower left corner.
    magnify : float
        Millimetres on the page for one of the map: 1, or less on an overview.
    columns : tuple of Box
        Columns of the panel (legend, scale bar, notes), in reading order.
    enlarged : Box or None
        Where the whole map is shown once more, a whole number of times larger, as a small map leaves room for it.
    """

    width_mm: float
    height_mm: float
    title: Box
    window: Box
    map_corner_mm: tuple[float, float]
    magnify: float
    columns: tuple[Box, ...]
    enlarged: Box | None = None

    @property
    def page_from_map(self) -> Affine:
        """Millimetres of the map -> millimetres of the page, from its lower left corner."""
        corner = Affine.translation(-self.map_corner_mm[0], -self.map_corner_mm[1])
        return Affine.translation(self.window.left, self.window.bottom) @ Affine.scale(self.magnify) @ corner

    @property
    def factor(self) -> int:
        """How many times larger the enlargement is than the map; 1 where there is none."""
        return round(self.enlarged.width / self.window.width) if self.enlarged else 1

    @property
    def enlargement(self) -> Sheet:
        """The page with the enlargement as its map, and nothing else on it.

        Raises
        ------
        ValueError
            If the page has none.
        """
        if self.enlarged is None:
            raise ValueError("this page has no enlargement")
        return replace(self, window=self.enlarged, magnify=self.magnify * self.factor, enlarged=None)


@dataclass(frozen=True)
class _Space:
    """A way to divide a page: room for the map and columns for the panel."""

    width_mm: float
    height_mm: float
    title: Box
    room: Box
    columns: tuple[Box, ...]


def single_sheet(frame: Frame, item_heights_mm: Sequence[float], /, *, settings: SheetSettings) -> Sheet | None:
    """The smallest page that holds the whole map and the panel, None if none does.

    Of the ways to lay out that page, the one that has room for the largest enlargement of the map.
    """
    for paper in _papers(settings):
        spaces = _spaces(paper, item_heights_mm, settings)
        fitting = [s for s in spaces if frame.width_mm <= s.room.width and frame.height_mm <= s.room.height]
        sheets = [_with_map(space, frame, magnify=1.0) for space in fitting]
        if sheets:
            return max(sheets, key=lambda sheet: sheet.factor)
    return None


def overview_sheet(frame: Frame, item_heights_mm: Sequence[float], /, *, settings: SheetSettings) -> Sheet:
    """The page on which the whole map, reduced, is largest beside the panel.

    Raises
    ------
    ValueError
        If the panel alone does not fit on the largest page.
    """
    spaces = [space for paper in _papers(settings) for space in _spaces(paper, item_heights_mm, settings)]
    if not spaces:
        raise ValueError("the legend does not fit on the largest sheet; choose a larger paper")

    def reduction(space: _Space) -> float:
        return min(space.room.width / frame.width_mm, space.room.height / frame.height_mm, 1.0)

    best = max(spaces, key=reduction)
    return _with_map(best, frame, magnify=reduction(best))


def _with_map(space: _Space, frame: Frame, *, magnify: float) -> Sheet:
    """The map at the top of its room, in the middle; what is left below has room for notes."""
    width, height = frame.width_mm * magnify, frame.height_mm * magnify
    room = space.room
    window = Box(room.left + (room.width - width) / 2, room.top - height, width, height)
    enlarged = _enlarged(room, width, height) if magnify == 1 else None
    if enlarged is not None and enlarged.left > room.left + width:
        window = Box(room.left, room.top - height, width, height)
    return Sheet(space.width_mm, space.height_mm, space.title, window, (0.0, 0.0), magnify, space.columns, enlarged)


def _enlarged(room: Box, width: float, height: float) -> Box | None:
    """Where the map fits once more into its room, as many times larger as there is room for, below or beside it."""
    apart = 2 * TICKS_MM + GAP_MM
    for factor in range(LARGEST_FACTOR, 1, -1):
        wide, high = width * factor, height * factor
        if wide <= room.width and height + apart + CAPTION_MM + high <= room.height:
            return Box(room.left + (room.width - wide) / 2, room.top - height - apart - CAPTION_MM - high, wide, high)
        if high + CAPTION_MM <= room.height and width + apart + wide <= room.width:
            return Box(room.right - wide, room.top - CAPTION_MM - high, wide, high)
    return None


def part_sheets(frame: Frame, outline_mm: Polygon | MultiPolygon, /, *, settings: SheetSettings) -> list[Sheet]:
    """Pages of the largest paper allowed that cover the map at its scale, with an overlap; as few as possible."""
    options = [_grid_of_parts(frame, outline_mm, page, settings) for page in _pages(_papers(settings)[-1], settings)]
    return min(options, key=len)


def _grid_of_parts(
    frame: Frame, outline_mm: Polygon | MultiPolygon, page: tuple[float, float], settings: SheetSettings
) -> list[Sheet]:
    space = _above_foot(page, settings)
    room = space.room
    width, height = room.width, room.height
    lefts = _starts(frame.width_mm, width, settings.sheet_overlap_mm)
    bottoms = _starts(frame.height_mm, height, settings.sheet_overlap_mm)[::-1]
    sheets = []
    for bottom, left in itertools.product(bottoms, lefts):
        if shapely.box(left, bottom, left + width, bottom + height).intersects(outline_mm):
            sheets.append(Sheet(*page, space.title, room, (left, bottom), 1.0, space.columns))
    return sheets


def _above_foot(page: tuple[float, float], settings: SheetSettings) -> _Space:
    """A page with a foot instead of a panel: the map has all the room above it."""
    margin, title = settings.page_margin_mm, _title_of(page, settings)
    foot = Box(margin, margin, page[0] - 2 * margin, FOOT_MM)
    room = Box(margin, foot.top + GAP_MM, page[0] - 2 * margin, title.bottom - foot.top - 2 * GAP_MM)
    return _Space(*page, title, _within_ticks(room), (foot,))


def enlarged_sheet(frame: Frame, /, *, settings: SheetSettings) -> Sheet | None:
    """A page of the largest paper allowed with the whole map above its foot and the map once more, enlarged.

    None where the map is too large for that. Of the ways to hold the paper the one with the largest enlargement.
    """
    spaces = [_above_foot(page, settings) for page in _pages(_papers(settings)[-1], settings)]
    fitting = [s for s in spaces if frame.width_mm <= s.room.width and frame.height_mm <= s.room.height]
    sheets = [sheet for sheet in (_with_map(space, frame, magnify=1.0) for space in fitting) if sheet.enlarged]
    return max(sheets, key=lambda sheet: sheet.factor, default=None)


def _starts(length: float, window: float, overlap: float) -> list[float]:
    """Where windows begin that cover a length, evenly spread about its middle."""
    n = max(1, math.ceil((length - overlap) / (window - overlap)))
    step = (length - window) / (n - 1) if n > 1 else 0.0
    first = 0.0 if n > 1 else (length - window) / 2
    return [first + i * step for i in range(n)]


def _papers(settings: SheetSettings) -> tuple[str, ...]:
    """Names of the papers that may be used, smallest first."""
    return AUTO_PAPERS if settings.paper == "auto" else (settings.paper,)


def _pages(paper: str, settings: SheetSettings) -> list[tuple[float, float]]:
    """Width and height of a paper, the ways it may be held."""
    width, height = PAPERS_MM[paper]
    ways = {"portrait": [(width, height)], "landscape": [(height, width)]}
    return ways.get(settings.orientation, [(width, height), (height, width)])


def _within_ticks(box: Box) -> Box:
    """What is left for the map when ticks and their figures stand around it."""
    inside = box.left + TICKS_MM, box.bottom + TICKS_MM
    return Box(*inside, box.width - 2 * TICKS_MM, box.height - 2 * TICKS_MM)


def _title_of(page: tuple[float, float], settings: SheetSettings) -> Box:
    margin = settings.page_margin_mm
    return Box(margin, page[1] - margin - TITLE_MM, page[0] - 2 * margin, TITLE_MM)


def _spaces(paper: str, item_heights_mm: Sequence[float], settings: SheetSettings) -> list[_Space]:
    """All ways to divide a page of a paper."""
    pages = _pages(paper, settings)
    spaces: list[_Space] = []
    for n_columns in (1, 2, 3):
        spaces += [_panel_right(page, n_columns, item_heights_mm, settings) for page in pages]
    spaces += [_panel_below(page, item_heights_mm, settings) for page in pages]
    spaces = [replace(space, room=_within_ticks(space.room)) for space in spaces]
    return [space for space in spaces if space.room.width > 0 and space.room.height > 0]


def _nowhere(page: tuple[float, float], title: Box) -> _Space:
    return _Space(*page, title, Box(0, 0, 0, 0), ())


def _panel_right(page: tuple[float, float], n: int, heights: Sequence[float], settings: SheetSettings) -> _Space:
    margin, gap, column = settings.page_margin_mm, GAP_MM, COLUMN_MM
    title = _title_of(page, settings)
    height = title.bottom - gap - margin
    if len(flow(heights, height)) > n:
        return _nowhere(page, title)
    panel = n * column + (n - 1) * gap
    left = page[0] - margin - panel
    columns = tuple(Box(left + i * (column + gap), margin, column, height) for i in range(n))
    return _Space(*page, title, Box(margin, margin, left - gap - margin, height), columns)


def _panel_below(page: tuple[float, float], heights: Sequence[float], settings: SheetSettings) -> _Space:
    margin, gap = settings.page_margin_mm, GAP_MM
    title = _title_of(page, settings)
    width = page[0] - 2 * margin
    n = int((width + gap) // (COLUMN_MM + gap))
    column = (width - (n - 1) * gap) / n
    panel = lowest_height(heights, n)
    room = Box(margin, margin + panel + gap, width, title.bottom - 2 * gap - margin - panel)
    columns = tuple(Box(margin + i * (column + gap), margin, column, panel) for i in range(n))
    return _Space(*page, title, room, columns) if room.height > 0 else _nowhere(page, title)


def flow(heights: Sequence[float], column_height: float, /) -> list[list[int]]:
    """Indices of the items of each column when they are set one under another in columns of this height."""
    columns: list[list[int]] = [[]]
    used = 0.0
    for index, height in enumerate(heights):
        if columns[-1] and used + height > column_height + 1e-6:
            columns.append([])
            used = 0.0
        columns[-1].append(index)
        used += height
    return columns


def lowest_height(heights: Sequence[float], n_columns: int, /) -> float:
    """The least height at which the items flow into so many columns."""
    candidates = sorted(
        {sum(heights[i : j + 1]) for i in range(len(heights)) for j in range(i, len(heights))} | {max(heights)}
    )
    enough = [height for height in candidates if height >= max(heights)]
    return next(height for height in enough if len(flow(heights, height)) <= n_columns)
