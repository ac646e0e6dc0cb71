"""From hours to days, money, weeks, the first piece, ways to shrink, and words."""

import datetime
import json

import numpy as np
import pytest

from pipeline.effort.age import age_of, said_of_age
from pipeline.effort.beside import side_by_side
from pipeline.effort.costs import Terms, cost_of, days_of, weeks_for
from pipeline.effort.estimate import all_on_foot
from pipeline.effort.first import best_piece
from pipeline.effort.quick import QUICK_PACE, WHY_WIDE, grades_by_density, ordinary_ground, rise_of_headers
from pipeline.effort.rates.trade import TASKS
from pipeline.effort.record import quick_record, record_of
from pipeline.effort.shrinking import ways_to_shrink
from pipeline.effort.words import WIDEST, describe, describe_quick, in_hours, said_of_progress
from tests.effort.made_ground import GOOD, TERMS, USABLE, estimate, ground, pace, square_cells

FOREST = estimate(ground(80), square_cells(10, 8))
"""Five square kilometres of ordinary forest."""


def test_money_is_hours_and_travel_at_one_rate() -> None:
    """60 hours in the field, 30 of drawing, 10 days of an hour's travel, 50 an hour."""
    assert cost_of(60, 30, 10, TERMS) == pytest.approx(100 * 50)
    assert days_of(60, day_h=6) == 10
    assert days_of(60.1, day_h=6) == 11
    assert weeks_for(10, TERMS) == 3
    assert weeks_for(10, Terms(6, 300, 1, 1, 7)) == 2


def test_cells_sheets_and_tasks_add_up_to_the_whole() -> None:
    """Hours and money of the squares, of the tasks and of sheets that share nothing."""
    half = np.repeat([1.0, 0.0], 40)
    record = record_of(estimate(ground(80), square_cells(10, 8), sheets={"1": half, "2": 1 - half}))
    whole = record["fieldwork_h"]["likely"]
    assert sum(cell["fieldwork_h"]["likely"] for cell in record["cells"]) == pytest.approx(whole, abs=0.1)
    assert sum(task["fieldwork_h"]["likely"] for task in record["tasks"]) == pytest.approx(whole, abs=0.1)
    assert sum(sheet["fieldwork_h"]["likely"] for sheet in record["sheets"]) == pytest.approx(whole, abs=0.1)
    assert sum(cell["cost"] for cell in record["cells"]) == pytest.approx(record["cost"]["likely"], rel=1e-3)
    assert sum(record["cells"][0]["by_task"].values()) == pytest.approx(
        record["cells"][0]["fieldwork_h"]["likely"], abs=0.01
    )
    assert json.loads(json.dumps(record)) == record


def test_the_record_holds_what_other_rooms_read() -> None:
    """Names of the contract, ranges in order, places of the squares in metres."""
    record = record_of(FOREST)
    named = {"fieldwork_h", "drawing_h", "area_km2", "crs", "cells", "sheets", "tasks", "days", "cost", "weeks"}
    assert named | {"without_draft", "to_shrink", "first", "assumptions", "survey", "words"} <= set(record)
    for part in ("fieldwork_h", "drawing_h", "cost", "days"):
        assert record[part]["low"] <= record[part]["likely"] <= record[part]["high"]
    cell = record["cells"][11]
    assert (cell["east_m"], cell["north_m"], cell["side_m"]) == (250, 250, 250)
    assert set(cell["by_task"]) == set(TASKS)
    assert cell["why"].startswith("mostly ")


def test_a_slow_club_takes_longer_for_all() -> None:
    """Twice the trade's hours: twice the fieldwork, drawing and cost without travel."""
    slow = estimate(ground(80), square_cells(10, 8), pace=pace(2.0))
    assert slow.by_task.sum() == pytest.approx(2 * FOREST.by_task.sum())
    assert slow.days["likely"] > 1.9 * FOREST.days["likely"]


