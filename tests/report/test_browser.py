"""The page in a browser: from a file, with the network off, on a desk and on a phone."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from pipeline.files.found.walks import read_walk
from tests.exports.made_draft import CRS, EAST, NORTH
from tests.report import made_page
from tests.report.chromium import CHROMIUM, DESK, FLAGS, PHONE, READY
from tests.report.made_page import HOSTILE

sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright for Python is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed (Debian: apt install chromium)")
LEAST_TOUCH_PX = 24
"""Least side of what a finger is to meet (WCAG 2.2, success criterion 2.5.8)."""


@dataclass
class Opened:
    """The page in a window, and what it complained of."""

    page: sync_api.Page
    complaints: list[str] = field(default_factory=list)

    def on_map(self, east_m: float, north_m: float) -> tuple[float, float]:
        """Where a place of the ground lies in the window."""
        x, y = made_page.place().on_map(np.array([(east_m, north_m)]))[0]
        return tuple(self.page.evaluate(f"tussockPage.inWindow({x}, {y})"))

    def look(self, east_m: float, north_m: float) -> str:
        """Click a place and read what is told."""
        self.page.mouse.click(*self.on_map(east_m, north_m))
        return self.page.locator("#page-here").inner_text()

    def ink(self, east_m: float, north_m: float) -> list[int]:
        """Red, green, blue and opacity that the draft has at a place."""
        x, y = made_page.place().on_map(np.array([(east_m, north_m)]))[0]
        return self.page.evaluate(f"tussockPage.inkAt({x}, {y})")


@pytest.fixture(scope="module")
def browser() -> Iterator[sync_api.Browser]:
    """One browser for all tests."""
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page as a file whose name needs escaping in an address."""
    path = tmp_path_factory.mktemp("page") / "index #1 ü.html"
    path.write_text(made_page.page(), encoding="utf-8")
    return path


def opened(browser: sync_api.Browser, file: Path, **options: object) -> Opened:
    """The page in a window of its own, with the network off."""
    context = browser.new_context(offline=True, accept_downloads=True, reduced_motion="reduce", **options)
    found = Opened(context.new_page())
    found.page.set_default_timeout(60_000)
    found.page.on("console", lambda said: found.complaints.append(said.text) if said.type != "log" else None)
    found.page.on("pageerror", lambda error: found.complaints.append(str(error)))
    found.page.on("request", lambda asked: found.complaints.append(asked.url) if asked.url[:4] == "http" else None)
    found.page.goto(file.as_uri())
    found.page.wait_for_selector(READY)
    return found


@pytest.fixture(scope="module")
def desk(browser: sync_api.Browser, file: Path) -> Iterator[Opened]:
    """The page on a desk."""
    found = opened(browser, file, viewport=DESK)
    yield found
    found.page.context.close()


@pytest.fixture(scope="module")
def phone(browser: sync_api.Browser, file: Path) -> Iterator[Opened]:
    """The page on a phone."""
    found = opened(browser, file, viewport=PHONE, has_touch=True, is_mobile=True, device_scale_factor=2)
    yield found
    found.page.context.close()


def test_layers_are_switched(desk: Opened) -> None:
    """Black ink of the cliff goes with the layer of rock and comes back; the ground changes its picture."""
    cliff = EAST + 60, NORTH + 109
    before = desk.ink(*cliff)
    assert before[3] > 200
    assert max(before[:3]) < 90
    desk.page.get_by_label("Rock").uncheck()
    assert desk.ink(*cliff) != before
    desk.page.get_by_label("Rock").check()
    assert desk.ink(*cliff) == before
    relief = desk.page.locator(".leaflet-ground-pane img").get_attribute("src")
    desk.page.locator("#grounds input[value=support]").check()
    assert desk.page.locator(".leaflet-ground-pane img").get_attribute("src") != relief
    assert "up to 0.5 m" in desk.page.locator("#ground-legend").inner_text()
    desk.page.locator("#grounds input[value=relief]").check()


def test_the_slider_hides_what_is_unsure(desk: Opened) -> None:
    """By keyboard: the boulder at 40 % goes at 45 %, and the count says so; then it is back."""
    boulder, slider = (EAST + 30, NORTH + 95), desk.page.locator("#sure")
    all_of_them = desk.page.locator("#shown").inner_text()
    with_it = desk.ink(*boulder)
    assert with_it[3] > 200
    slider.focus()
    for _ in range(9):
        slider.press("ArrowRight")
    desk.page.wait_for_timeout(60)
    assert desk.page.locator("#sure-value").inner_text() == "45 %"
    assert desk.ink(*boulder) != with_it
    assert desk.page.locator("#shown").inner_text() != all_of_them
    slider.press("Home")
    desk.page.wait_for_timeout(60)
    assert desk.page.locator("#shown").inner_text() == all_of_them


