"""The check list: questions put together to stops, ranked by worth, and walked on outings."""

from __future__ import annotations

import string
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from pipeline.fieldwork.outings.routes import plan_outings, walked_minutes
from pipeline.fieldwork.questions.listed import DEGREES
from pipeline.fieldwork.questions.stops import Whole, looking_minutes, stops_of
from pipeline.fieldwork.walking.ground import Net
from pipeline.fieldwork.walking.parking import best_of
from pipeline.lattice.grid import EastNorth

MOST_STOPS = 200
"""Stops that outings are planned through, the most worthy ones: a club's work of a week, planned in seconds (our
choice). The rest stays on the list with outing 0."""
NEIGHBOURS = 2
"""A stop is passed on the way from one stop to another: what it takes to reach is the mean way to so many others."""
DETOUR_RATIO = 1.2
"""Walked ground over straight line between neighbouring stops (our choice)."""
BEYOND_M = 40.0
"""A place that lies farther than this from all ground one can come to is not visited (our choice)."""
BEYOND_MINUTES = 120.0
"""What reaching such a place counts for, so that it stands far down the list (our choice)."""
OF_GROUND = ("notes", "not_seen")
"""Kinds of question that are about the ground around and not about a thing: they are asked where one can come to."""
ROAD_M_PER_MINUTE = 84.0
"""Walking from a car outside the survey to where it begins: Tobler's 5 km/h of level paths."""
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Parking:
    """Where walks may start and end.

    Attributes
    ----------
    places : (n, 2) east, north
    is_given : whether the mapper named them; of guessed ones only the best is used
    words : how they were found
    """

    places: EastNorth
    is_given: bool
    words: str


@dataclass(frozen=True)
class Outing:
    """One walk.

    Attributes
    ----------
    start : (2,) east, north of the parking place it starts and ends at
    stops : numbers of the stops in walking order
    walking_minutes, looking_minutes : of the whole walk
    way : (n, 2) the ground it goes over, parking place to parking place
    """

    start: EastNorth
    stops: tuple[int, ...]
    walking_minutes: float
    looking_minutes: float
    way: EastNorth


@dataclass(frozen=True)
class Start:
    """A parking place and how it hangs on the net.

    Attributes
    ----------
    place : (2,) east, north
    square : of the net, the nearest one can come to
    minutes : from the place to that square; a car may stand outside the survey
    """

    place: EastNorth
    square: int
    minutes: float


@dataclass(frozen=True)
class CheckList:
    """What to look at, and the walks.

    Attributes
    ----------
    rows : GeoDataFrame in WGS 84 with COLUMNS, best first
    outings : the walks, the first with number 1
    crs : of the walks
    words : what a reader has to know of parking and of what is in no outing
    """

    rows: gpd.GeoDataFrame
    outings: tuple[Outing, ...]
    crs: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Stops:
    """Stops of questions, in no order of worth.

    Attributes
    ----------
    of_question : stop of each question
    place : (n, 2) east, north
    looking : (n,) minutes
    value : (n,) changes to the map to be expected, times how much they matter
    """

    of_question: Whole
    place: EastNorth
    looking: Numbers
    value: Numbers


def moved_to_reach(questions: gpd.GeoDataFrame, net: Net, /) -> gpd.GeoDataFrame:
    """The questions with those OF_GROUND moved to the nearest square one can come to, where theirs is none."""
    places = np.column_stack([questions.geometry.x, questions.geometry.y])
    squares, far_m = net.squares_at(places)
    moved = questions["kind"].isin(OF_GROUND).to_numpy() & (far_m > net.ground.side_m)
    places[moved] = net.ground.centres[squares[moved]].round(1)
    return questions.set_geometry(shapely.points(places), crs=questions.crs)


