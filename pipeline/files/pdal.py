"""Running the PDAL command line on returns in memory, through temporary files."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import laspy
import numpy as np

from pipeline.errors import SurveyError
from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.pdal_pipeline import ground_from_answer, ground_pipeline
from pipeline.settings import PointsSettings


def ground_by_pdal(enh: EastNorthHeight, is_candidate: Mask, /, *, settings: PointsSettings) -> Mask:
    """(n,) bool: returns of the bare earth by PDAL's filter; the contract of `pipeline.points.ground.find_ground`.

    Raises
    ------
    SurveyError
        If the command is not found, or fails.
    """
    command = find_command(settings)
    if not is_candidate.any():
        return np.zeros(len(enh), np.bool_)
    with tempfile.TemporaryDirectory(prefix="tussock-pdal-") as folder:
        source, target, task = (Path(folder) / name for name in ("in.las", "out.las", "pipeline.json"))
        _write(source, enh[is_candidate])
        task.write_text(ground_pipeline(str(source), str(target), settings=settings), encoding="utf-8")
        done = subprocess.run([command, "pipeline", str(task)], capture_output=True, text=True, check=False)
        if done.returncode != 0 or not target.exists():
            told = (done.stderr.strip() or done.stdout.strip() or f"status {done.returncode}").splitlines()[-1]
            raise SurveyError(f"PDAL ({command}) failed: {told}. Set points.engine to embedded to do without it.")
        answer = laspy.read(target)
        index, classes = np.asarray(answer.gps_time), np.asarray(answer.classification, np.uint8)
    return ground_from_answer(index, classes, is_candidate=is_candidate)


def find_command(settings: PointsSettings, /) -> str:
    """The PDAL command's full path.

    Raises
    ------
    SurveyError
        If there is none of that name.
    """
    found = shutil.which(settings.pdal_command)
    if found is None:
        raise SurveyError(
            f"The PDAL command '{settings.pdal_command}' was not found. Install PDAL, write its path into "
            "points.pdal_command, or set points.engine to embedded, which needs nothing else."
        )
    return found


def _write(path: Path, enh: EastNorthHeight, /) -> None:
    """The returns as LAS 1.2 with single returns; their number stands in the time of each, which PDAL leaves alone."""
    header = laspy.LasHeader(point_format=1, version="1.2")
    header.offsets = np.floor(enh.min(axis=0))
    header.scales = np.full(3, 0.001)
    las = laspy.LasData(header)
    las.x, las.y, las.z = enh.T
    las.return_number = np.ones(len(enh), np.uint8)
    las.number_of_returns = np.ones(len(enh), np.uint8)
    las.gps_time = np.arange(len(enh), dtype=np.float64)
    las.write(path)
