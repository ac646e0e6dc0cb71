"""Where the browser is that pages are tried in, how it is started, and the windows they are tried in."""

from __future__ import annotations

import shutil

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
"""Program of an installed Chromium, such as Debian's package `chromium`; None where there is none."""
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DESK, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
READY = "html[data-ready]"
"""What there is once the page has drawn its map."""
