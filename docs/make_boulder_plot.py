"""How many boulders a draft finds, as plot and table, from what was measured: `python docs/make_boulder_plot.py`."""

from __future__ import annotations

import json
import math
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

PROJECT = Path(__file__).parent.parent
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 560, 420, 70, 20, 56, 60
COLOURS = {0.0: (20, 20, 20), 0.3: (0, 110, 60), 0.5: (200, 110, 0), 0.7: (180, 30, 60)}
PANELS = (("204", "boulders of 1 to 2 m (204)"), ("205", "boulders from 2 m (205)"))
INK, GRID = (40, 40, 40), (215, 215, 215)


def main() -> None:
    """Write `docs/boulder_recall.png`, a panel a symbol and a line a canopy, and `docs/boulders.md` with the table."""
    rows = json.loads((PROJECT / "config" / "boulder_recall.json").read_text(encoding="utf-8"))["rows"]
    sheet = Image.new("RGB", (len(PANELS) * WIDTH, HEIGHT), "white")
    for k, (symbol, title) in enumerate(PANELS):
        draw_panel(sheet, k * WIDTH, title, [row for row in rows if row["symbol"] == symbol])
    (PROJECT / "docs" / "boulders.md").write_text(table_of(rows), encoding="utf-8")
    sheet.quantize(64).save(PROJECT / "docs" / "boulder_recall.png", optimize=True)


def table_of(rows: list[dict[str, float]]) -> str:
    """The page: what was measured, plot and table."""
    densities = sorted({row["pulses_per_m2"] for row in rows})
    parts = [
        "# How many boulders a draft finds",
        "",
        "Made by `python docs/make_boulder_plot.py` from `config/boulder_recall.json`, which "
        "`python -m tests.benchmarks.rock density` measures on invented scenes with known boulders.",
        "`tussock survey` reads the same table to say what to expect of your tiles.",
        "On real ground expect less: invented scenes are kinder than a forest floor.",
        "",
        "![Share of boulders found by pulse density and canopy](boulder_recall.png)",
    ]
    for symbol, title in PANELS:
        parts += ["", f"Found of the {title}, by pulses per m2 (down) and the share of pulses that crowns stop:", ""]
        parts += [
            "| | " + " | ".join(f"{canopy:.0%}" for canopy in COLOURS) + " |",
            "| --- " * (len(COLOURS) + 1) + "|",
        ]
        for density in densities:
            found = [
                next(
                    row["recall"]
                    for row in rows
                    if (row["symbol"], row["pulses_per_m2"], row["canopy_share"]) == (symbol, density, canopy)
                )
                for canopy in COLOURS
            ]
            parts.append(f"| {density:g} | " + " | ".join(f"{recall:.0%}" for recall in found) + " |")
    return "\n".join(parts) + "\n"


def draw_panel(sheet: Image.Image, left: int, title: str, rows: list[dict[str, float]]) -> None:
    """One symbol: axes, grid, and a line for each canopy."""
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(15)
    densities = sorted({row["pulses_per_m2"] for row in rows})
    span = math.log(densities[-1] / densities[0])

    def place(per_m2: float, recall: float) -> tuple[float, float]:
        across = math.log(per_m2 / densities[0]) / span
        return left + LEFT + across * (WIDTH - LEFT - RIGHT), HEIGHT - BOTTOM - recall * (HEIGHT - TOP - BOTTOM)

    for tenth in range(0, 11, 2):
        y = place(densities[0], tenth / 10)[1]
        pen.line((place(densities[0], 0)[0], y, place(densities[-1], 0)[0], y), fill=GRID)
        pen.text((left + LEFT - 10, y), f"{tenth * 10} %", fill=INK, font=font, anchor="rm")
    for per_m2 in densities:
        x, y = place(per_m2, 0)
        pen.line((x, y, x, place(per_m2, 1)[1]), fill=GRID)
        pen.text((x, y + 8), f"{per_m2:g}", fill=INK, font=font, anchor="mt")
    pen.text((left + WIDTH / 2, HEIGHT - 22), "pulses per m2", fill=INK, font=font, anchor="mm")
    pen.text((left + LEFT, 12), f"Found of the {title}", fill=INK, font=font)
    for k, (canopy, colour) in enumerate(COLOURS.items()):
        line = sorted((row["pulses_per_m2"], row["recall"]) for row in rows if row["canopy_share"] == canopy)
        dots = [place(*point) for point in line]
        pen.line(dots, fill=colour, width=3)
        for x, y in dots:
            pen.ellipse((x - 4, y - 4, x + 4, y + 4), fill=colour)
        pen.text((left + LEFT + k * 120, 34), f"crowns stop {canopy * 100:.0f} %", fill=colour, font=font)


if __name__ == "__main__":
    main()
