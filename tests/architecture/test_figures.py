"""`docs/figures.md` says what `docs/figures.json` keeps, and what measures the figures counts right."""

import re
import sys
from pathlib import Path

import laspy
import numpy as np
import pytest

from tests.benchmarks import large_area
from tests.benchmarks.figures import KEPT, MEASUREMENTS, PAGE
from tests.benchmarks.results import Measurement, Result, Table, markdown_of, measure_again, read_results, write_results
from tests.benchmarks.structure import function_lengths, n_settings, repeated
from tests.benchmarks.watched import run_watched
from tests.paths import PROJECT

OLD = Result("2026-01-02", "abc1234", "2 cores", [Table("", ["figure"], [["0.50"]])])


def fake(measure, **more: object) -> Measurement:
    """A measurement named `one`."""
    return Measurement("one", "Topic", "What is asked?", "What it tells.", measure, **more)


def again(one: Measurement, said: list[str]) -> dict[str, Result]:
    """Measure it, where an old value is known."""
    return measure_again([one], {"one": OLD}, "one", commit="def", machine="4 cores", say=said.append)


# ---------------------------------------------------------------- the page


def test_page_is_that_of_the_kept_figures() -> None:
    """Neither is edited without the other."""
    assert PAGE.read_text(encoding="utf-8") == markdown_of(MEASUREMENTS, read_results(KEPT)), "run 'make figures'"


def test_every_kept_figure_can_be_measured_again_by_name() -> None:
    """No figure is kept that nobody knows how to measure, and no name stands for two."""
    names = [one.name for one in MEASUREMENTS]
    assert len(set(names)) == len(names)
    assert set(read_results(KEPT)) <= set(names)


def test_the_programs_that_the_page_names_exist() -> None:
    """Each `python -m tests.benchmarks.X` is a file."""
    named = re.findall(r"-m (tests\.[\w.]+)", PAGE.read_text(encoding="utf-8"))
    assert named
    assert [name for name in named if not (PROJECT / f"{name.replace('.', '/')}.py").exists()] == []


# ---------------------------------------------------------------- measuring again


def test_new_value_replaces_the_old_one_with_date_and_commit(tmp_path: Path) -> None:
    """And it comes back from the file as it was."""
    table = Table("", ["figure"], [["0.75"]])
    made = again(fake(lambda: [table]), [])
    write_results(tmp_path / "kept.json", made)
    assert read_results(tmp_path / "kept.json") == made
    assert made["one"].tables == [table]
    assert (made["one"].commit, made["one"].machine) == ("def", "4 cores")
    assert made["one"].date > OLD.date


