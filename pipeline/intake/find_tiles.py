"""Finding the lidar files that the area file names."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import SurveyError

LIDAR_ENDINGS = (".las", ".laz")


IN_THE_AREA_FILE = "Correct 'tiles:' in the area file."


def find_tiles(
    patterns: Sequence[str], base_folder: Path, /, *, written_by: Path | None = None, advice: str = IN_THE_AREA_FILE
) -> list[Path]:
    """The lidar files that patterns, folders or file names stand for, sorted, each once.

    Parameters
    ----------
    patterns : sequence of str
        As in the area file; relative ones start from `base_folder`.
    written_by : Path or None
        Folder of tiles that Tussock itself wrote: a pattern such as **/*.laz would take each return in twice.
    advice : str
        The last sentence of the message when nothing is found.

    Raises
    ------
    SurveyError
        If one of them finds nothing: says what was looked for and what is there instead.
    """
    found: dict[Path, Path] = {}
    for pattern in patterns:
        try:
            paths = [path for path in _find_one(pattern, base_folder) if not _lies_in(written_by, path)]
            nothing_found = "" if paths else f"{_nothing_found(pattern, base_folder)}. {advice}"
        except (OSError, ValueError, RuntimeError, NotImplementedError) as error:  # as different as what may be written
            raise SurveyError(
                f"no tiles: '{pattern}' is no path or pattern that can be followed ({error}). "
                "Write 'tiles:' like lidar/*.laz, or lidar/**/*.laz for all folders below."
            ) from error
        if nothing_found:
            raise SurveyError(nothing_found)
        for path in paths:
            found.setdefault(path.resolve(), path)
    return sorted(found.values())


def _lies_in(folder: Path | None, path: Path) -> bool:
    return folder is not None and folder in path.resolve().parents


def _find_one(pattern: str, base_folder: Path) -> list[Path]:
    """Lidar files of one pattern, folder or name."""
    target = base_folder / Path(pattern).expanduser()
    if target.is_dir():
        candidates = list(target.glob("*"))
    elif target.is_file():
        return [target]
    else:
        anchor = Path(target.anchor) if target.is_absolute() else Path()
        candidates = list(anchor.glob(str(target.relative_to(anchor))))
    return [path for path in candidates if path.suffix.lower() in LIDAR_ENDINGS and path.is_file()]


def _nothing_found(pattern: str, base_folder: Path) -> str:
    """What was looked for, and what is there instead."""
    target = base_folder / Path(pattern).expanduser()
    message = f"no tiles: '{pattern}' finds no .las or .laz file (looked for {target})"
    folder = target if target.is_dir() else target.parent
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    missing = target.relative_to(folder).parts
    try:
        there = sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        return f"{message}; {folder} cannot be looked into ({error.strerror})"
    if len(missing) > 1:
        message += f"; there is no folder '{missing[0]}' in {folder}"
    near = difflib.get_close_matches(missing[0], there, n=1, cutoff=0.6) if missing else []
    lidar = [name for name in there if Path(name).suffix.lower() in LIDAR_ENDINGS]
    if near:
        message += f"; perhaps '{near[0]}' is meant"
    elif lidar:
        message += f"; there is {lidar[0]}" + (f" and {len(lidar) - 1} more" if len(lidar) > 1 else "")
    elif there:
        message += f"; there is only {', '.join(there[:4])}"
    return message


def tile_name(path: Path, /) -> str:
    """Name of a tile: its file name without .las, .laz or .copc.laz."""
    stem = path.stem
    return stem[:-5] if stem.lower().endswith(".copc") else stem
