"""A picture of a calibration: each note by density measured and band found, limits before and after."""

from __future__ import annotations

import io

import numpy as np
from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas

from pipeline.vegetation.calibration.agreement import N_BANDS
from pipeline.vegetation.calibration.calibration import Calibration
from pipeline.vegetation.calibration.notes import Notes
from pipeline.vegetation.running.runnability import BAND_SYMBOLS

_FONT = "Helvetica"
WIDTH_PT, HEIGHT_PT, MARGIN_PT = 480.0, 260.0, 60.0
"""Size of the plot and its margin, in points of 1/72 inch."""
DENSITY_RANGE = (0.01, 3.0)
"""m2/m3 from one side of the plot to the other, on a logarithmic axis."""
TICKS = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
"""Densities written below the axis, m2/m3."""
GREY, BLACK = Color(0.6, 0.6, 0.6), Color(0, 0, 0)


def calibration_plot(notes: Notes, calibration: Calibration, /, *, title: str) -> bytes:
    """PDF of one page with a title: notes as dots, limits before as broken lines, limits now as full ones."""
    page = io.BytesIO()
    canvas = Canvas(page, pagesize=(WIDTH_PT, HEIGHT_PT), invariant=1)
    canvas.setFont(_FONT, 11)
    canvas.drawString(MARGIN_PT, HEIGHT_PT - 16, title)
    canvas.setFont(_FONT, 9)
    _axes(canvas)
    for limits, shade, dash in ((calibration.limits_before, GREY, (4, 3)), (calibration.limits, BLACK, ())):
        canvas.setStrokeColor(shade)
        canvas.setDash(*dash) if dash else canvas.setDash()
        for limit in limits:
            canvas.line(_across(limit), MARGIN_PT, _across(limit), HEIGHT_PT - MARGIN_PT / 2)
    # Notes of one band are spread a little, in the order they came, so that equal ones do not hide each other.
    lift_pt = (np.arange(len(notes.band)) % 7 - 3) * 2.5
    for density, band, lift in zip(notes.density, notes.band, lift_pt, strict=True):
        if np.isfinite(density):
            canvas.circle(_across(float(density)), _up(int(band)) + lift, 2.2, stroke=0, fill=1)
    canvas.drawString(MARGIN_PT, 14, "broken: limits before; full: limits now; one dot a note")
    canvas.showPage()
    canvas.save()
    return page.getvalue()


def _axes(canvas: Canvas) -> None:
    for band in range(N_BANDS):
        canvas.drawRightString(MARGIN_PT - 12, _up(band) - 3, BAND_SYMBOLS[band])
    for tick in TICKS:
        canvas.drawCentredString(_across(tick), MARGIN_PT - 14, f"{tick:g}")
    canvas.drawCentredString(WIDTH_PT / 2, MARGIN_PT - 28, "plant-area density of the running layer, m2/m3")
    canvas.line(MARGIN_PT, MARGIN_PT, WIDTH_PT - MARGIN_PT / 2, MARGIN_PT)


def _across(density: float) -> float:
    low, high = np.log(DENSITY_RANGE)
    share = (np.log(np.clip(density, *DENSITY_RANGE)) - low) / (high - low)
    return float(MARGIN_PT + share * (WIDTH_PT - 1.5 * MARGIN_PT))


def _up(band: int) -> float:
    return MARGIN_PT + (band + 0.5) / N_BANDS * (HEIGHT_PT - 1.5 * MARGIN_PT)