def test_words_name_what_a_treasurer_asks() -> None:
    """Days, cost, weeks, reserve, tasks, the draft's gain, the cheapest ways, the first piece, season, assumptions."""
    lines = describe(FOREST)
    assert max(map(len, lines)) <= WIDEST
    said = " ".join(" ".join(lines).split())
    for words in (
        "5.0 km2 at 1:10,000", "Days in the field", "with a reserve of a fifth", "for 2 mappers at 2 days a week",
        "EUR likely", "a square kilometre", "Without a draft:", "saves about", "First: 3", "flown without leaves",
        "day_rate 300 EUR, travel_h 1, mappers 2, days_a_week 2. An estimate, not a promise",
    ):  # fmt: skip
        assert words in said, words


def test_no_gain_is_said_to_be_none() -> None:
    """Grassland: the same with the draft and without, in words; forest that is well seen: a gain."""
    meadow = estimate(ground(16, open_km2=1.0, not_seen_km2=0.0), square_cells(4, 4))
    assert "saves next to nothing here (0%)" in " ".join(describe(meadow))
    assert record_of(meadow)["without_draft"]["saved_h"] == 0
    assert "next to nothing" not in " ".join(describe(estimate(ground(16), square_cells(4, 4), grades=GOOD)))


def test_what_lidar_cannot_give_is_priced() -> None:
    """A survey that cannot show rock: all rock's hours are named; small paths and borders always are."""
    blind = estimate(ground(16), square_cells(4, 4), grades=USABLE | {"rock": "not possible"})
    priced = {one.what: one.hours for one in all_on_foot(blind)}
    assert priced["rock"] == pytest.approx(blind.by_task[:, TASKS.index("rock")].sum())
    assert priced["small paths"] == pytest.approx(1.0)
    assert "rock" not in {one.what for one in all_on_foot(FOREST)}


def test_ground_without_a_tile_is_said_and_is_in_no_square() -> None:
    """Half a square kilometre of the boundary: 12 and a half hours of the published example, beside the others."""
    part = estimate(ground(16), square_cells(4, 4), outside_km2=0.5)
    assert "50.0 ha within the boundary that no tile covers, about 12 hours" in " ".join(
        " ".join(describe(part)).split()
    )
    assert part.by_task.sum() == estimate(ground(16), square_cells(4, 4)).by_task.sum()


def test_ways_to_shrink_name_the_dearest_ground() -> None:
    """Of 20 squares two cost thrice as much: they are the tenth that is left out; savings are sorted."""
    by_task = np.ones((20, len(TASKS)))
    by_task[[3, 7]] = 3
    ways = ways_to_shrink(by_task, np.full(20, 0.0625), scale=10000, grades=USABLE)
    assert [way.saved_h for way in ways] == sorted((way.saved_h for way in ways), reverse=True)
    (dear,) = [way for way in ways if way.cells]
    assert sorted(dear.cells) == [3, 7]
    assert dear.saved_h == 2 * 3 * len(TASKS)
    assert len(ways) == 3


def test_ways_that_save_nothing_say_why() -> None:
    """The coarsest scale, an area of one square, and so little green that notes cost more than they save."""
    ways = ways_to_shrink(np.ones((1, len(TASKS))), np.array([0.0625]), scale=15000, grades=USABLE)
    assert [way.saved_h for way in ways] == [0, 0, 0]
    assert all(way.why for way in ways)


def test_the_first_piece_is_the_cheap_half_in_one_piece() -> None:
    """West half cheap, east half dear, and a cheap square far away in the east that cannot be joined."""
    cells = square_cells(12, 8)
    hours = np.where(cells.place[:, 0] < 6, 1.0, 5.0)
    lone = int(np.flatnonzero((cells.place == (10, 4)).all(axis=1))[0])
    hours[lone] = 0.1
    area = np.full(96, 0.0625)
    piece = best_piece(cells.place, area, area, hours)
    assert area[piece].sum() == pytest.approx(3.0)
    assert set(cells.place[piece, 0]) <= set(range(6))
    grown = {tuple(cells.place[piece[0]])}
    for col, row in cells.place[piece[1:]].tolist():
        assert {(col + 1, row), (col - 1, row), (col, row + 1), (col, row - 1)} & grown
        grown.add((col, row))


