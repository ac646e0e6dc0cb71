"""The command `tussock`: validates what the mapper wrote, then lets Snakemake do the work."""

from __future__ import annotations

import argparse
import datetime
import os
import sys
import time
from importlib.metadata import version
from pathlib import Path

from pipeline.errors import InputError

BAD_INPUT, FAILED, FALLS_SHORT = 2, 1, 1
"""Exit status: something to mend in the input; something went wrong in the work; a draft falls short of the norm."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command; the exit status."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except InputError as error:
        print(f"tussock: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("tussock: stopped; run the same command again to go on from here", file=sys.stderr)
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="tussock",
        description="From airborne lidar to the layered draft an orienteering mapper takes into the forest.",
    )
    parser.add_argument("--version", action="version", version=f"tussock {version('tussock')}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    survey = commands.add_parser("survey", help="say what the tiles are and what can be found in them (seconds)")
    survey.set_defaults(run=_survey)
    draft = commands.add_parser("draft", help="make the whole draft: layers, rasters, points, field sheet")
    _add_machine(draft)
    draft.add_argument("--keep", action="store_true", help="keep all files made on the way, for a closer look")
    draft.set_defaults(run=_draft)
    estimate = commands.add_parser(
        "estimate",
        help="hours, days, cost and weeks of mapping an area, or several side by side (minutes)",
        description="Hours of fieldwork and of drawing, days, cost and weeks, from a draft of which only what is "
        "needed is made: no sheets, no points, no exports. A later draft goes on from there. Exit status: 0 when "
        "done, 2 when something of the input is to be mended.",
    )
    estimate.add_argument(
        "areas", nargs="+", type=Path, metavar="AREA", help="area files, or their folders; several stand side by side"
    )
    estimate.add_argument("--quick", action="store_true", help="from headers alone, in seconds, with a wide range")
    _add_machine(estimate)
    estimate.set_defaults(run=_estimate)
    _add_refresh(
        commands.add_parser(
            "refresh",
            help="new lidar over an earlier run or map: what changed on the ground, with the mapper's work kept",
            description="Drafts the new area where that is not done, finds how the earlier map lies to it, and writes "
            "into its 'out' folder what changed (changes.gpkg, refresh.json, fieldwork/changes_list.csv) and the map "
            "to go on with (refreshed.gpkg), in which all that a mapper has confirmed, moved or rejected stands as it "
            "was. "
            "Nothing is written to OLD. Exit status: 0 when done, 2 when something of the input is to be mended.",
        )
    )
    calibrate = commands.add_parser("calibrate", help="fit the runnability bands of an area to notes made on foot")
    calibrate.set_defaults(run=_calibrate)
    notes = commands.add_parser(
        "notes",
        help="take in what was found on foot: waypoints, tracks, photos, an edited draft, the check list",
        description="Reads marks from the forest, keeps them beside the area file, and shortens the check list. The "
        "next 'tussock draft' applies them.",
    )
    notes.set_defaults(run=_notes)
    audit = commands.add_parser(
        "audit",
        help="measure a finished draft, as printed, against the least sizes and gaps of the norm",
        description="Measures the field sheet of a finished draft against the least sizes and gaps of ISOM 2017-2 "
        "(config/symbols.csv). Exit status: 0 when nothing falls short, 1 when something does, 2 when there is no "
        "draft to measure.",
    )
    audit.add_argument("out", type=Path, metavar="OUT", help="the folder of a draft, where draft.gpkg lies")
    audit.add_argument("--csv", type=Path, metavar="FILE", help="write every place that falls short to this table")
    audit.set_defaults(run=_audit)
    survey.add_argument(
        "area", nargs="+", metavar="AREA", help="the area file; or, to get one to start from, a folder of tiles"
    )
    for command in (draft, calibrate, notes):
        command.add_argument("area", type=Path, metavar="AREA", help="the area file, or its folder")
    notes.add_argument(
        "files",
        type=Path,
        nargs="*",
        metavar="FILE",
        help="GPX, a copy of draft.gpkg, marks of the page (GeoJSON), the check list with a column added, photos, or "
        "a folder of these; without one, only what was changed in draft.gpkg itself",
    )
    calibrate.add_argument("notes", type=Path, metavar="NOTES", help="GeoPackage, GeoJSON, CSV or GPX of notes")
    return parser


def _add_refresh(refresh: argparse.ArgumentParser) -> None:
    refresh.add_argument(
        "old",
        type=Path,
        nargs="?",
        metavar="OLD",
        help="the folder of an earlier run or its area file; or a map as GeoPackage, GeoJSON, shapefile or DXF with "
        "ISOM numbers",
    )
    refresh.add_argument("area", type=Path, nargs="?", metavar="NEW_AREA", help="the area file of the new tiles")
    refresh.add_argument(
        "--numbers", type=Path, metavar="TABLE.csv", help="which ISOM number each number of OLD is: theirs, ISOM's"
    )
    refresh.add_argument("--crs", metavar="EPSG:N", help="coordinate system of an OLD that does not say its own")
    refresh.add_argument(
        "--batch",
        type=Path,
        metavar="LIST.csv",
        help="refresh many areas: a table with columns old, area and, if you like, numbers; one that fails stops no "
        "other (exit status 1), and the same command goes on with what is missing",
    )
    refresh.add_argument("--outcome", type=Path, help=argparse.SUPPRESS)  # for a batch: what came of it, as JSON
    refresh.add_argument("--undo", type=Path, metavar="NEW_AREA", help="take the last refresh of an area back")
    _add_machine(refresh)
    refresh.set_defaults(run=_refresh, keep=False)


def _add_machine(command: argparse.ArgumentParser) -> None:
    command.add_argument("--cores", type=_positive, default=os.cpu_count() or 1, metavar="N", help="cores to use")
    command.add_argument(
        "--memory", type=_gigabytes, metavar="GB", help="memory to use at most (default: most of the free)"
    )


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError("must be 1 or more")
    return number


def _gigabytes(text: str) -> float:
    number = float(text)
    if not 0.5 <= number < 100_000:
        raise argparse.ArgumentTypeError("must be a number of gigabytes, 0.5 or more")
    return number


def _survey(options: argparse.Namespace) -> int:
    # Imported late, so that a wrong option is answered at once.
    from pipeline.steps.beginning import area_file_among, plan_of_area_file, survey_tiles_named, tiles_named
    from pipeline.steps.survey import survey_plan
    from pipeline.survey.word import describe_survey

    path = area_file_among(options.area)
    if path is None:
        survey, offered = survey_tiles_named(tiles_named(options.area), today=datetime.date.today())
        print(describe_survey(survey), offered, sep="\n")
        return 0
    plan = plan_of_area_file(path)
    print(describe_survey(survey_plan(plan)))
    if plan.limits_note:
        print(f"Calibration: {plan.limits_note}")
    if [str(path)] != options.area:
        print(f"Surveyed by the area file of the folder, {path}")
    return 0


def _calibrate(options: argparse.Namespace) -> int:
    from pipeline.plan.plan import make_plan
    from pipeline.steps.beginning import area_file_of
    from pipeline.steps.calibrate import calibrate_area, describe_outcome

    plan = make_plan(area_file_of(options.area))
    print(describe_outcome(calibrate_area(plan, options.notes), plan))
    return 0


def _notes(options: argparse.Namespace) -> int:
    from pipeline.marks.told import describe_outcome
    from pipeline.plan.plan import make_plan
    from pipeline.steps.beginning import area_file_of
    from pipeline.steps.notes import take_in

    print(describe_outcome(take_in(make_plan(area_file_of(options.area)), options.files)))
    return 0


def _estimate(options: argparse.Namespace) -> int:
    from pipeline.steps.beginning import area_file_of
    from pipeline.steps.effort.told import told_of, told_quickly

    files = [area_file_of(area) for area in options.areas]
    if options.quick:
        print(told_quickly(files), end="")
        return 0
    from pipeline.ready import steps_ready
    from pipeline.settings import load_area

    for file in files:
        load_area(file)  # the last of several is refused before an hour is spent on the first
    outs = []
    with steps_ready():
        for file in files:
            status, out = _estimate_one(file, options)
            if status:
                return status
            outs.append(out)
    print(told_of(outs), end="")
    return 0


def _estimate_one(file: Path, options: argparse.Namespace) -> tuple[int, Path]:
    """Make the estimate of an area; exit status and the folder where it is."""
    from pipeline.plan.plan import plan_run
    from pipeline.plan.room import check_room, usable_memory_mb
    from pipeline.steps.effort.told import FILE, drop_split
    from pipeline.workflow import run_workflow

    plan = plan_run(file)
    if plan.edits_note:
        print(plan.edits_note)
    memory_mb = round(options.memory * 1000) if options.memory else usable_memory_mb()
    check_room(plan, memory_mb=memory_mb)
    # What a draft needs later is kept, or its returns would be read and classified a second time.
    failure = run_workflow(plan, cores=options.cores, memory_mb=memory_mb, keep=True, targets=[FILE])
    if failure:
        print(f"tussock: {failure.message}", file=sys.stderr)
        return (BAD_INPUT if failure.is_bad_input else FAILED), plan.out
    drop_split(plan.out)
    return 0, plan.out


def _audit(options: argparse.Namespace) -> int:
    from pipeline.audit.audit import describe
    from pipeline.files.disk import atomic
    from pipeline.steps.audit import audit_folder

    found = audit_folder(options.out)
    print(describe(found))
    if options.csv:
        atomic.write_text(options.csv, found.findings.to_csv(index=False, lineterminator="\n"))
    return FALLS_SHORT if len(found.findings) else 0


def _refresh_batch(options: argparse.Namespace) -> int:
    from pipeline.batch import refresh_batch
    from pipeline.plan.room import usable_memory_mb

    memory_mb = round(options.memory * 1000) if options.memory else usable_memory_mb()
    n_failed, said = refresh_batch(options.batch, cores=options.cores, memory_mb=memory_mb)
    print(said, end="")
    return FAILED if n_failed else 0


def _refresh(options: argparse.Namespace) -> int:
    from pipeline.advice.refreshed import OPEN_FIRST, Ended, describe_ended
    from pipeline.plan.plan import make_plan
    from pipeline.steps.beginning import area_file_of, out_of
    from pipeline.steps.refresh.area import refresh_area
    from pipeline.steps.refresh.keep import undo
    from pipeline.steps.refresh.old import Place, read_old
    from pipeline.steps.shown import show_changes

    if options.batch:
        return _refresh_batch(options)
    if options.undo:
        print(undo(out_of(area_file_of(options.undo))), end="")
        return 0
    if options.old is None or options.area is None:
        raise InputError("refresh: name the earlier run or map, and then the area file of the new tiles")
    plan = make_plan(area_file_of(options.area))
    place = Place(plan.crs, plan.intake.table.bounds, plan.out)
    # Read before the long work: what is wrong with the old map is said at once, and nothing is written.
    old = read_old(options.old, place, numbers=options.numbers, own_crs=options.crs)
    status = _draft(options, says_ending=False)
    if status:
        return status
    print("comparing with the earlier map", file=sys.stderr, flush=True)
    done = refresh_area(old, plan.out)
    print("drawing the sheet and the page of changes", file=sys.stderr, flush=True)
    show_changes(plan, done.before)
    ended = Ended(
        name=plan.area.name,
        folder=str(plan.out),
        old=str(options.old),
        command=str(options.area),
        files=[file for file in OPEN_FIRST if (plan.out / file).exists()],
        told=done.told,
        read_as=done.read_as,
    )
    print(describe_ended(ended), end="")
    if options.outcome:
        from pipeline.steps.batch.outcome import write_outcome

        write_outcome(plan.out, options.outcome)
    return 0


def _draft(options: argparse.Namespace, *, says_ending: bool = True) -> int:
    from pipeline.ready import steps_ready

    # It reads its libraries while this process plans, so that the first steps wait for it no longer than for the plan.
    with steps_ready():
        return _draft_with_steps_ready(options, says_ending=says_ending)


def _draft_with_steps_ready(options: argparse.Namespace, *, says_ending: bool) -> int:
    from pipeline.advice.ending import describe_ending
    from pipeline.plan.plan import plan_run
    from pipeline.plan.room import check_room, usable_memory_mb
    from pipeline.steps.beginning import area_file_of, put_schema_beside
    from pipeline.steps.ending import ended_run
    from pipeline.workflow import run_workflow

    started_s = time.monotonic()
    plan = plan_run(area_file_of(options.area))
    put_schema_beside(plan.area_path)
    if plan.edits_note:
        print(plan.edits_note)
    memory_mb = round(options.memory * 1000) if options.memory else usable_memory_mb()
    check_room(plan, memory_mb=memory_mb)
    failure = run_workflow(plan, cores=options.cores, memory_mb=memory_mb, keep=options.keep)
    if failure:
        print(f"tussock: {failure.message}", file=sys.stderr)
        return BAD_INPUT if failure.is_bad_input else FAILED
    if says_ending:
        print(describe_ending(ended_run(plan, seconds=time.monotonic() - started_s)), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