@pytest.mark.parametrize("needed", [{"data": ("scene_x",)}, {"needs": ("TUSSOCK_NOWHERE",)}])
def test_without_its_data_the_old_value_stays(
    needed: dict[str, tuple[str, ...]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its date, and it is said why."""
    monkeypatch.setenv("TUSSOCK_DATA", str(tmp_path))
    monkeypatch.delenv("TUSSOCK_NOWHERE", raising=False)
    said: list[str] = []
    assert again(fake(lambda: pytest.fail("measured"), **needed), said) == {"one": OLD}
    assert "not measured here" in said[0]
    assert ("scene_x" in said[0]) or ("TUSSOCK_NOWHERE" in said[0])


def test_a_program_that_fails_leaves_the_old_value() -> None:
    """An error is no figure."""

    def fail() -> list[Table]:
        raise SystemExit("broken")

    said: list[str] = []
    assert again(fake(fail), said) == {"one": OLD}
    assert "broken" in said[-1]


def test_unknown_name_is_refused() -> None:
    """A typo measures nothing and says so."""
    with pytest.raises(SystemExit, match="strcture"):
        measure_again(MEASUREMENTS, {}, "strcture", commit="", machine="", say=print)


def test_page_says_what_was_never_measured() -> None:
    """A gap is no figure of 0."""
    assert "Not measured yet." in markdown_of([fake(list)], {})
    assert "Not measured yet." not in markdown_of([fake(list)], {"one": OLD})


# ---------------------------------------------------------------- counting


def written(folder: Path, name: str, text: str) -> Path:
    """A source file."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


RUN = "a = first(b)\nif a > 3:\n    c = [a, b]\nd = {a: c}\ne = d - a\nassert not e\n"


def test_a_run_that_stands_twice_is_counted_in_both_places(tmp_path: Path) -> None:
    """Comments and blank lines between do not hide it; six lines in two places are two runs of twelve lines."""
    one = written(tmp_path, "one.py", RUN + "x = 1\n")
    two = written(tmp_path, "two.py", "y = 2\n" + RUN.replace("\nd =", "\n\n# why\nd ="))
    assert repeated([one, two], shapes_only=False) == (2, 12)


def test_other_names_count_by_shape_alone(tmp_path: Path) -> None:
    """The same run with other names is alike, and not the same."""
    one, two = (
        written(tmp_path, "one.py", RUN),
        written(tmp_path, "two.py", RUN.replace("b", "other").replace("3", "4")),
    )
    assert repeated([one, two], shapes_only=False) == (0, 0)
    assert repeated([one, two], shapes_only=True) == (2, 12)


def test_five_lines_and_monotonous_lines_do_not_count(tmp_path: Path) -> None:
    """Short runs, and lists of one shape, are not worth a function."""
    short = "".join(RUN.splitlines(keepends=True)[:5])
    flat = "".join(f"v{n} = {n}\n" for n in range(20))
    files = [written(tmp_path, f"{n}.py", text) for n, text in enumerate([short, short, flat, flat])]
    assert repeated(files, shapes_only=True) == (0, 0)


def test_length_of_a_body_leaves_out_its_docstring(tmp_path: Path) -> None:
    """Methods and inner functions are counted too."""
    text = 'class A:\n    def f(self):\n        """One.\n\n        Two.\n        """\n        a = 1\n        return a\n'
    found = function_lengths([written(tmp_path, "m.py", text + "def g():\n    return 1\n")])
    assert {length.name: length.lines for length in found} == {"m.f": 2, "m.g": 1}


def test_settings_are_the_described_fields(tmp_path: Path) -> None:
    """Fields of the area file and plain fields are none."""
    field = 'class S(Section):\n    a_m: float = Field(1.0, description="why")\n    b: int = 2\n'
    files = [written(tmp_path, "settings/x.py", field), written(tmp_path, "settings/area.py", field)]
    assert n_settings([*files, written(tmp_path, "rock/x.py", field)]) == 1


# ---------------------------------------------------------------- seconds and memory


def test_memory_of_processes_at_one_time_is_added_up() -> None:
    """Two processes that hold 60 MiB each: one holds 60, both together 120, and both take the time."""
    hold = "import time; held = bytearray(60 * 2**20); time.sleep(0.8)"
    both = f"import subprocess, sys; p = subprocess.Popen([sys.executable, '-c', {hold!r}]); {hold}; p.wait()"
    cost = run_watched([sys.executable, "-c", both])
    assert cost.seconds > 0.8
    assert 60 / 1024 < cost.largest_gib < 100 / 1024
    assert cost.together_gib > 120 / 1024


def test_command_that_fails_costs_nothing() -> None:
    """Its complaint comes instead of a figure."""
    with pytest.raises(SystemExit, match="no such luck"):
        run_watched([sys.executable, "-c", "import sys; sys.exit('no such luck')"])


# ---------------------------------------------------------------- a large area of a small scene


def scene(folder: Path) -> list[Path]:
    """Four tiles of 10 m; the height of a return is its place, so that a mirrored copy can be told."""
    folder.mkdir()
    rng = np.random.default_rng(1)
    for west in (100, 110):
        for south in (200, 210):
            header = laspy.LasHeader(point_format=6, version="1.4")
            header.scales, header.offsets = [0.001] * 3, [100.0, 200.0, 0.0]
            las = laspy.LasData(header)
            las.x, las.y = west + rng.uniform(0, 10, 500), south + rng.uniform(0, 10, 500)
            las.z = np.asarray(las.x) - 100 + 2 * (np.asarray(las.y) - 200)
            las.gps_time = rng.uniform(0, 100, 500)
            las.write(folder / f"{west}_{south}.laz")
    return sorted(folder.glob("*.laz"))


def test_copies_lie_side_by_side_without_a_step_at_the_seams(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Heights of the mirrored copy fall as those of the first rise; no two copies share a time; nothing is lost."""
    monkeypatch.setattr(large_area, "TILE_M", 15)
    scene_of = large_area.Scene.read(scene(tmp_path / "scene"))
    made = large_area.lay_side_by_side(scene_of, tmp_path / "large", side_m=40)
    assert [path.stem for path in made[:3]] == ["100_200", "115_200", "130_200"]
    clouds = [laspy.read(path) for path in made]
    assert sum(map(len, clouds)) == pytest.approx(4 * len(scene_of.points), rel=0.03)
    copies: dict[float, set[tuple[bool, bool]]] = {}
    for path, cloud in zip(made, clouds, strict=True):
        west, south = map(int, path.stem.split("_"))
        x, y = np.asarray(cloud.x) - 100, np.asarray(cloud.y) - 200
        assert x.min() >= west - 100 - 0.006
        assert x.max() <= min(west - 85, 40) + 0.006
        assert y.min() >= south - 200 - 0.006
        assert y.max() <= min(south - 185, 40) + 0.006
        for time, *place in zip(np.asarray(cloud.gps_time), x > 20, y > 20, strict=True):
            copies.setdefault(time, set()).add(tuple(place))
        folded = np.where(x < 20, x, 40 - x) + 2 * np.where(y < 20, y, 40 - y)
        np.testing.assert_allclose(cloud.z, folded, atol=0.02)
    assert {len(places) for places in copies.values()} == {1}


def test_a_thinned_area_keeps_whole_pulses(tmp_path: Path) -> None:
    """One time in so many stays, with all returns of that time."""
    tiles = scene(tmp_path / "scene")
    every, some = (large_area.Scene.read(tiles, keep_one_in=n).points for n in (1, 4))
    times, counts = np.unique(every.gps_time, return_counts=True)
    left, left_counts = np.unique(some.gps_time, return_counts=True)
    assert list(left) == list(times[::4])
    assert list(left_counts) == list(counts[::4])


def test_tiles_that_fill_no_square_are_refused(tmp_path: Path) -> None:
    """Half of them are a strip."""
    with pytest.raises(ValueError, match="do not fill a square"):
        large_area.Scene.read(scene(tmp_path / "scene")[:2])
