"""The rooms of the code as picture and text, from the imports: `make rooms` or `python -m docs.make_rooms`.

Bands are layers, in the order in which data flow; a frame is a folder, a box a room with the number of its modules. A
line runs from a room down to one that imports it. Left out are lines from the two uppermost bands, which nearly every
room uses, and lines that follow from others: where B imports A and C imports B, no line from A to C is drawn.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont, PngImagePlugin

from tests.rooms import LAYERS, PIPELINE, Tree, cycles, layer_of, text_of

DOCS = Path(__file__).parent
PICTURE, TEXT = DOCS / "rooms.png", DOCS / "rooms.txt"
EVERYWHERE = 2
"""Layers, from the first, whose lines are left out of the picture."""
SHARPER = 2
"""The picture is drawn this many times too large and then reduced, which smooths its lines."""
WIDTH = 1240
BAND_LEFT, BAND_GAP, BAND_EDGE = 140, 22, 12
BOX_HEIGHT, ROW_GAP, BOX_GAP, FRAME = 34, 18, 10, 8
"""Measures of the picture in its own pixels."""
INK, BAND, PAPER, EDGE = (30, 30, 30), (244, 242, 236), (255, 255, 255), (150, 145, 135)
COLOURS = [(90, 90, 90), (90, 90, 90), (20, 120, 160), (170, 90, 20), (40, 130, 60), (150, 50, 110), (60, 70, 170)]
"""Colours of lines by the layer they come from, over and over."""
PUSHED = {"intake": 1.0, "draft": 0.35, "files": 1.0, "plan": 1.0}
"""How far to the right the rooms of a band stand, 0 to 1, where 0.5 is the middle: to the right of them pass no lines
from the sections to the steps."""
WRONG = (210, 0, 0)
"""Colour of lines between rooms that import each other, and of boxes of such rooms."""


@dataclass(frozen=True)
class Box:
    """Where a room is drawn."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def middle(self) -> float:
        """Half way between left and right."""
        return (self.left + self.right) / 2


def main() -> None:
    """Write `docs/rooms.png` and `docs/rooms.txt`."""
    tree = Tree(PIPELINE)
    TEXT.write_text(text_of(tree), encoding="utf-8")
    note = PngImagePlugin.PngInfo()
    note.add_text("rooms", text_of(tree))
    draw_rooms(tree).quantize(96).save(PICTURE, optimize=True, pnginfo=note)


def draw_rooms(tree: Tree, /) -> Image.Image:
    """The picture of all rooms, bands from top to bottom."""
    boxes, bands, height = place_rooms(tree)
    picture = Image.new("RGB", (WIDTH * SHARPER, round(height) * SHARPER), PAPER)
    pen = ImageDraw.Draw(picture)
    for number, (top, bottom) in enumerate(bands):
        pen.rounded_rectangle(_scaled(0, top, WIDTH - 1, bottom), 8 * SHARPER, fill=BAND)
        _write(pen, textwrap.fill(LAYERS[number][0], 12), 10, (top + bottom) / 2, "lm", 15)
    for frame in _frames(boxes):
        pen.rounded_rectangle(_scaled(*frame), 6 * SHARPER, outline=EDGE, width=SHARPER)
    ring_of = {room: number for number, ring in enumerate(cycles(tree)) for room in ring}
    for importer, imported in lines_drawn(tree):
        in_ring = importer in ring_of and ring_of.get(importer) == ring_of.get(imported)
        colour = WRONG if in_ring else COLOURS[(layer_of(imported) or 0) % len(COLOURS)]
        _line(pen, boxes[imported], boxes[importer], colour)
    for room, box in boxes.items():
        edge = WRONG if room in ring_of else INK
        pen.rounded_rectangle(
            _scaled(box.left, box.top, box.right, box.bottom), 5 * SHARPER, fill=PAPER, outline=edge, width=SHARPER
        )
        _write(pen, _label(room, tree), box.middle, (box.top + box.bottom) / 2, "mm", 13)
    return picture.resize((WIDTH, round(height)), Image.Resampling.LANCZOS)


def _label(room: str, tree: Tree) -> str:
    """Name of a room within its frame, and how many modules it has."""
    return f"{room.rpartition('/')[2]} ({len(tree.rooms[room])})"


def place_rooms(tree: Tree, /) -> tuple[dict[str, Box], list[tuple[float, float]], float]:
    """Box of each room, top and bottom of each band, and the height of the picture.

    Within a band a room stands below those of its band that it imports, and beside the others of its folder.
    """
    boxes: dict[str, Box] = {}
    bands = []
    top = 0.0
    for number in range(len(LAYERS)):
        rooms = [room for room in tree.rooms if layer_of(room) == number]
        row_of = {room: _row(room, rooms, tree) for room in rooms}
        n_rows = 1 + max(row_of.values(), default=0)
        _place_band(rooms, row_of, top + BAND_EDGE, PUSHED.get(LAYERS[number][0], 0.5), boxes)
        bottom = top + 2 * BAND_EDGE + n_rows * BOX_HEIGHT + (n_rows - 1) * ROW_GAP
        bands.append((top, bottom))
        top = bottom + BAND_GAP
    return boxes, bands, top - BAND_GAP


