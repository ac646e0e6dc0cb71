"""Where the producer's ground and ours differ is told in words, whichever way blocks cut it."""

import numpy as np

from pipeline.points.producer import Dispute
from pipeline.survey.disputes import LISTED, count_disputes, describe_disputes


def made(n: int, east_m: float, apart_m: float, *, producers: bool, seed: int = 0) -> tuple[Dispute, np.ndarray]:
    """Disputed returns about a place."""
    places = np.random.default_rng(seed).uniform(0, 35, (n, 2)) + np.array([east_m, 5_000_000.0])
    return Dispute(np.arange(n), np.full(n, apart_m), np.full(n, producers)), places


def test_places_come_worst_first_with_who_was_believed() -> None:
    """Two places far apart in height, a third that hardly is, and a lone shrub."""
    parts = [made(200, 1000, -3.0, producers=False), made(200, 3000, 15.0, producers=True)]
    parts += [made(200, 7000, 0.7, producers=True), made(1, 9000, 5.0, producers=True)]
    squares = [square for part in parts for square in count_disputes(*part)]
    lines = describe_disputes(squares, is_marked=True).splitlines()
    assert "more than 0.5 m apart here and there on 0.48 ha" in lines[0]
    assert "more than 2 m apart on 0.32 ha" in lines[1]
    assert "E 3020," in lines[2]
    assert "200 returns 15.0 m apart; the producer's ground was taken" in lines[2]
    assert "E 1020," in lines[3]
    assert "ours was taken" in lines[3]
    assert len(lines) == 4


def test_squares_that_blocks_cut_add_up() -> None:
    """Counted in two parts or in one, the words are the same."""
    dispute, places = made(500, 1000, 4.0, producers=True)
    west = places[:, 0] < 1013.7
    halves = [
        square
        for half in (west, ~west)
        for square in count_disputes(
            Dispute(dispute.index[half], dispute.apart_m[half], dispute.is_producers[half]), places[half]
        )
    ]
    assert describe_disputes(halves, is_marked=True) == describe_disputes(
        count_disputes(dispute, places), is_marked=True
    )


def test_nothing_disputed_is_said() -> None:
    """No square, and squares of single returns."""
    assert describe_disputes([], is_marked=True).startswith("Nowhere")
    lone = count_disputes(*made(1, 0, 9.0, producers=True))
    assert describe_disputes(lone, is_marked=True).startswith("Nowhere")


def test_a_survey_without_marked_ground_is_no_fault() -> None:
    """Nothing was compared, and nothing is said to agree: the sentence calms and names who found the ground."""
    assert describe_disputes([], is_marked=False) == (
        "The producer marked no ground; Tussock found it itself, as it does for any survey.\n"
    )


def test_one_place_more_than_are_listed_is_one_place() -> None:
    """Thirteen places: twelve are listed, the last line is in the singular."""
    squares = [
        square
        for k in range(LISTED + 1)
        for square in count_disputes(*made(200, 1000 + 2000 * k, 9.0 + k, producers=True, seed=k))
    ]
    assert describe_disputes(squares, is_marked=True).splitlines()[-1] == "  and 1 place that differs less"
