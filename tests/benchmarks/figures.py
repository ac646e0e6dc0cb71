"""Every figure of accuracy and cost that the project states, measured again by one command.

    make figures                      all that take less than a minute each and whose data are here
    make figures ONLY=structure,cost  single ones, long ones too
    make figures ONLY=list            names, questions, and what each needs

TUSSOCK_DATA names the folder of the measuring data, TUSSOCK_PDAL a PDAL command line, and TUSSOCK_SCORER a folder with
the programs that judge a draft of a scene with known truth (`score_draft.py`, `surface_error.py`, `reliability.py`).

To add a figure, add a `Measurement` to `MEASUREMENTS`: its function returns tables, or `printed` runs a program of
`tests/benchmarks/` and keeps what it prints.
"""

from __future__ import annotations

import argparse
import functools
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import psutil

from tests.benchmarks.audits import audits
from tests.benchmarks.batch import compared as batch
from tests.benchmarks.composing import composed_and_drawn
from tests.benchmarks.driver import driver
from tests.benchmarks.effort import beside_truth
from tests.benchmarks.effort import fitted as effort_fitted
from tests.benchmarks.exports import compared as exports_of
from tests.benchmarks.identity import compared as identity_of
from tests.benchmarks.kept_ids import kept_ids
from tests.benchmarks.kept_work import kept_work, map_beside_lidar
from tests.benchmarks.large_area import Scene, lay_side_by_side
from tests.benchmarks.mosaic import compared as mosaic_of_drafts
from tests.benchmarks.mutations import mutations
from tests.benchmarks.one_tile_changed import all_compared as one_tile_changed
from tests.benchmarks.outings import compared as outings
from tests.benchmarks.overhead import overhead
from tests.benchmarks.page import compared as page_of_draft
from tests.benchmarks.ranking import compared as ranking_of
from tests.benchmarks.refresh_scenes import drafting_into, refresh_scenes
from tests.benchmarks.results import Measurement, Table, markdown_of, measure_again, read_results, write_results
from tests.benchmarks.seams import compared as seams_of
from tests.benchmarks.selection import selection
from tests.benchmarks.sizes import COLUMNS, KEEP_ONE_IN, SIDES_M, cost_row, costs_of_sizes, draft_kept, draft_watched
from tests.benchmarks.structure import structure
from tests.benchmarks.unchanged import unchanged
from tests.benchmarks.updating import updating
from tests.benchmarks.watched import Cost
from tests.paths import PROJECT
from tests.runs import SAMPLE

DOCS = PROJECT / "docs"
KEPT, PAGE = DOCS / "figures.json", DOCS / "figures.md"
SCENES = ("scene_a", "scene_b", "hard_moraine", "hard_steep", "hard_farmland", "hard_karst")
"""Invented scenes with complete truth, folders of TUSSOCK_DATA."""
NOT_FITTED = ("scene_b", "hard_steep", "hard_farmland")
"""Those on which what is learned from marks was not fitted."""


@functools.cache
def scratch() -> Path:
    """A folder that is gone when the program ends; drafts made for one figure serve the next."""
    kept = tempfile.TemporaryDirectory(prefix="tussock-figures-")
    _OPEN.append(kept)
    return Path(kept.name)


_OPEN: list[tempfile.TemporaryDirectory[str]] = []


def data(name: str, /) -> Path:
    """A folder of the measuring data."""
    return Path(os.environ["TUSSOCK_DATA"]).resolve() / name


def printed(*command: str, title: str = "") -> Callable[[], list[Table]]:
    """A measurement that runs `python -m COMMAND` and keeps what it prints."""
    return lambda: [Table(title, printed=output_of("-m", *command))]


def output_of(*arguments: str | Path) -> str:
    """What a Python program prints; SystemExit with its complaint if it fails, or if it prints nothing."""
    command = [sys.executable, *map(str, arguments)]
    done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{command[1:3]}: {(done.stderr.strip() or done.stdout.strip() or 'failed').splitlines()[-1]}")
    if not done.stdout.strip():
        raise SystemExit(f"{command[1:3]}: printed nothing")
    return done.stdout


# ---------------------------------------------------------------- drafts of scenes


@functools.cache
def drafted(tiles: Path, /) -> tuple[Path, Cost]:
    """Draft the tiles in a folder, once: where the draft is, and what it took."""
    return draft_watched(tiles, scratch() / "drafts" / f"{tiles.parent.name}_{tiles.name}")


def draft_of(scene: str, /) -> Path:
    """The draft of a scene of the measuring data."""
    return drafted(data(scene) / "tiles")[0]


def scores() -> list[Table]:
    """The scores of every scene, a column a scene."""
    found: dict[str, dict[str, float]] = {}
    for scene in SCENES:
        target = scratch() / f"{scene}.json"
        output_of(_scorer("score_draft.py"), data(scene), draft_of(scene), "--json", target)
        found[scene] = json.loads(target.read_text(encoding="utf-8"))
    names = list(dict.fromkeys(name for scene in found.values() for name in scene))
    rows = [[name, *(_figure(found[scene].get(name)) for scene in SCENES)] for name in names]
    return [Table("", ["figure", *SCENES], rows)]