def test_a_click_and_the_keyboard_show_evidence(desk: Opened) -> None:
    """The same words by mouse and by Enter; hostile words are words."""
    told = desk.look(EAST + 30, NORTH + 95)
    assert "Boulder (204)" in told
    assert HOSTILE in told
    assert "Sure" in told
    assert "Nearest ground return" in told
    desk.page.locator("#map").focus()
    x, y = made_page.place().on_map(np.array([(EAST + 30, NORTH + 95)]))[0]
    desk.page.evaluate(f"tussockPage.goTo({x}, {y})")
    desk.page.locator("#tab-layers").click()
    desk.page.locator("#map").press("Enter")
    assert "Boulder (204)" in desk.page.locator("#page-here").inner_text()
    assert desk.page.evaluate("window.broken") is None
    assert desk.page.locator("h1").inner_text() == HOSTILE


def test_tabs_move_by_arrows_and_every_page_has_its_words(desk: Opened) -> None:
    """From the first to the last by the arrow key alone."""
    first = desk.page.locator("#tab-layers")
    first.click()
    words = {}
    for name in ("here", "checks", "survey", "effort", "left_out", "about"):
        desk.page.keyboard.press("ArrowRight")
        assert desk.page.evaluate("document.activeElement.id") == f"tab-{name}"
        words[name] = desk.page.locator(f"#page-{name}").inner_text()
        assert not re.search(r"\b(null|undefined|NaN|Infinity)\b", words[name]), name
    assert "0 of 3 places answered" in words["checks"]
    assert "Done before this draft: 4 of 7 places, 57 %; 0.3 hours of looking are left." in words["checks"]
    assert "Fitted to 14 notes" in words["survey"]
    assert "Hours" in words["effort"]
    assert "too near a surer one" in words["left_out"]
    assert "not for navigation or competition" in words["about"]
    assert "Leaflet" in words["about"]


def test_a_page_of_little_says_so_in_words(browser: sync_api.Browser, tmp_path: Path) -> None:
    """The draft alone: every page has words, and none of them is what a program says where nothing is."""
    few = {name: block for name, block in made_page.blocks().items() if name in ("about", "place", "features")}
    path = tmp_path / "few.html"
    path.write_text(made_page.page(few), encoding="utf-8")
    found = opened(browser, path, viewport=DESK)
    for name in ("layers", "here", "checks", "survey", "effort", "left_out", "about"):
        found.page.locator(f"#tab-{name}").click()
        words = found.page.locator(f"#page-{name}").inner_text()
        assert len(words) > 40, name
        assert not re.search(r"\b(null|undefined|NaN|Infinity)\b", words), name
    assert "Boulder (204)" in found.look(EAST + 30, NORTH + 95)
    assert found.complaints == []
    found.page.context.close()


def test_a_slider_parts_the_map_of_before_from_the_draft(browser: sync_api.Browser, tmp_path: Path) -> None:
    """With an earlier survey a tab lists what changed, and each side of the line shows one of the two maps."""
    few = {name: block for name, block in made_page.blocks().items() if name in ("about", "place", "features")}
    row = {"name": "C001", "change": HOSTILE, "look_at": "felled?", "why": HOSTILE, "sure": 0.9, "x": 20.0, "y": 30.0}
    changes = {"places": [row], "rings": [[100, 100, 50, 0, 0, 50, -50, -50]], "told": [HOSTILE]}
    path = tmp_path / "changes.html"
    path.write_text(made_page.page(few | {"changes": changes, "before": few["features"]}), encoding="utf-8")
    found = opened(browser, path, viewport=DESK)
    words = found.page.locator("#page-changes").inner_text()
    assert "C001" in words
    assert "90 % sure" in words
    assert "How the two maps were compared" in words
    assert found.page.locator("#page-changes details p").text_content() == HOSTILE
    found.page.locator("#tab-layers").click()
    places = found.page.locator('#layers input[value="checks"]')
    assert not places.is_checked(), "their rings would hide what changed"
    found.page.locator("#tab-checks").click()
    assert places.is_checked()
    clips = []
    for value in (20, 80):
        found.page.locator("#swipe").fill(str(value))
        panes = [
            f"getComputedStyle(document.querySelector('.leaflet-{name}-pane')).clip" for name in ("before", "draft")
        ]
        rects = [re.findall(r"-?[\d.]+", found.page.evaluate(pane)) for pane in panes]
        # top, right, bottom, left: where the old map ends the draft begins.
        assert float(rects[0][1]) == pytest.approx(float(rects[1][3]), abs=0.1)
        clips.append(float(rects[0][1]))
    assert clips[1] > 3 * clips[0]
    assert found.complaints == []
    found.page.context.close()