def _row(room: str, rooms: list[str], tree: Tree, seen: frozenset[str] = frozenset()) -> int:
    """Longest chain of imports from a room within its band; a ring is followed once round."""
    below = [b for a, b in tree.edges if a == room and b in rooms and b not in seen and b != room]
    return max((1 + _row(other, rooms, tree, seen | {room}) for other in below), default=0)


def _place_band(rooms: list[str], row_of: dict[str, int], top: float, pushed: float, boxes: dict[str, Box]) -> None:
    """Give each folder of a band its share of the width, by the most rooms it has in one row."""
    names = [name for _, layer in LAYERS for name in layer]
    folders = {name: [room for room in rooms if room.partition("/")[0] == name] for name in names}
    folders = {name: inside for name, inside in folders.items() if inside}
    widest = {name: max(_beside(inside, row_of).values()) for name, inside in folders.items()}
    room_left = WIDTH - BAND_LEFT - BAND_EDGE
    unit = min(190.0, (room_left - 2 * FRAME * len(folders)) / sum(widest.values()))
    left = BAND_LEFT + (room_left - unit * sum(widest.values()) - 2 * FRAME * len(folders)) * pushed
    for name, inside in folders.items():
        for row, count in _beside(inside, row_of).items():
            side = (widest[name] * unit - BOX_GAP * (count - 1)) / count
            for place, room in enumerate(sorted(r for r in inside if row_of[r] == row)):
                at = left + place * (side + BOX_GAP)
                box_top = top + row * (BOX_HEIGHT + ROW_GAP)
                boxes[room] = Box(at, box_top, at + side, box_top + BOX_HEIGHT)
        left += widest[name] * unit + 2 * FRAME


def _beside(rooms: list[str], row_of: dict[str, int]) -> dict[int, int]:
    """Row -> how many of these rooms stand in it."""
    rows = [row_of[room] for room in rooms]
    return {row: rows.count(row) for row in sorted(set(rows))}


def _frames(boxes: dict[str, Box]) -> list[tuple[float, float, float, float]]:
    """A frame around the rooms of each folder that has several."""
    found = []
    for top in {room.partition("/")[0] for room in boxes if "/" in room}:
        inside = [box for room, box in boxes.items() if room.partition("/")[0] == top]
        low, high = min(box.left for box in inside), max(box.right for box in inside)
        edge = FRAME - 3
        found.append((low - edge, min(b.top for b in inside) - edge, high + edge, max(b.bottom for b in inside) + edge))
    return found


def lines_drawn(tree: Tree, /) -> list[tuple[str, str]]:
    """(importing, imported) rooms between which a line is drawn."""
    ringed = {(a, b) for ring in cycles(tree) for a in ring for b in ring}
    kept = {pair for pair in tree.edges if (layer_of(pair[1]) or 0) >= EVERYWHERE} - ringed
    follows = {(a, d) for a, b in kept for _, d in _beyond(kept, b)}
    return sorted((tree.edges.keys() & ringed) | (kept - follows))


def _beyond(pairs: set[tuple[str, str]], start: str) -> set[tuple[str, str]]:
    """All imports that can be reached from a room, by following imports."""
    found: set[tuple[str, str]] = set()
    waiting = [start]
    while waiting:
        at = waiting.pop()
        new = {pair for pair in pairs if pair[0] == at} - found
        found |= new
        waiting += [imported for _, imported in new]
    return found


def _line(pen: ImageDraw.ImageDraw, above: Box, below: Box, colour: tuple[int, int, int]) -> None:
    """A curve from the lower edge of one box to the upper edge of another, with a dot where it arrives."""
    x0, y0 = above.middle, above.bottom
    # Lines arrive beside each other, in the order of where they come from.
    x1 = below.middle + max(-0.4, min(0.4, (x0 - below.middle) / WIDTH)) * (below.right - below.left)
    y1 = below.top
    bend = max(20.0, abs(y1 - y0) / 2)
    corners = np.array([(x0, y0), (x0, y0 + bend), (x1, y1 - bend), (x1, y1)])
    t = np.linspace(0, 1, 41)[:, np.newaxis]
    weights = np.hstack([(1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3])  # a cubic Bezier curve
    places = [tuple(place) for place in (weights @ corners * SHARPER).tolist()]
    pen.line(places, fill=colour, width=SHARPER + 1, joint="curve")
    dot = 3 * SHARPER
    x, y = places[-1]
    pen.ellipse((x - dot, y - dot, x + dot, y + dot), fill=colour)


def _write(pen: ImageDraw.ImageDraw, text: str, x: float, y: float, anchor: str, size: int) -> None:
    font = ImageFont.load_default(size * SHARPER)
    anchor = anchor if "\n" not in text else anchor[0] + "m"
    pen.multiline_text((x * SHARPER, y * SHARPER), text, fill=INK, font=font, anchor=anchor)


def _scaled(*measures: float) -> tuple[float, ...]:
    return tuple(measure * SHARPER for measure in measures)


if __name__ == "__main__":
    main()
