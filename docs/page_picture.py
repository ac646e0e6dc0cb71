"""The picture of the page in the user's guide: on a desk and on a phone, with the evidence of the surest boulder."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from tests.report.chromium import CHROMIUM, FLAGS, READY

DESK, PHONE = {"width": 980, "height": 640}, {"width": 390, "height": 640}
GAP_PX = 16
BOULDERS = "204"


def page_picture(page: Path, /) -> Image.Image:
    """Both windows side by side.

    Raises
    ------
    SystemExit
        If no Chromium is installed.
    """
    if CHROMIUM is None:
        raise SystemExit("no Chromium is installed: docs/guide/page.png stays as it is")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        pictures = [_shot(browser, page, window) for window in (DESK, PHONE)]
        browser.close()
    sheet = Image.new("RGB", (sum(picture.width for picture in pictures) + GAP_PX, pictures[0].height), (255, 255, 255))
    sheet.paste(pictures[0], (0, 0))
    sheet.paste(pictures[1], (pictures[0].width + GAP_PX, 0))
    return sheet


def _shot(browser: Browser, path: Path, window: dict[str, int]) -> Image.Image:
    page = browser.new_context(viewport=window, offline=True, reduced_motion="reduce").new_page()  # type: ignore[arg-type]
    page.goto(path.resolve().as_uri())
    page.wait_for_selector(READY)
    page.evaluate(f"tussockPage.lookAtSurest('{BOULDERS}')")
    page.mouse.move(window["width"] - 2, 2)
    page.wait_for_timeout(200)
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    page.context.close()
    return picture