def choices() -> list[Table]:
    """What of the points found is drawn in three real places."""
    cone = scratch() / "lava_cone" / "tiles"
    cone.mkdir(parents=True, exist_ok=True)
    if not (cone / "lava_cone.laz").exists():
        (cone / "lava_cone.laz").symlink_to(data("real_faults") / "lava_cone.laz")
    places = {"bc_forest": data("bc_forest"), "lava_forest": data("lava_forest"), "lava_cone": cone}
    return selection({name: drafted(tiles)[0] for name, tiles in places.items()})


def audited() -> list[Table]:
    """What of the sample, of every scene and of a real place falls short of the norm as it is printed."""
    scenes = {scene: draft_of(scene) for scene in SCENES}
    return audits({"sample": drafted(SAMPLE)[0], **scenes, "bc_forest": drafted(data("bc_forest"))[0]})


def streams() -> list[Table]:
    """Streams drawn against the true ones, a row a scene."""
    pairs = [f"{data(scene)}={draft_of(scene)}" for scene in SCENES]
    return [Table("", printed=output_of("-m", "tests.benchmarks.water_truth", "streams", *pairs))]


def shore() -> list[Table]:
    """Standing water of a town against its official map."""
    draft, _ = draft_watched(data("town"), scratch() / "drafts" / "town", crs="EPSG:28992")
    return [Table("", printed=output_of("-m", "tests.benchmarks.water_truth", "shore", f"{data('town')}={draft}"))]


def surfaces() -> list[Table]:
    """The error of the bare earth of every scene, a row a scene."""
    return [
        Table("", ["scene", "error"], [[scene, _judged("surface_error.py", scene).strip()] for scene in SCENES]),
    ]


def mosaic() -> list[Table]:
    """The mosaic of vegetation of real and invented forest, a row a place."""
    boreal, _ = draft_watched(data("boreal"), scratch() / "drafts" / "boreal", crs="EPSG:3301")
    real = {"bc_forest": drafted(data("bc_forest"))[0], "boreal": boreal}
    return mosaic_of_drafts(real | {scene: draft_of(scene) for scene in SCENES})


def effort_of_scenes() -> list[Table]:
    """Hours by the draft and by the truth of every scene."""
    return beside_truth({scene: (data(scene), draft_of(scene)) for scene in SCENES})


def promises() -> list[Table]:
    """What a survey promises, and what came true; renews `config/promises.json`."""
    pairs = [f"{data(scene)}={draft_of(scene)}" for scene in SCENES]
    return [Table("", printed=output_of("-m", "tests.benchmarks.promises", *pairs, "--write"))]


def reliability() -> list[Table]:
    """Stated confidence against truth over all scenes."""
    pairs = [str(part) for scene in SCENES for part in (data(scene), draft_of(scene))]
    others = output_of("-m", "tests.benchmarks.scene_confidence", *pairs)
    return [Table("", printed=output_of(_scorer("reliability.py"), *pairs) + others)]


def calibration() -> list[Table]:
    """What thirty notes mend, scene by scene."""
    pairs = [str(part) for scene in SCENES for part in (data(scene), draft_of(scene))]
    return [Table("", printed=output_of("-m", "tests.benchmarks.calibration", *pairs))]


def ranking() -> list[Table]:
    """What the first third of the check list finds of a draft's errors, a row a scene."""
    return ranking_of({scene: (data(scene), draft_of(scene)) for scene in SCENES})


def _scorer(program: str) -> Path:
    return Path(os.environ["TUSSOCK_SCORER"]).resolve() / program


def _judged(program: str, scene: str) -> str:
    return output_of(_scorer(program), data(scene), draft_of(scene))


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


# ---------------------------------------------------------------- seconds and memory

COMPOSED = ("hard_steep",)
"""Scenes whose features are laid side by side: close contours, cliffs and boulders, of which the cost is made."""


@functools.cache
def large_area(side_m: int, /) -> Path:
    """Tiles of a square with so many metres a side, made of copies of a scene."""
    folder = scratch() / f"{side_m} m" / "tiles"
    lay_side_by_side(Scene.read(tiles_of("scene_a")), folder, side_m=side_m)
    return folder


def tiles_of(scene: str, /) -> list[Path]:
    """The tiles of a scene of the measuring data."""
    return sorted(data(scene).rglob("*.laz"))


def km2() -> Path:
    """A square kilometre."""
    return large_area(1000)


def four_km2() -> Path:
    """Four of them."""
    return large_area(2000)


def cost_of(maker: Callable[[], Path]) -> Callable[[], list[Table]]:
    """A measurement of a whole draft: seconds on two cores, and memory."""
    return lambda: [Table("", COLUMNS, [cost_row(maker(), drafted(maker())[1])])]