def test_marks_go_out_as_a_file_and_come_back(
    phone: Opened, browser: sync_api.Browser, file: Path, tmp_path: Path
) -> None:
    """Answers with notes: points in degrees by the contract, and the same answers in another browser."""
    page = phone.page
    page.locator("#tab-checks").tap()
    page.locator('[data-check] >> nth=0 >> button[data-answer="no"]').tap()
    page.locator("[data-check] >> nth=0 >> textarea").fill(f"a root {HOSTILE}")
    page.locator('[data-check] >> nth=1 >> button[data-answer="408"]').tap()
    assert "2 of 3 places answered" in page.locator("#progress").inner_text()
    with page.expect_download() as download:
        page.locator("#hand-back").tap()
    assert download.value.suggested_filename.endswith(".geojson")
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    told = json.loads(path.read_text(encoding="utf-8"))
    rows = {row["properties"]["name"]: row for row in told["features"]}
    assert {name: row["properties"]["status"] for name, row in rows.items()} == {"001": "rejected", "002": "new"}
    assert rows["001"]["properties"]["note"] == f"a root {HOSTILE}"
    assert rows["001"]["properties"]["id"] == made_page.checks()["id"][0]
    assert rows["002"]["properties"]["symbol"] == "408"
    to_metres = gpd.GeoSeries.from_xy(
        *zip(*(r["geometry"]["coordinates"] for r in rows.values()), strict=True), crs=4326
    )
    (first, second) = to_metres.to_crs(25832)
    assert (first.x, first.y) == pytest.approx((EAST + 40, NORTH + 95), abs=0.1)
    assert (second.x, second.y) == pytest.approx((EAST + 100, NORTH + 40), abs=0.1)
    spots = {spot.texts[0]: spot for spot in read_walk(path, CRS).spots}
    assert {name: (spot.status, spot.symbol) for name, spot in spots.items()} == {
        "001": ("rejected", ""),
        "002": ("new", "408"),
    }
    assert spots["001"].note == f"a root {HOSTILE}"
    page.reload()
    page.wait_for_selector(READY)
    page.locator("#tab-checks").tap()
    assert "2 of 3 places answered" in page.locator("#progress").inner_text()
    other = opened(browser, file, viewport=PHONE)
    other.page.locator("#tab-checks").click()
    other.page.locator("#take-in").set_input_files(path)
    other.page.get_by_text("2 of 3 places answered").wait_for()
    assert other.complaints == []
    other.page.context.close()


def test_other_answers_say_what_or_where(phone: Opened) -> None:
    """What is there instead, what lies elsewhere, what no map has: each in the words that `tussock notes` reads."""
    page = phone.page
    page.locator(".larger").tap()
    assert not page.locator("#panel").is_visible()
    page.touchscreen.tap(*phone.on_map(EAST + 30, NORTH + 95))
    assert page.locator("#panel").is_visible()
    card = page.locator("#page-here article").first
    card.locator('button[data-answer="other"]').tap()
    assert told_by(page)[0]["status"] == "seen"
    card.locator("select").select_option("206")
    assert {key: told_by(page)[0][key] for key in ("id", "status", "symbol")} == {
        "id": card.get_attribute("data-id"),
        "status": "new",
        "symbol": "206",
    }
    card.get_by_text("It lies under the cross of the map").tap()
    assert told_by(page)[0]["status"] == "moved"
    page.get_by_text("Mark something that is not on the map").tap()
    page.locator("#page-here details select").last.select_option("312")
    assert {key: told_by(page)[1][key] for key in ("id", "status", "symbol")} == {
        "id": "",
        "status": "new",
        "symbol": "312",
    }


def told_by(page: sync_api.Page) -> list[dict[str, str]]:
    """Properties of the answers to what is on no list, in the order they were given, as the file would have them."""
    told = page.evaluate("tussockPage.marks()")["features"]
    return [row["properties"] for row in told if not row["properties"]["name"]]


def test_the_phone_shows_it_without_scrolling_sideways(phone: Opened) -> None:
    """Nothing is wider than the window on any page, and what is to be touched is large enough for a finger."""
    for name in ("layers", "checks", "survey", "effort", "left_out", "about"):
        phone.page.locator(f"#tab-{name}").tap()
        assert phone.page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
        wide = phone.page.evaluate(
            "Array.from(document.querySelectorAll('#pages *')).filter(e => !e.closest('.wide'))"
            f".filter(e => e.getBoundingClientRect().right > {PHONE['width'] + 1}).map(e => e.outerHTML)"
        )
        assert wide == [], name
        small = phone.page.evaluate(
            "Array.from(document.querySelectorAll('button, select, summary, label.choice, .leaflet-bar a, #sure'))"
            ".map(e => [e.textContent || e.id, e.getBoundingClientRect()]).filter(([, box]) => box.width)"
            f".filter(([, box]) => Math.min(box.width, box.height) < {LEAST_TOUCH_PX}).map(([text]) => text)"
        )
        assert small == [], name


@pytest.mark.parametrize(
    ("window", "names"),
    [("desk", ("layers", "here", "checks")), ("phone", ("layers", "survey", "effort", "left_out", "about"))],
)
def test_no_serious_fault_for_those_who_cannot_see(
    window: str, names: tuple[str, ...], request: pytest.FixtureRequest
) -> None:
    """By axe-core, which tries roles, names, contrast and order, on every page in one window or the other."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    found: Opened = request.getfixturevalue(window)
    for name in names:
        found.page.locator(f"#tab-{name}").click()
        result = axe.run(found.page)
        grave = [one for one in result.response["violations"] if one["impact"] in ("serious", "critical")]
        assert [(one["id"], one["nodes"][0]["html"][:200]) for one in grave] == [], name


def test_no_window_complained_or_asked_the_network(desk: Opened, phone: Opened) -> None:
    """After all that was done in them."""
    assert desk.complaints == []
    assert phone.complaints == []
