"""The sample's generator: an invented place, and beams that behave as light does."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pytest
import rasterio

SAMPLE = Path(__file__).resolve().parents[1] / "sample_tiles"
sys.path.insert(0, str(SAMPLE))

import make_scene  # noqa: E402
from scene import fields, objects, place, plants, pulses, records, terrain  # noqa: E402


def flat_place(*, undergrowth_per_m: float = 0.0, swallows: float = 0.0) -> place.Place:
    """Level ground at 0 m with nothing but undergrowth of one density."""
    lattice = fields.Lattice(60.0)
    nothing = np.zeros((lattice.n, lattice.n), np.float32)
    clumped = nothing + np.float32(undergrowth_per_m)
    stems = np.empty((0, 4))
    volume = np.zeros((lattice.n**2, plants.LAYERS), np.uint8)
    green = plants.Plants(volume, clumped, clumped, stems, np.full(lattice.n**2, -1, np.int32), nothing, nothing)
    ground = terrain.Ground(lattice, nothing.copy())
    return place.Place(
        ground,
        objects.no_solids(lattice),
        green,
        nothing,
        nothing,
        nothing + np.float32(swallows),
        nothing + 0.3,
        [],
        [],
    )


def flown(scene: place.Place, *, seed: int = 3, pulses_per_m2: float = 4.0) -> pulses.Returns:
    """All returns of a flight over a place."""
    return records.join(pulses.fly(scene, seed=seed, pulses_per_m2=pulses_per_m2))


@pytest.fixture(scope="module")
def scene_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small scene with its truth, written by the command."""
    out = tmp_path_factory.mktemp("scene")
    made = make_scene.main(
        ["--size-m", "160", "--tile-m", "80", "--pulses-per-m2", "3", "--seed", "5", "--truth", "--out", str(out)]
    )
    assert made == 0
    return out


@pytest.mark.parametrize("density", [0.2, 1.0])
def test_light_through_undergrowth_follows_beer_and_lambert(density: float) -> None:
    """The mean energy that reaches the ground is exp(-G k s) (Monsi & Saeki 1953), G 0.5, s 2.2 m and the slant."""
    scene = flat_place(undergrowth_per_m=density, swallows=1.0)
    target = pulses.Target(scene)
    n = 20_000
    rng = np.random.default_rng(1)
    still = np.zeros(n)
    beams = pulses.Beams(rng.uniform(5, 55, n), rng.uniform(5, 55, n), still, still, np.arange(n, dtype=float), 0)
    log = pulses._Log(n)
    pulses._descend(target, beams, rng, log)
    assert log.energy.mean() == pytest.approx(np.exp(-0.5 * density * 2.2), abs=0.015)


def test_bare_level_ground_gives_single_returns_at_its_height() -> None:
    """Without plants each pulse has one return, and these scatter about the ground by the range noise alone."""
    returns = flown(flat_place())
    assert set(np.unique(returns.n_returns)) == {1}
    from_ground = returns.z[returns.source == pulses.GROUND]
    assert np.median(from_ground) == pytest.approx(0, abs=0.02)
    assert 0.015 < from_ground.std() < 0.03


def test_density_of_pulses_is_the_one_asked_for() -> None:
    """First returns a square metre match the request within 3 %."""
    returns = flown(flat_place(), pulses_per_m2=6.0)
    assert (returns.return_number == 1).sum() / 60**2 == pytest.approx(6.0, rel=0.03)


def test_the_same_seed_gives_the_same_records_and_another_does_not() -> None:
    """Two flights over two places of one seed agree in every column."""
    first, second, other = (
        flown(place.make_place(seed=seed, size_m=120.0), seed=seed, pulses_per_m2=1.0) for seed in (4, 4, 9)
    )
    for field in dataclasses.fields(pulses.Returns):
        assert np.array_equal(getattr(first, field.name), getattr(second, field.name))
    assert not np.array_equal(first.z, other.z)


def test_tiles_are_delivered_as_las_1_4_requires(scene_folder: Path) -> None:
    """Format 6 with a WKT CRS (ASPRS LAS 1.4 R15), class 1 throughout, every point in its own tile."""
    paths = sorted((scene_folder / "tiles").glob("*.laz"))
    assert len(paths) == 4
    for path in paths:
        las = laspy.read(path)
        west, south = (float(part) for part in path.stem.split("_"))
        assert (las.header.point_format.id, str(las.header.version)) == (6, "1.4")
        assert las.header.global_encoding.wkt
        assert las.header.parse_crs().to_epsg() == 25832
        assert set(np.unique(las.classification)) == {1}
        assert west <= las.x.min()
        assert las.x.max() < west + 80
        assert south <= las.y.min()
        assert las.y.max() < south + 80