def composing() -> list[Table]:
    """Seconds of composing and drawing four square kilometres of copies of invented scenes."""
    kept = {name: draft_kept(data(name) / "tiles", scratch() / "kept" / name) for name in COMPOSED}
    return [composed_and_drawn(kept)]


def _against_pdal(maker: Callable[[], Path]) -> Callable[[], list[Table]]:
    return lambda: [Table("", printed=output_of("-m", "tests.benchmarks.speed", maker()))]


# ---------------------------------------------------------------- the registry

MEASUREMENTS = (
    Measurement(
        "structure",
        "Shape of the code",
        "How many rooms, settings and lines are there, and how much stands twice?",
        "Counted in the source files; a room is a folder, and docstrings are not counted in a function's body. "
        "Runs that stand again are counted without docstrings, comments, imports and the lists of settings.",
        structure,
    ),
    Measurement(
        "unchanged",
        "Shape of the code",
        "Is the draft still the same since the code was put in order, and does it cost more?",
        "The commit named in the table and the working tree draft the same tiles on the same machine, one after the "
        "other.",
        lambda: unchanged(
            {
                "sample": f"{SAMPLE}/*.laz",
                "scene_a": f"{data('scene_a')}/tiles/*.laz",
                "bc_forest": f"{data('bc_forest')}/*.laz",
            }
        ),
        data=("scene_a", "bc_forest"),
        is_long=True,
    ),
    Measurement(
        "cost",
        "Cost",
        "How long does the draft of the sample take?",
        "Everything from LAZ to field sheet, on two cores.",
        cost_of(lambda: SAMPLE),
        command="time tussock draft sample_tiles/area.yaml --cores 2",
    ),
    Measurement(
        "exports",
        "Cost",
        "Do other readers find all of a draft in its exports, and what do exports and backdrops cost?",
        "Each is written by its step from the draft of the sample, and opened by a library that did not write it "
        "(PMTiles by its own). A watch gets no contours and no areas.",
        lambda: exports_of(drafted(SAMPLE)[0]),
        command="python -m tests.benchmarks.exports sample_tiles/out",
    ),
    Measurement(
        "page",
        "Cost",
        "How large is the page of a draft, and how soon can it be used?",
        "Pages of the sample, of a real forest, and of copies of the sample's draft side by side. Ready is when the "
        "map is drawn and answers, in Chromium from the file; the phone is a window of 390 pixels at two dots each, "
        "on this machine made four times as slow. Beside other work all of it takes longer.",
        lambda: page_of_draft(drafted(SAMPLE)[0], drafted(data("bc_forest"))[0]),
        command="python -m tests.benchmarks.page sample_tiles/out",
        data=("bc_forest",),
        is_long=True,
    ),
    Measurement(
        "cost_km2",
        "Cost",
        "How long does the draft of a square kilometre take?",
        "Copies of `scene_a` side by side, 16 returns per m2; everything from LAZ to field sheet, on two cores.",
        cost_of(km2),
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "cost_4km2",
        "Cost",
        "What does a larger area need?",
        "As above, for four square kilometres.",
        cost_of(four_km2),
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "composing",
        "Cost",
        "How long do composing and drawing four square kilometres take?",
        "Copies of what the sections of a draft found, every other one mirrored, laid side by side and joined at the "
        "seams; the two steps alone. Not more than 30 s together was asked for.",
        composing,
        command="python -m tests.benchmarks.composing NAME=OUT ... with drafts made with --keep",
        data=COMPOSED,
        is_long=True,
    ),
    Measurement(
        "sizes",
        "Cost",
        "Do time and memory grow with the area?",
        f"Copies of `scene_a` side by side, one pulse in {KEEP_ONE_IN} kept (1 a square metre, cells of 1 m), from a "
        "quarter of a square kilometre to four: seconds a km2 should stay and the largest process not grow.",
        lambda: [costs_of_sizes(tiles_of("scene_a"), sides_m=SIDES_M, keep_one_in=KEEP_ONE_IN)],
        command="python -m tests.benchmarks.sizes SCENE --sides 500,1000,2000",
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "driver",
        "Cost",
        "What do planning and Snakemake hold of many tiles?",
        "Headers of tiles of 500 m, planned and gone through job by job in a dry run. Not more than 1 GiB at 10 000 "
        "tiles was asked for.",
        lambda: [driver([400, 1600, 10_000])],
        command="python -m tests.benchmarks.driver 400,1600,10000",
        is_long=True,
    ),
    Measurement(
        "overhead",
        "Cost",
        "How much of a run of 400 tiles goes to anything but its steps?",
        "`scene_a` cut into 400 tiles of 15 m, the smallest a survey could be cut into; on two cores. Seconds of the "
        "processors. At most a tenth was asked for.",
        lambda: [overhead(tiles_of("scene_a"))],
        command="python -m tests.benchmarks.overhead SCENE",
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "water_sizes",
        "Cost",
        "What does the water step need for an area of any size?",
        "Made ground in cells of half a metre, with ponds and one large lake; the step alone.",
        printed("tests.benchmarks.water_area"),
        command="python -m tests.benchmarks.water_area",
        is_long=True,
    ),
    Measurement(
        "borrowing",
        "Other maps",
        "How long does taking in another map of 100 000 features take?",
        "A made map of houses and lines on 100 km2, a fifth of it also shown by lidar, from file to settled features.",
        printed("tests.benchmarks.borrowing"),
        command="python -m tests.benchmarks.borrowing",
        is_long=True,
    ),
    Measurement(
        "refresh",
        "Refresh",
        "Do two surveys of one place say what changed between them, and nothing else?",
        "A change is found where a patch of a fitting kind touches it, and a patch is right where it touches a true "
        "change. Shifts are off by the largest of east, north and up. Of the true patch of thicker undergrowth in "
        "`scene_a_later` a quarter (777 m2) is open land where nothing changed, and of the dug one more than a third; "
        "so there is a row for what of them did change. That open land is 10 % of all true patches together: what says "
        "nothing of it stays below 0.9 by area. Made pairs are `tests/benchmarks/refresh_pairs.py`; `leaves` has the "
        "same place 1.7 times as dense in leaf; `half` is a survey against every other pulse of its own. Limits were "
        "set on `scene_a` and `made 31`, on `hard_moraine` for carpets, on `made 58` for cleared thickets that look "
        "like boulders, and on `hard_steep` for undergrowth over ground that is not seen; the rest was looked at only.",
        lambda: refresh_scenes(drafting_into(scratch() / "refresh"), data(".")),
        command="python -m tests.benchmarks.refresh_scenes",
        data=(
            "scene_a",
            "scene_a_again",
            "scene_a_later",
            "hard_moraine",
            "hard_steep",
            "bc_forest",
            "two_surveys",
            "dem_epochs",
        ),
        is_long=True,
    ),
    Measurement(
        "kept_work",
        "Refresh",
        "Does a mapper's work stand through refreshes?",
        "Made drafts with 200 edits, refreshed ten times with other tiles each time, and the draft of `scene_a` with "
        "edits, refreshed by itself with the comparison and all. Lost is what differs in one byte of its geometry or "
        "in one column.",
        lambda: kept_work({"scene_a": draft_of("scene_a")}),
        command="python -m tests.benchmarks.kept_work RUN",
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "map_beside_lidar",
        "Refresh",
        "How well is it found where a drawn map lies?",
        "Maps made of drafts: off by a few metres, stretched in waves of 2 m, each feature 1.2 m off by itself, a "
        "quarter left out. How much the stretch may change was fitted on maps made of the same places with other "
        "shifts and waves.",
        lambda: map_beside_lidar({name: draft_of(name) / "draft.gpkg" for name in ("scene_b", "hard_steep")}),
        command="python -m tests.benchmarks.kept_work RUN",
        data=("scene_b", "hard_steep"),
        is_long=True,
    ),
    Measurement(
        "kills",
        "Runs",
        "Is a draft the same after a run that was killed?",
        "The sample, drafted over and over; runs are killed with all their processes at random moments, up to five in "
        "a row, then followed by one to the end, whose files are compared byte by byte with an undisturbed run's.",
        printed("tests.benchmarks.kills", "40"),
        command="python -m tests.benchmarks.kills 40",
        is_long=True,
    ),
    Measurement(
        "mutations",
        "Runs",
        "Do the tests of faults in the flow see the faults?",
        "Each fault is put back into a copy of the project, and the test against it must fail; without the fault it "
        "passes.",
        lambda: [mutations()],
        command="python -m tests.benchmarks.mutations",
        is_long=True,
    ),
    Measurement(
        "identity",
        "Runs",
        "Is a draft the same whatever the cores, the blocks and the tiles?",
        "Each way against the plain one on two cores: files byte by byte, classes return by return. Where the tiles "
        "are others, files that name tiles are left out.",
        lambda: [
            replace(identity_of(tiles_of(name), side_m), title=f"{name}, the middle of {side_m:.0f} m x {side_m:.0f} m")
            for name, side_m in (("scene_a", 200.0), ("bc_forest", 300.0))
        ],
        command="python -m tests.benchmarks.identity FOLDER",
        data=("scene_a", "bc_forest"),
        is_long=True,
    ),
    Measurement(
        "kept_ids",
        "Runs",
        "Do features keep their ids when the survey changes a little?",
        "Drafts of the same place with one return in twenty left out, and of the survey moved by 4 cm. A feature is in "
        "both drafts if its symbol is the same, its place nearly, and its size within a quarter. The squares that ids "
        "are made of were fitted on `scene_a` and on a lava field, not on the moraine.",
        lambda: [kept_ids(tiles_of(name), name) for name in ("scene_a", "hard_moraine")],
        command="python -m tests.benchmarks.kept_ids FOLDER",
        data=("scene_a", "hard_moraine"),
        is_long=True,
    ),
    Measurement(
        "seams",
        "Runs",
        "Does the border of a field show on the map?",
        "A square kilometre, made of copies of `scene_a`, drawn in one field and in fields of 500 m, feature by "
        "feature (`docs/seams.png` shows the ground around a crossing of borders, fields on the right).",
        lambda: [seams_of(drafted(km2())[0], 500.0, DOCS / "seams.png")],
        command="python -m tests.benchmarks.seams OUT 500",
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "town",
        "Towns and farms",
        "How well do drafts of towns agree with official maps?",
        "Buildings by area, ways by length, water by area and edge, within what the official map of `town` covers; "
        "a quarter of narrow streets. The outlines of `roofs` are of walls, and roofs overhang.",
        printed("tests.benchmarks.town"),
        command="python -m tests.benchmarks.town",
        data=("town", "roofs"),
        is_long=True,
    ),
    Measurement(
        "croft",
        "Towns and farms",
        "How many footpaths 0.8 m wide, sunken lanes, ditches, hedges and walls of an invented farm are drawn?",
        "Farms of `tests/croft.py` by length, all together; what is drawn near a true course of its kind is right.",
        printed("tests.benchmarks.croft", "1", "2", "3", "4", "5"),
        command="python -m tests.benchmarks.croft 1 2 3 4 5",
        is_long=True,
    ),
    Measurement(
        "roads",
        "Roads",
        "Are roads found in bare earth alone?",
        "1 km2 of boreal forest at cells of 1 m: roads of the authority, corrected by others, within 5 m. The western "
        "half was tuned on. Smaller tracks are in no list, so that precision is a lower bound.",
        printed("tests.benchmarks.roads"),
        command="python -m tests.benchmarks.roads",
        data=("dtm_roads",),
    ),
    Measurement(
        "thin_lines",
        "Walls and wires",
        "How many terrace walls and wires are found, and how many of those found are some?",
        "Walls within 2 m of what people drew; 3506_2, 3506_4, 3506_5 and 3507_2 have none or next to none. Tuned "
        "on 3506_0 and 3507_0, the least length of a slope on all. Wires tuned on the same tile.",
        printed("tests.benchmarks.thin_lines"),
        data=("dtm_walls", "wires"),
        command="python -m tests.benchmarks.thin_lines",
    ),
    Measurement(
        "speed",
        "Cost",
        "How long do classes and bare earth of the sample take beside PDAL?",
        "LAZ in, classified LAZ and bare earth out; ours on two cores, PDAL with one pipeline. "
        "Most of the time on so small an area is starting Python.",
        _against_pdal(lambda: SAMPLE),
        command="python -m tests.benchmarks.speed sample_tiles",
        needs=("TUSSOCK_PDAL",),
    ),
    Measurement(
        "speed_km2",
        "Cost",
        "How long do classes and bare earth of a square kilometre take beside PDAL?",
        "LAZ in, classified LAZ and bare earth out; ours on two cores, PDAL with one pipeline.",
        _against_pdal(km2),
        data=("scene_a",),
        needs=("TUSSOCK_PDAL",),
        is_long=True,
    ),
    Measurement(
        "selection",
        "Drafts of real places",
        "How many of the point symbols found are drawn, and how sure are the boulders among them?",
        "A symbol is drawn if it is likelier than not and prominent among its like; the others are candidates, or part "
        "of a boulder field, broken ground or open land with scattered trees. At least 0.7 was asked for the mean "
        "confidence of the boulders drawn.",
        choices,
        command="python -m tests.benchmarks.selection NAME=OUT",
        data=("bc_forest", "lava_forest", "real_faults"),
        is_long=True,
    ),
    Measurement(
        "audit",
        "Drafts of real places",
        "Where does a draft, as it is printed, fall short of the least sizes and gaps of the norm?",
        "`tussock audit` of the sample, the invented scenes and a real forest. None was asked for on the sample and "
        "`scene_a` and `scene_b`, and less than one to a hundred features on `bc_forest`. A feature counts once for "
        "each of its places that fall short.",
        audited,
        command="python -m tests.benchmarks.audits NAME=OUT ...",
        data=("bc_forest", *SCENES),
        is_long=True,
    ),
    Measurement(
        "scores",
        "Drafts of invented scenes",
        "How does the draft of a scene compare with its truth?",
        "Recall and precision of features, errors of ground and contours, agreement of the runnability bands.",
        scores,
        data=SCENES,
        needs=("TUSSOCK_SCORER",),
        is_long=True,
    ),
    Measurement(
        "surface",
        "Drafts of invented scenes",
        "How far is the bare earth out?",
        "Root mean square error beside that of a triangulation of the true ground returns, which no filter can beat by "
        "much; patches that are grossly wrong.",
        surfaces,
        data=SCENES,
        needs=("TUSSOCK_SCORER",),
        is_long=True,
    ),
    Measurement(
        "reliability",
        "Drafts of invented scenes",
        "Is a confidence of 0.7 right seven times in ten?",
        "Mean stated confidence -> share that is true, in five bins, over all scenes.",
        reliability,
        data=SCENES,
        needs=("TUSSOCK_SCORER",),
        is_long=True,
    ),
    Measurement(
        "calibration",
        "Drafts of invented scenes",
        "What do thirty notes mend?",
        "Agreement of the runnability bands with a mapper whose limits are 40 % above or below ours, "
        "before and after `tussock calibrate`.",
        calibration,
        data=SCENES,
        is_long=True,
    ),
    Measurement(
        "ground",
        "Ground and classes",
        "How good is the ground on published data?",
        "The ISPRS filter test, scenes with known bare earth, held-out ground of surveys, classes, speed.",
        printed("tests.benchmarks.ground"),
        command="python -m tests.benchmarks.ground",
        data=("isprs", "scene_a", "scene_b", "bc_forest"),
        is_long=True,
    ),
    Measurement(
        "stray_features",
        "Ground and classes",
        "Does a stray low return change the draft of a real tile?",
        "Strays 0.3 to 5 m down, 25 m apart, in one draft of each tile; features that differ from one without them.",
        printed("tests.benchmarks.stray_features", "boreal", "lake_edge"),
        command="python -m tests.benchmarks.stray_features boreal lake_edge",
        data=("boreal", "lake_edge"),
        is_long=True,
    ),
    Measurement(
        "ground_held",
        "Ground and classes",
        "Is the ground that is chosen as good as the producer's, where that is held back?",
        "A tenth of the producer's ground is taken out; the error there of what is left, of our choice, of ours alone.",
        printed("tests.benchmarks.ground", "held"),
        command="python -m tests.benchmarks.ground held",
        data=("bc_forest", "lake_edge", "lava_forest", "real_faults", "pine_plots"),
        is_long=True,
    ),
    Measurement(
        "classes",
        "Ground and classes",
        "Do ground, vegetation and buildings agree with their makers' classes?",
        "Share found and share right by class.",
        printed("tests.benchmarks.classes"),
        command="python -m tests.benchmarks.classes",
        data=("classes", "scene_a", "scene_b", "bc_forest"),
        is_long=True,
    ),
    Measurement(
        "rock_planted",
        "Rock",
        "How many boulders planted in real tiles are found?",
        "Recall, and boulders drawn where none was planted.",
        printed("tests.benchmarks.rock", "planted"),
        command="python -m tests.benchmarks.rock planted",
        data=("bc_forest", "boreal", "lava_forest", "lake_edge", "classes", "pine_plots"),
        is_long=True,
    ),
    Measurement(
        "rock_made",
        "Rock",
        "How many boulders of made scenes are found?",
        "Recall, precision, height and calibration in scenes of the project's own maker.",
        printed("tests.benchmarks.rock", "made"),
        command="python -m tests.benchmarks.rock made",
        is_long=True,
    ),
    Measurement(
        "rock_confusion",
        "Rock",
        "What is taken for a boulder?",
        "Boulders against bushes, stumps, piles and huts of like size.",
        printed("tests.benchmarks.rock", "confusion"),
        command="python -m tests.benchmarks.rock confusion",
        is_long=True,
    ),
    Measurement(
        "boulder_recall",
        "Rock",
        "How many boulders are found by pulse density and canopy?",
        "In made scenes; writes `config/boulder_recall.json`, which `tussock survey` and `docs/boulders.md` read: "
        "run `python docs/make_boulder_plot.py` after it.",
        printed("tests.benchmarks.rock", "density"),
        command="python -m tests.benchmarks.rock density",
        is_long=True,
    ),
    Measurement(
        "rock_cost",
        "Rock",
        "How long does looking for boulders take?",
        "Processor seconds a square kilometre, in dense conifers at 8 pulses per m2.",
        printed("tests.benchmarks.rock", "cost"),
        command="python -m tests.benchmarks.rock cost",
        data=("bc_forest",),
        is_long=True,
    ),
    Measurement(
        "bare_rock",
        "Rock",
        "How much bare rock is drawn?",
        "Patches of rock of known contrast planted in real tiles.",
        printed("tests.benchmarks.rock_bare", "planted"),
        command="python -m tests.benchmarks.rock_bare planted",
        data=("bc_forest",),
        is_long=True,
    ),
    Measurement(
        "rock_cliffs",
        "Rock",
        "How much of planted rock steps is drawn?",
        "Steps of known place and height planted in real tiles.",
        printed("tests.benchmarks.rock_cliffs", "planted"),
        command="python -m tests.benchmarks.rock_cliffs planted",
        data=("bc_forest",),
        is_long=True,
    ),
    Measurement(
        "cliff_calibration",
        "Rock",
        "How sure is a draft of steps that are planted?",
        "Faces drawn in planted real tiles and not before planting; `python docs/make_reliability_plot.py` after it.",
        printed("tests.benchmarks.rock_cliffs", "calibration"),
        command="python -m tests.benchmarks.rock_cliffs calibration",
        data=("bc_forest",),
        is_long=True,
    ),
    Measurement(
        "landform_shapes",
        "Contours",
        "How many planted knolls and pits are drawn, how much else, and how sure is the draft of them?",
        "Shapes planted in real tiles and real hillsides, among low ones and stray returns; and what scenes show; "
        "`python docs/make_reliability_plot.py` after it.",
        printed("tests.benchmarks.landform_shapes", "planted"),
        command="python -m tests.benchmarks.landform_shapes planted",
        data=("bc_forest", "boreal", "dtm_walls", "hard_steep", "relief_3507_2", "relief_3506_8"),
        is_long=True,
    ),
    Measurement(
        "contours",
        "Contours",
        "Are contours legible, and how far do they lie from the ground?",
        "Crossings, crowded places, deviation, spots and time, on real and invented ground.",
        printed("tests.benchmarks.contours"),
        command="python -m tests.benchmarks.contours",
        data=("bc_forest", "scene_a", "scene_b"),
        is_long=True,
    ),
    Measurement(
        "ponds",
        "Water",
        "How many ponds are found, and how much is drawn that is none?",
        "Ponds planted in real tiles, of which water sends back 3 to 20 of 100 pulses, and thickets that "
        "let as many through; `python docs/make_reliability_plot.py` after it.",
        printed("tests.benchmarks.ponds"),
        command="python -m tests.benchmarks.ponds",
        data=("bc_forest", "boreal", "lava_forest", "lake_edge"),
        is_long=True,
    ),
    Measurement(
        "streams",
        "Water",
        "How much of the streams is drawn, and how much of what is drawn is a stream?",
        "Within 10 m. Those of scene_a, scene_b and hard_steep run over hills in no bed: no honest draft has them.",
        streams,
        data=SCENES,
        is_long=True,
    ),
    Measurement(
        "shore",
        "Water",
        "How near is the shore to that of an official map?",
        "Canals of a town, of which half lie under trees; 2 m inside the edge of the survey.",
        shore,
        data=("town",),
        is_long=True,
    ),
    Measurement(
        "effort",
        "Hours of work",
        "How well are a club's rates found from the hours of its maps?",
        "20 made histories of 12 areas whose seven rates are known, with hours written down more or less rightly. No "
        "hours of true maps are at hand: that the rates of the trade hold on a forest is not measured.",
        effort_fitted,
        command="python -m tests.benchmarks.effort",
    ),
    Measurement(
        "effort_truth",
        "Hours of work",
        "How far are hours measured on a draft from those measured on the truth?",
        "Made scenes: boulders, cliffs, knolls, pits, paths, buildings and streams of the truth in the place of the "
        "draft's; greens, contours and ponds are the draft's in both. The truth holds every boulder from 0.8 m, far "
        "more than a map shows.",
        effort_of_scenes,
        command="python -m tests.benchmarks.effort TRUTH=DRAFT ...",
        data=SCENES,
        is_long=True,
    ),
    Measurement(
        "updating",
        "Hours of work",
        "After a third of the check list is walked, is the rest better known, and is it walked in a better order?",
        "Scenes on which nothing of this was fitted; the truth says what a mapper finds. First the best 30 % of the "
        "list, or 30 % of it from one side of the area (mean of eight sides), then as much time again by the order "
        "made before and by what was learned. Calibration error in five bins over 50 to 100 things is itself uncertain "
        "by some 0.05; log loss in nats sees less of chance.",
        lambda: updating({scene: (data(scene), draft_of(scene)) for scene in NOT_FITTED}),
        command="python -m tests.benchmarks.updating SCENE=DRAFT ...",
        data=("scene_b", "hard_steep", "hard_farmland"),
        is_long=True,
    ),
    Measurement(
        "promises",
        "Survey",
        "Does the survey promise what comes true?",
        "Shares found and right of each made scene, promised from the other five (`config/promises.json`), and what "
        "the features said themselves.",
        promises,
        command="python -m tests.benchmarks.promises TRUTH=DRAFT ... --write",
        data=SCENES,
        is_long=True,
    ),
    Measurement(
        "mosaic",
        "Vegetation",
        "How much simpler is the drawn mosaic of vegetation than its cells, and how true does it stay?",
        "Areas a km2, quadratic weighted kappa of the bands between cells and draft, shares of the ground, and how "
        "much of the passable gaps of 3 to 8 m through walk and fight is still passable; see `docs/mosaic.md`.",
        mosaic,
        command="python -m tests.benchmarks.mosaic NAME=DRAFT ... --picture docs/mosaic.png",
        data=("bc_forest", "boreal", *SCENES),
        is_long=True,
    ),
    Measurement(
        "trees",
        "Vegetation",
        "How many single trees are found, and how sure is the draft of what it draws as such?",
        "Trees and bushes planted in open land of real tiles, beside rows of bushes and blocks of rock; "
        "`python docs/make_reliability_plot.py` after it.",
        printed("tests.benchmarks.trees"),
        command="python -m tests.benchmarks.trees",
        data=("real_faults", "boreal"),
        is_long=True,
    ),
    Measurement(
        "undergrowth_scenes",
        "Vegetation",
        "How far is undergrowth measured and drawn wrong where plants do not stand as the estimate takes them to?",
        "Made forests, flown over: factor of the measured over the true density, mean error, share of squares of 5 m "
        "in a wrong class, share within the stated standard error, confidence of areas beside the share that is right.",
        printed("tests.benchmarks.undergrowth_scenes", "--fit"),
        command="python -m tests.benchmarks.undergrowth_scenes --fit",
        is_long=True,
    ),
    Measurement(
        "vegetation",
        "Vegetation",
        "How is undergrowth of known density measured and drawn?",
        "Discs of undergrowth planted in real tiles.",
        printed("tests.benchmarks.vegetation", "bc_forest", "boreal"),
        command="python -m tests.benchmarks.vegetation bc_forest boreal",
        data=("bc_forest", "boreal"),
        is_long=True,
    ),
    Measurement(
        "ranking",
        "Fieldwork",
        "How many of a draft's errors does a mapper find who walks the first third of its check list?",
        "Drawn features that are not there, and missed ones that a candidate on the list shows, by the tolerances of "
        "the scenes' scorer; in the last three columns all missed features count, and one is found as well within 10 m "
        "of a place walked. Beside the list a random order of the same rows (mean of 200) and the nearest row first. "
        "How much symbols matter was fitted on `scene_a`, `hard_moraine` and `hard_karst`.",
        ranking,
        command="python -m tests.benchmarks.ranking SCENE OUT ...",
        data=SCENES,
        is_long=True,
    ),
    Measurement(
        "one_tile",
        "Refresh",
        "What does a draft cost again after one of 16 tiles changed?",
        "Areas of mirrored copies of `scene_a`, some thinned (1 pulse in 24 leaves a third of a pulse per square "
        "metre); in a circle of 60 m in one tile the forest is felled. Processor time, and "
        "time by the clock on one core, beside those of a whole draft of the changed area, and files of the two that "
        "differ, byte by byte; where these were not compared, the draft before the change stands for the whole one.",
        lambda: [one_tile_changed(tiles_of("scene_a"), ["thin", "quarter", "large"])],
        command="python -m tests.benchmarks.one_tile_changed FOLDER thin quarter large",
        data=("scene_a",),
        is_long=True,
    ),
    Measurement(
        "batch",
        "Refresh",
        "What becomes of a batch of 20 areas of which three are broken?",
        "Squares of 60 m of the sample; one has an earlier map without symbols, one a damaged tile, one no area file. "
        "The same command twice.",
        lambda: [batch()],
        command="python -m tests.benchmarks.batch",
        is_long=True,
    ),
    Measurement(
        "outings",
        "Fieldwork",
        "How much longer than needed are the outings, and what does a large list cost?",
        "Walking over the best known: proven by weighing all orders where places are few, else what the same search "
        "finds in ten times as many steps.",
        outings,
        command="python -m tests.benchmarks.outings",
        is_long=True,
    ),
)
"""Every figure, in the order of the page."""


