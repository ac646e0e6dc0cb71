"""How far stated confidence is right, as one plot from `docs/figures.json`: `python docs/make_reliability_plot.py`.

Every line "boulder: calibration error 0.10; stated->true (n): 0.30->0.62 (16), ..." of a measurement becomes a line of
dots in the panel of its kind: across, what the draft stated; up, the share that was true. Dots grow with how many they
stand for. On the diagonal a draft is as sure as it is right.
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

PROJECT = Path(__file__).parent.parent
SIDE, LEFT, RIGHT, TOP, BOTTOM, ACROSS = 300, 50, 20, 60, 46, 3
COLOURS = ((30, 90, 170), (200, 110, 0), (0, 120, 70), (170, 30, 90))
INK, GRID = (40, 40, 40), (215, 215, 215)
LINE = re.compile(r"^(\w+)[^:\n]*: calibration error ([\d.]+); stated->true \(n\): (.+)$", re.MULTILINE)
BIN = re.compile(r"([\d.]+)->([\d.]+) \((\d+)\)")

Dots = list[tuple[float, float, int]]


def main() -> None:
    """Write `docs/reliability.png`."""
    results = json.loads((PROJECT / "docs" / "figures.json").read_text(encoding="utf-8"))
    kinds: dict[str, list[tuple[str, str, Dots]]] = {}
    for name, result in results.items():
        for table in result["tables"]:
            for kind, error, bins in LINE.findall(table.get("printed", "")):
                dots = [(float(stated), float(true), int(n)) for stated, true, n in BIN.findall(bins)]
                kinds.setdefault(kind, []).append((name, error, dots))
    rows = math.ceil(len(kinds) / ACROSS)
    sheet = Image.new("RGB", (ACROSS * SIDE, rows * SIDE), "white")
    for k, (kind, measured) in enumerate(sorted(kinds.items())):
        draw_panel(sheet, (k % ACROSS * SIDE, k // ACROSS * SIDE), kind, measured)
    sheet.quantize(64).save(PROJECT / "docs" / "reliability.png", optimize=True)


def draw_panel(sheet: Image.Image, corner: tuple[int, int], kind: str, measured: list[tuple[str, str, Dots]]) -> None:
    """One kind of feature: a diagonal, and a line of dots a measurement."""
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(11)
    x0, y0 = corner[0] + LEFT, corner[1] + SIDE - BOTTOM
    wide, high = SIDE - LEFT - RIGHT, SIDE - TOP - BOTTOM
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        x, y = x0 + share * wide, y0 - share * high
        pen.line([(x, y0), (x, y0 - high)], fill=GRID)
        pen.line([(x0, y), (x0 + wide, y)], fill=GRID)
        pen.text((x, y0 + 4), f"{share:g}", fill=INK, font=font, anchor="ma")
        pen.text((x0 - 5, y), f"{share:g}", fill=INK, font=font, anchor="rm")
    pen.line([(x0, y0), (x0 + wide, y0 - high)], fill=INK)
    pen.text((x0 + wide / 2, y0 + 20), "stated confidence", fill=INK, font=font, anchor="ma")
    pen.text((x0, corner[1] + 6), f"{kind}: share that was true", fill=INK, font=ImageFont.load_default(14))
    for colour, (k, (name, error, dots)) in zip(COLOURS, enumerate(measured), strict=False):
        places = [(x0 + stated * wide, y0 - true * high) for stated, true, _ in dots]
        pen.line(places, fill=colour, width=2)
        for (x, y), (_, _, n) in zip(places, dots, strict=True):
            radius = 2 + min(math.sqrt(n) / 2, 7)
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)
        total = sum(n for _, _, n in dots)
        text = f"{name}: {total}, error {error}"
        pen.text((x0, corner[1] + 24 + 12 * k), text, fill=colour, font=font)


if __name__ == "__main__":
    main()
