"""What the draft is not sure of, for the fieldwork sheet: candidates thin and pink, and figures that say how sure.

A candidate is a feature that is less likely there than not; the map leaves it out, the fieldworker looks for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.norm.symbols import Symbol, SymbolTable
from pipeline.sheet.content import NOT_PRINTED, marks_of, on_map
from pipeline.sheet.page.colours import Cmyk, Plate, tint
from pipeline.sheet.page.ink import Ink, Places
from pipeline.sheet.page.page import Frame
from pipeline.sheet.symbols.symbol import draw_marks

CANDIDATE = "candidate"
THIN_RATIO = 0.6
"""Size and line width of a candidate over those of the symbol on the map (our choice)."""
OUTLINE_MM, OUTLINE_DASHES_MM = 0.2, (1.2, 0.6)
"""Outline of a candidate area: line, dash and gap on paper (our choice)."""
SURE = 0.8
"""Confidence from which a drawn feature gets no figure: a mapper passes it without a second look (our choice)."""
SELF_EVIDENT = ("101", "101.1", "102", "103", "416")
"""Lines that stand for a surface and whose confidence says nothing about a single thing to look at."""
FIGURED = ("landform", "rock", "water", "manmade")
"""Sections whose features get figures; of vegetation the areas are too many."""
PINK = "pink"
CANDIDATE_COLOUR: Cmyk = tint(PINK)
DOUBT_COLOUR: Cmyk = tint("black", 75)


@dataclass(frozen=True)
class Figures:
    """Words beside features, one a feature.

    Attributes
    ----------
    words : tuple of n texts
    places : (n, 2) float64, millimetres of the map: a point of each feature
    colours : tuple of n colours
    doubt : (n,) float64, how undecided each is: 1 at a confidence of a half, 0 where it is certain
    """

    words: tuple[str, ...]
    places: Places
    colours: tuple[Cmyk, ...]
    doubt: NDArray[np.float64]


def candidates_of(layers: Sequence[gpd.GeoDataFrame], /) -> list[gpd.GeoDataFrame]:
    """The candidates of each layer, those that are somewhere."""
    tables = [table[table["status"] == CANDIDATE] for table in layers if "status" in table]
    return [table[~(table.geometry.is_empty | table.geometry.isna())] for table in tables]


def draw_candidates(layers: Sequence[gpd.GeoDataFrame], frame: Frame, /, *, symbols: SymbolTable) -> Ink:
    """The candidates as their symbols, smaller and pink; areas as a broken outline, so that the map below shows."""
    ink = Ink()
    for mark in marks_of(candidates_of(layers), frame, symbols):
        if mark.kind == "area":
            outlines = shapely.get_rings(mark.geometry)
            dashes = [OUTLINE_DASHES_MM] * len(outlines)
            ink.stroke(Plate.PURPLE, CANDIDATE_COLOUR, outlines, line_mm=OUTLINE_MM, dashes_mm=dashes)
            continue
        draw_marks(ink, replace(mark, symbol=_in_pink(mark.symbol), enlarge=mark.enlarge * THIN_RATIO))
    return ink


def _in_pink(symbol: Symbol) -> Symbol:
    """The symbol with every colour it has replaced by pink."""
    ink, fill, edge = (PINK if colour else "" for colour in (symbol.ink, symbol.fill, symbol.edge))
    return replace(symbol, ink=ink, fill=fill, edge=edge)


def figures_of(layers: Sequence[gpd.GeoDataFrame], frame: Frame, /, *, symbols: SymbolTable) -> Figures:
    """Number and confidence of each candidate, and the confidence of each drawn point and line that is in doubt."""
    words: list[str] = []
    places: list[Places] = []
    colours: list[Cmyk] = []
    shares: list[float] = []
    for table in layers:
        if not len(table) or not {"status", "confidence"} <= set(table.columns):
            continue
        is_candidate = (table["status"] == CANDIDATE).to_numpy()
        told = table[is_candidate | _is_doubtful(table, symbols)]
        told = told[~(told.geometry.is_empty | told.geometry.isna())]
        places.append(_middles(told, frame))
        for number, share, status in zip(told["symbol"], told["confidence"], told["status"], strict=True):
            percent = f"{100 * share:.0f}"
            shares.append(share)
            words.append(f"{number}: {percent}" if status == CANDIDATE else percent)
            colours.append(CANDIDATE_COLOUR if status == CANDIDATE else DOUBT_COLOUR)
    doubt = 1 - np.abs(2 * np.array(shares, np.float64) - 1)
    return Figures(tuple(words), np.concatenate([np.empty((0, 2)), *places]), tuple(colours), doubt)


def points_of(layers: Sequence[gpd.GeoDataFrame], frame: Frame, /) -> Places:
    """(n, 2) millimetres of the map: where a point symbol stands, drawn or proposed."""
    shapes = [table.geometry.to_numpy()[shapely.get_dimensions(table.geometry.to_numpy()) == 0] for table in layers]
    return shapely.get_coordinates(on_map(np.concatenate([np.empty(0, np.object_), *shapes]), frame))


def _is_doubtful(table: gpd.GeoDataFrame, symbols: SymbolTable) -> NDArray[np.bool_]:
    """Whether each feature is drawn, and less sure than SURE, and such that a figure beside it can be acted on."""
    numbers = table["symbol"].astype(str)
    figured = numbers.map(lambda number: number not in SELF_EVIDENT and symbols[number].section in FIGURED)
    is_thing = shapely.get_dimensions(table.geometry.to_numpy()) < 2
    is_drawn = ~table["status"].isin(NOT_PRINTED)
    return np.asarray(figured.to_numpy(bool) & is_thing & (is_drawn & (table["confidence"] < SURE)).to_numpy())


def _middles(table: gpd.GeoDataFrame, frame: Frame) -> Places:
    """A point on each feature: of a line its middle, of an area one inside."""
    shapes = on_map(table.geometry.to_numpy(), frame)
    is_line = shapely.get_dimensions(shapes) == 1
    middles = shapely.point_on_surface(shapes)
    lines = shapely.get_geometry(shapes[is_line], 0)
    middles[is_line] = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    return shapely.get_coordinates(middles)