def commit() -> str:
    """The commit of the code, and whether the pipeline has changes that it does not hold."""
    asked = ["git", "rev-parse", "--short", "HEAD"], ["git", "status", "--porcelain", "pipeline"]
    head, changed = (subprocess.run(one, cwd=PROJECT, capture_output=True, text=True).stdout.strip() for one in asked)
    return f"{head or 'no commit'}{' and changes' if changed else ''}"


def machine() -> str:
    """Processors and memory of this machine, and how busy it is: a cost measured beside other work says little."""
    memory_gib = psutil.virtual_memory().total / 2**30
    load = os.getloadavg()[0]
    return (
        f"{psutil.cpu_count()} cores with a load of {load:.1f}, {memory_gib:.0f} GiB, Python {sys.version.split()[0]}"
    )


def main(arguments: list[str] | None = None) -> None:
    """Measure, keep, and write the page."""
    parser = argparse.ArgumentParser(prog="make figures")
    parser.add_argument("--only", default="", help="names with commas between; 'list' prints them")
    only = [name for name in parser.parse_args(arguments).only.split(",") if name]
    if only == ["list"]:
        for one in MEASUREMENTS:
            print(f"{one.name:15} {'long ' if one.is_long else '     '}{one.question} {'; '.join(one.missing())}")
        return
    # Jobs of the workflow run elsewhere: without this they would import whatever copy of the project is installed.
    os.environ["PYTHONPATH"] = str(PROJECT)
    kept = read_results(KEPT)
    for name in only or [one.name for one in MEASUREMENTS if not one.is_long]:
        kept = measure_again(MEASUREMENTS, kept, name, commit=commit(), machine=machine(), say=print)
        # Written after each, so that hours of measuring are not lost with the last of it.
        write_results(KEPT, kept)
    PAGE.write_text(markdown_of(MEASUREMENTS, kept), encoding="utf-8")


if __name__ == "__main__":
    main()