def stops_from(questions: gpd.GeoDataFrame, /) -> Stops:
    """Questions put together to stops; a stop lies at its most valuable question."""
    places = np.column_stack([questions.geometry.x, questions.geometry.y])
    value = (questions["chance"] * questions["matters"]).to_numpy(np.float64)
    stop = stops_of(places, value)
    n_stops = int(stop.max()) + 1 if len(stop) else 0
    best_first = np.lexsort((places[:, 0], places[:, 1], -value))
    first = best_first[np.unique(stop[best_first], return_index=True)[1]] if n_stops else best_first
    return Stops(
        stop,
        places[first],
        looking_minutes(stop, questions["minutes"].to_numpy(np.float64), n_stops),
        np.bincount(stop, value, n_stops).astype(np.float64),
    )


def worth_an_hour(stops: Stops, net: Net, from_parking: Numbers, /, *, outing_minutes: float) -> Numbers:
    """What an hour spent on each stop is worth: its value over the minutes of looking and of coming there.

    Coming there is the way from the neighbouring stops, and the stop's share of the way from the parking place and
    back, which all stops of an outing pay together.

    Parameters
    ----------
    from_parking : (n,) minutes of walking to each stop; infinite where no way leads
    """
    n_near = min(NEIGHBOURS, len(stops.place) - 1)
    squares, _ = net.squares_at(stops.place)
    hop = np.zeros(len(stops.place))
    if n_near > 0:
        apart = np.asarray(KDTree(stops.place).query(stops.place, k=n_near + 1)[0])[:, 1:].mean(axis=1)
        hop = apart * DETOUR_RATIO * net.usual_minutes_per_m[squares]
    there = np.where(np.isfinite(from_parking), from_parking, BEYOND_MINUTES)
    # Of an outing the ways there and back are lost; at least a tenth is left, as no stop is beyond all reach.
    left = np.maximum(outing_minutes - 2 * there, 0.1 * outing_minutes)
    return np.asarray(60 * stops.value / ((stops.looking + hop) * outing_minutes / left), np.float64)


def make_check_list(questions: gpd.GeoDataFrame, net: Net, parking: Parking, /, *, outing_h: float) -> CheckList:
    """The check list of an area.

    Parameters
    ----------
    questions : rows of `pipeline.fieldwork.questions.table.question_table`
    outing_h : hours of an outing, walking and looking
    """
    if not len(questions):
        stops = stops_from(questions)
        return CheckList(_rows(questions, stops, np.zeros(0), [], []), (), str(questions.crs), (parking.words,))
    questions = moved_to_reach(questions, net)
    stops = stops_from(questions)
    squares, far_m = net.squares_at(stops.place)
    cars, beside_m = net.squares_at(parking.places)
    to_ground = beside_m / ROAD_M_PER_MINUTE
    from_cars = np.where(far_m <= BEYOND_M, to_ground[:, None] + net.minutes(cars, squares), np.inf)
    used = np.arange(len(cars)) if parking.is_given else np.array([best_of(from_cars)])
    from_parking = from_cars[used].min(axis=0)
    worth = worth_an_hour(stops, net, from_parking, outing_minutes=60 * outing_h)
    best = np.argsort(-worth, kind="stable")
    planned = best[np.isfinite(from_parking[best])][:MOST_STOPS]
    outings: list[Outing] = []
    nearest = from_cars[used].argmin(axis=0)
    for number, car in enumerate(used):
        own = planned[nearest[planned] == number]
        start = Start(parking.places[car], int(cars[car]), float(to_ground[car]))
        outings += _walks(own, stops, net, squares, start, outing_h=outing_h)
    outings.sort(key=lambda outing: -_value(outing, stops))
    words = [parking.words, *_left_out(stops, outings, from_parking)]
    return CheckList(
        _rows(questions, stops, worth, list(best), outings), tuple(outings), str(questions.crs), tuple(words)
    )


def _value(outing: Outing, stops: Stops) -> float:
    """Worth of a minute of an outing."""
    return float(stops.value[list(outing.stops)].sum() / (outing.walking_minutes + outing.looking_minutes))