def test_the_first_piece_is_no_snake() -> None:
    """A cheap row of squares through a large forest: the piece stays within some 2.5 km."""
    cells = square_cells(40, 12)
    hours = np.where(cells.place[:, 1] == 5, 1.0, 1.2)
    area = np.full(480, 0.0625)
    piece = best_piece(cells.place, area, area, hours)
    assert area[piece].sum() == pytest.approx(3.0)
    assert np.ptp(cells.place[piece], axis=0).max() * 250 <= 2600


def test_a_small_area_has_no_first_piece() -> None:
    """It is mapped whole."""
    assert estimate(ground(40), square_cells(8, 5)).first == []
    assert "First: the whole" in " ".join(describe(estimate(ground(40), square_cells(8, 5))))


def test_season_and_age_are_said() -> None:
    """Old surveys, surveys in leaf, surveys that nobody can date."""
    flight = {"flight": {"days": ["2017-07-01", "2017-07-03"], "season": "leaf-on"}}
    old = age_of(flight, map_date=datetime.date(2027, 4, 10))
    assert old.years == pytest.approx(9.77, abs=0.01)
    assert "flown in leaf" in said_of_age(old)
    assert "So old" in said_of_age(old)
    assert "its age is unknown" in said_of_age(age_of({}, map_date=datetime.date(2027, 4, 10)))


def test_hours_left_follow_what_was_looked_at() -> None:
    """A quarter done leaves three quarters; no progress, or one that says nothing, adds no line."""
    record = record_of(FOREST)
    (said,) = [" ".join(said_of_progress(record, {"hours_percent": 25}))]
    likely = 0.75 * record["fieldwork_h"]["likely"]
    assert f"{likely:.0f} hours likely" in said
    assert said_of_progress(record, {}) == said_of_progress(record, {"hours_percent": None}) == []


def test_two_areas_side_by_side() -> None:
    """A column each, in the order given; the dearer one shows in its hours."""
    rocky = estimate(ground(80, rocks=400.0), square_cells(10, 8), name="Cragwood")
    table = side_by_side([record_of(FOREST), record_of(rocky)])
    assert table[0].split() == ["Tarnlow", "Cragwood"]
    (row,) = [line for line in table if line.startswith("  a square kilometre, likely")]
    plain, dear = map(float, row.split()[-2:])
    assert dear > plain > 10
    (rock,) = [line for line in table if line.strip().startswith("rock ")]
    assert float(rock.split()[-1]) > float(rock.split()[-2])


def test_a_quick_look_is_wide_and_says_why() -> None:
    """From 10 to 60 hours about 25; steep headers cost more; few returns promise nothing."""
    flat, steep = (ordinary_ground(4.0, rise=rise, interval_m=5.0) for rise in (0.05, 0.5))
    quick = estimate(flat, square_cells(1, 1), pace=QUICK_PACE, grades=grades_by_density(8.0))
    hours = quick.fieldwork(float(quick.by_task.sum()))
    assert (hours.low / hours.likely, hours.high / hours.likely) == (pytest.approx(0.4), pytest.approx(2.4))
    assert estimate(steep, square_cells(1, 1)).by_task.sum() > quick.by_task.sum()
    assert set(grades_by_density(0.5).values()) == {"not possible"}
    said = " ".join(describe_quick(quick, "Told from headers.", WHY_WIDE))
    assert "The range is wide because" in said
    assert quick_record(quick)["area_km2"] == pytest.approx(4.0)


def test_the_slope_of_headers_leaves_trees_out() -> None:
    """Flat ground under tall forest is flat; a bird far above one tile of three changes nothing."""
    assert rise_of_headers(np.array([[24.0, 500.0]])) == 0
    assert rise_of_headers(np.array([[125.0, 500.0], [130.0, 500.0], [2000.0, 500.0]])) == pytest.approx(0.21)


@pytest.mark.parametrize(
    ("hours", "said"),
    [(1 / 60, "1 minute"), (0.5, "30 minutes"), (1.0, "1 hour"), (2.0, "2 hours"), (41.6, "42 hours")],
)
def test_hours_in_words(hours: float, said: str) -> None:
    """Minutes, one hour, hours."""
    assert in_hours(hours) == said
