"""The command `tussock`: validates what the mapper wrote, then lets Snakemake do the work."""

from __future__ import annotations

import argparse
import os
import sys
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
    draft.add_argument("--cores", type=_positive, default=os.cpu_count() or 1, metavar="N", help="cores to use")
    draft.add_argument(
        "--memory", type=_gigabytes, metavar="GB", help="memory to use at most (default: most of the free)"
    )
    draft.add_argument("--keep", action="store_true", help="keep all files made on the way, for a closer look")
    draft.set_defaults(run=_draft)
    calibrate = commands.add_parser("calibrate", help="fit the runnability bands of an area to notes made on foot")
    calibrate.set_defaults(run=_calibrate)
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
    for command in (survey, draft, calibrate):
        command.add_argument("area", type=Path, metavar="AREA", help="the area file, such as config/area.yaml")
    calibrate.add_argument("notes", type=Path, metavar="NOTES", help="GeoPackage, GeoJSON, CSV or GPX of notes")
    return parser


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
    from pipeline.plan.plan import make_plan
    from pipeline.steps.survey import survey_plan
    from pipeline.survey.word import describe_survey

    plan = make_plan(options.area)
    print(describe_survey(survey_plan(plan)))
    if plan.limits_note:
        print(f"Calibration: {plan.limits_note}")
    return 0


def _calibrate(options: argparse.Namespace) -> int:
    from pipeline.plan.plan import make_plan
    from pipeline.steps.calibrate import calibrate_area, describe_outcome

    plan = make_plan(options.area)
    print(describe_outcome(calibrate_area(plan, options.notes), plan))
    return 0


def _audit(options: argparse.Namespace) -> int:
    from pipeline.audit.audit import describe
    from pipeline.files.disk import atomic
    from pipeline.steps.audit import audit_folder

    found = audit_folder(options.out)
    print(describe(found))
    if options.csv:
        atomic.write_text(options.csv, found.findings.to_csv(index=False, lineterminator="\n"))
    return FALLS_SHORT if len(found.findings) else 0


def _draft(options: argparse.Namespace) -> int:
    from pipeline.ready import steps_ready

    # It reads its libraries while this process plans, so that the first steps wait for it no longer than for the plan.
    with steps_ready():
        return _draft_with_steps_ready(options)


def _draft_with_steps_ready(options: argparse.Namespace) -> int:
    from pipeline.files.arrays import read_json
    from pipeline.plan.plan import plan_run
    from pipeline.plan.room import check_room, usable_memory_mb
    from pipeline.workflow import run_workflow

    plan = plan_run(options.area)
    memory_mb = round(options.memory * 1000) if options.memory else usable_memory_mb()
    check_room(plan, memory_mb=memory_mb)
    failure = run_workflow(plan, cores=options.cores, memory_mb=memory_mb, keep=options.keep)
    if failure:
        print(f"tussock: {failure.message}", file=sys.stderr)
        return BAD_INPUT if failure.is_bad_input else FAILED
    decided = read_json(plan.out / "work" / "decided.json")
    print(f"Ground: {(plan.out / 'report' / 'ground.txt').read_text(encoding='utf-8').strip()}")
    if decided["line_shifts"]:
        before, after = decided["line_steps_before_m"], decided["line_steps_after_m"]
        print(f"Flight lines: levelled; where two meet, one lay {before:.2f} m above the other, now {after:.2f} m.")
    if plan.limits_note:
        print(f"Calibration: {plan.limits_note}")
    print(f"The draft of {plan.area.name} is in {plan.out}")
    print("Not field-checked; not for navigation or competition. See the cautions on the field sheet.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