def _walks(own: Whole, stops: Stops, net: Net, squares: Whole, start: Start, *, outing_h: float) -> list[Outing]:
    """The outings from one parking place through the stops that are nearest to it."""
    if not len(own):
        return []
    walking = net.minutes_of_rounds(start.square, squares[own])
    walking[0, 1:] += start.minutes
    walking[1:, 0] += start.minutes
    found = plan_outings(walking, stops.looking[own], stops.value[own], limit_minutes=60 * outing_h)
    return [
        Outing(
            start=start.place,
            stops=tuple(int(own[place]) for place in walk),
            walking_minutes=walked_minutes(walk, walking),
            looking_minutes=float(stops.looking[own[walk]].sum()),
            way=_way(
                net,
                [start.square, *squares[own[walk]], start.square],
                [start.place, *stops.place[own[walk]], start.place],
            ),
        )
        for walk in found
    ]


def _way(net: Net, squares: list[int], places: list[EastNorth]) -> EastNorth:
    """The ground an outing goes over, through the places themselves."""
    legs = []
    for here, there, place in zip(squares, squares[1:], places, strict=False):
        legs += [place[None], net.way(int(here), int(there))[1:-1]]
    line = np.concatenate([*legs, places[-1][None]])
    return shapely.get_coordinates(shapely.simplify(shapely.linestrings(line), net.ground.side_m / 4))


def _left_out(stops: Stops, outings: list[Outing], from_parking: Numbers) -> list[str]:
    """What is said of stops that are in no outing."""
    n_in = sum(len(outing.stops) for outing in outings)
    n_beyond = int((~np.isfinite(from_parking)).sum())
    said = []
    if n_in < len(stops.place):
        said.append(
            f"{n_in} of {len(stops.place)} stops are in outings; the others have outing 0 on the list. "
            "When these are done, draft again: the list is planned anew."
        )
    if n_beyond:
        said.append(f"No way was found to {n_beyond} of them, across water, cliffs or ground that may not be entered.")
    return said


def _rows(
    questions: gpd.GeoDataFrame, stops: Stops, worth: Numbers, best: list[int], outings: list[Outing]
) -> gpd.GeoDataFrame:
    """The rows of the list, stops by worth, and the questions of a stop by what they are worth themselves."""
    place_number = {stop: number for number, stop in enumerate(best, start=1)}
    in_outing = {stop: (n, at) for n, one in enumerate(outings, 1) for at, stop in enumerate(one.stops, 1)}
    own = (questions["chance"] * questions["matters"]).to_numpy(np.float64)
    of = stops.of_question
    number = np.array([place_number[stop] for stop in of], np.int64)
    order = np.lexsort((questions["id"].astype(str).to_numpy(), -own, number))
    table, of, number = questions.iloc[order], of[order], number[order]
    degrees = table.geometry.to_crs(DEGREES)
    rows = {
        "rank": np.arange(1, len(table) + 1),
        "name": np.array(_names(number), object),
        "outing": [in_outing.get(stop, (0, 0))[0] for stop in of],
        "stop": [in_outing.get(stop, (0, 0))[1] for stop in of],
        **{name: table[name].to_numpy() for name in ("id", "symbol", "kind", "look_at", "why")},
        "confidence": table["confidence"].round(3).to_numpy(),
        "minutes": table["minutes"].round(1).to_numpy(),
        "worth": worth[of].round(2) if len(of) else [],
        "east_m": table.geometry.x.round(1).to_numpy(),
        "north_m": table.geometry.y.round(1).to_numpy(),
        "latitude_deg": degrees.y.round(7).to_numpy(),
        "longitude_deg": degrees.x.round(7).to_numpy(),
    }
    return gpd.GeoDataFrame(rows, geometry=degrees.to_numpy(), crs=DEGREES)


def _names(numbers: Whole) -> list[str]:
    """Short names: the number of the stop, and a letter for each further question there: 017, 017b, 017c."""
    digits = max(3, len(str(numbers.max()))) if len(numbers) else 3
    names: list[str] = []
    nth = 0
    for at, number in enumerate(numbers):
        nth = nth + 1 if at and numbers[at - 1] == number else 0
        names.append(f"{number:0{digits}d}{_letter(nth)}")
    return names


def _letter(nth: int) -> str:
    """Nothing for the first, b for the second, z for the 26th, then aa, ab."""
    letters = string.ascii_lowercase
    if nth == 0:
        return ""
    return letters[nth] if nth < len(letters) else letters[nth // len(letters) - 1] + letters[nth % len(letters)]