def test_returns_of_a_pulse_lie_on_one_line_and_are_numbered_downwards(scene_folder: Path) -> None:
    """Return numbers run 1..n from the top, and the slant between returns is the recorded scan angle."""
    las = laspy.read(sorted((scene_folder / "tiles").glob("*.laz"))[0])
    order = np.lexsort((las.return_number, las.gps_time, las.point_source_id))
    time, number, z = (np.asarray(las[name])[order] for name in ("gps_time", "return_number", "z"))
    x, y, angle = (np.asarray(las[name])[order] for name in ("x", "y", "scan_angle"))
    same = (np.diff(time) == 0) & (np.diff(number) == 1)
    assert same.sum() > 5000
    drop = -np.diff(z)[same]
    assert drop.min() > 0
    far = drop > 8
    slant = np.degrees(np.arctan(np.hypot(np.diff(x), np.diff(y))[same][far] / drop[far]))
    assert np.abs(slant - np.abs(angle[1:][same][far]) * 0.006).max() < 0.5
    assert np.all(np.asarray(las.return_number) <= np.asarray(las.number_of_returns))


def test_truth_tells_where_each_return_came_from(scene_folder: Path) -> None:
    """Ground returns lie on the true bare earth, and boulder or roof returns above it."""
    with rasterio.open(scene_folder / "truth_dem.tif") as source:
        earth, transform = source.read(1), source.transform
    for path in sorted((scene_folder / "tiles").glob("*.laz")):
        las = laspy.read(path)
        kind = np.load(path.with_name(path.stem + ".truth.npz"))["src"]
        assert len(kind) == len(las)
        col = np.minimum((np.asarray(las.x) - transform.c) / transform.a, len(earth) - 1).astype(int)
        row = np.minimum((np.asarray(las.y) - transform.f) / transform.e, len(earth) - 1).astype(int)
        above = np.asarray(las.z) - earth[row, col]
        assert np.abs(np.median(above[kind == 2])) < 0.03
        assert np.percentile(np.abs(above[kind == 2]), 90) < 0.3
        assert np.median(above[kind == 5]) > 3


def test_truth_layers_have_the_columns_a_judge_reads(scene_folder: Path) -> None:
    """Each layer of truth.gpkg has its size in metres and lies in the surveyed square."""
    with rasterio.open(scene_folder / "truth_dem.tif") as source:
        west, south, east, north = source.bounds
    columns = {"boulders": "height", "cliffs": "height", "knolls": "height", "pits": "depth", "buildings": "height"}
    for layer, column in {**columns, "paths": "width", "rides": "width", "streams": None}.items():
        table = gpd.read_file(scene_folder / "truth.gpkg", layer=layer)
        assert len(table) > 0, layer
        assert column is None or (table[column] > 0).all()
        box = table.total_bounds
        assert west <= box[0] <= box[2] <= east
        assert south <= box[1] <= box[3] <= north


def test_pond_is_level_and_mostly_silent(scene_folder: Path) -> None:
    """Water reflects little: the pond is flat in the truth and returns far fewer pulses than the land."""
    with rasterio.open(scene_folder / "truth_pond.tif") as source:
        pond = source.read(1) > 0
    with rasterio.open(scene_folder / "truth_dem.tif") as source:
        earth = source.read(1)
    assert pond.sum() * 0.25 > 80
    assert np.ptp(earth[pond]) < 0.01
    water = sum((np.load(path)["src"] == 9).sum() for path in (scene_folder / "tiles").glob("*.npz"))
    assert water / (pond.sum() * 0.25) < 0.5 * 3


def test_sample_tiles_are_small_enough_to_live_in_the_repository() -> None:
    """Four tiles, each below 3 MB and together below 8 MB."""
    sizes = [path.stat().st_size for path in SAMPLE.glob("*.laz")]
    assert len(sizes) == 4
    assert max(sizes) < 3e6
    assert sum(sizes) < 8e6


@pytest.mark.slow
def test_sample_tiles_are_what_the_generator_makes(tmp_path: Path) -> None:
    """Made again, the tiles hold the same survey.

    Rounding differs between processors and one different draw shifts all later ones, so records are compared as a
    survey, not bit by bit: as many returns, the same quantiles of height and as many last returns.
    """
    make_scene.main(["--out", str(tmp_path)])
    for path in SAMPLE.glob("*.laz"):
        kept, made = laspy.read(path), laspy.read(tmp_path / path.name)
        assert len(made) == pytest.approx(len(kept), rel=0.01)
        levels = [1, 10, 50, 90, 99]
        assert np.abs(np.percentile(kept.z, levels) - np.percentile(made.z, levels)).max() < 0.2
        last = [(np.asarray(las.return_number) == np.asarray(las.number_of_returns)).mean() for las in (kept, made)]
        assert last[0] == pytest.approx(last[1], abs=0.01)
