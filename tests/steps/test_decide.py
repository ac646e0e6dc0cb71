"""What is decided for the whole area does not depend on how it was cut into tiles, nor on the working blocks."""

from pathlib import Path

import laspy
import numpy as np
import pytest

from pipeline.files import arrays
from pipeline.lattice.blocks import blocks_covering
from pipeline.plan.cut import LEAST_HALO_M
from pipeline.points.levelling import LineShift
from pipeline.settings import Flow, PointsSettings
from pipeline.steps.decide import _rounded, decide
from pipeline.steps.tile.split import split
from tests.made_tiles import SOUTH, UTM, WEST, made_header, made_points

SIDE_M, PULSES_PER_M2 = 120.0, 3.4
"""An L of three squares; in the rectangle around it there would be 2.6 pulses/m2, which would make cells of 1 m."""
CORNERS = ((0, 0), (1, 0), (0, 1))


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Path], Path]:
    """The L as three tiles, and as one with the points in another order."""
    folder = tmp_path_factory.mktemp("L")
    parts = []
    for seed, (col, row) in enumerate(CORNERS):
        n = round(SIDE_M**2 * PULSES_PER_M2)
        place = {"west": WEST + col * SIDE_M, "south": SOUTH + row * SIDE_M, "side": SIDE_M}
        parts.append(made_points(made_header(), n=n, seed=seed, **place))
        parts[-1].write(folder / f"{seed}.laz")
    whole = laspy.LasData(made_header())
    raw = np.concatenate([part.points.array for part in parts[::-1]])
    whole.points = laspy.ScaleAwarePointRecord(raw, whole.point_format, whole.header.scales, whole.header.offsets)
    whole.write(folder / "whole.laz")
    return [folder / f"{seed}.laz" for seed in range(3)], folder / "whole.laz"


def decided(folder: Path, tiles: list[Path], *, block_m: float, settings: PointsSettings, cell_m: float = 0.0) -> bytes:
    """What the step writes for some tiles."""
    flow = Flow(block_m=block_m, halo_m=LEAST_HALO_M)
    frames = []
    for tile in tiles:
        header = laspy.read(tile).header
        frames.append((header.x_min, header.y_min, header.x_max, header.y_max))
    blocks = [block.name for block in blocks_covering(frames, block_m=block_m)]
    for tile, frame in zip(tiles, frames, strict=True):
        split(
            tile=tile,
            out=folder / "split" / tile.stem,
            seen=folder / "seen" / tile.stem,
            beside=folder / "beside" / tile.stem,
            bounds=list(frame),
            blocks=blocks,
            source_crs=UTM,
            crs=UTM,
            height_unit_m=1.0,
            flow=flow,
        )
    arrays.write_json(folder / "plan.json", {"tiles": [{"name": tile.stem} for tile in tiles], "blocks": blocks})
    decide(
        plan=folder / "plan.json",
        seen=folder / "seen",
        split=folder / "split",
        out=folder / "decided.json",
        flow=flow,
        settings=settings,
        cell_m=cell_m,
    )
    return (folder / "decided.json").read_bytes()


def test_an_l_as_three_tiles_and_as_one_is_decided_the_same(survey: tuple[list[Path], Path], tmp_path: Path) -> None:
    """To the byte, with blocks of another size too: cells of 0.5 m, and the same evidence on the ground."""
    three, one = survey
    first = decided(tmp_path / "three", three, block_m=250.0, settings=PointsSettings())
    assert decided(tmp_path / "one", [one], block_m=250.0, settings=PointsSettings()) == first
    assert decided(tmp_path / "blocks", [one], block_m=130.0, settings=PointsSettings()) == first
    content = arrays.read_json(tmp_path / "one" / "decided.json")
    assert content["cell_m"] == 0.5
    assert content["pulses_per_m2"] == pytest.approx(PULSES_PER_M2, rel=0.02)
    assert content["covered_m2"] == pytest.approx(3 * SIDE_M**2, rel=0.1)


def test_what_the_area_file_says_is_taken(survey: tuple[list[Path], Path], tmp_path: Path) -> None:
    """The side of a cell."""
    three, _ = survey
    decided(tmp_path, three, block_m=250.0, settings=PointsSettings(), cell_m=2.0)
    content = arrays.read_json(tmp_path / "decided.json")
    assert content["cell_m"] == 2.0


def test_lines_move_in_steps_that_small_changes_elsewhere_do_not_pass() -> None:
    """A millimetre more or less of what was found moves a line as before."""
    found = LineShift(7, 0.0631, -0.1289, -0.0324)
    near = LineShift(7, 0.0622, -0.1278, -0.0321)
    assert _rounded(found) == _rounded(near) == LineShift(7, 0.06, -0.13, -0.032)
    assert str(_rounded(LineShift(7, -0.004, 0.0, -0.0009))) == str(LineShift(7, 0.0, 0.0, 0.0))
