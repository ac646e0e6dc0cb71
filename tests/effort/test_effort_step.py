"""The step: a draft in a folder to `effort.json`, with and without a history; and the quick look."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.cli import main
from pipeline.effort.rates.trade import PRINTED_H_PER_KM2
from pipeline.errors import InputError
from pipeline.settings import EffortSettings, SheetSettings
from pipeline.steps.effort.effort import effort
from tests.effort.made_draft import SOUTH_M, WEST_M, made_draft
from tests.runs import SAMPLE, write_area


def estimated(area: Path, *, history: list[str] | None = None, scale: int = 10000, **effort_settings: object) -> dict:
    """Run the step on a made draft; what it writes."""
    out = area.parent / "out"
    file = out / "fieldwork" / "effort.json"
    effort(
        draft=out / "draft.gpkg",
        slope=out / "rasters" / "slope.tif",
        outline=out / "work" / "outline.gpkg",
        survey=out / "report" / "survey.json",
        out=file,
        name="Made",
        map_date="2027-04-10",
        scale=scale,
        settings=EffortSettings.model_validate(effort_settings),
        sheet=SheetSettings(),
        history=history or [],
    )
    return json.loads(file.read_text(encoding="utf-8"))


@pytest.fixture
def area(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A made draft; the step runs in its folder, as in the workflow."""
    path = made_draft(tmp_path / "here")
    monkeypatch.chdir(path.parent / "out")
    return path


def test_the_step_writes_the_estimate(area: Path) -> None:
    """Four squares, the terms of the area file, age and season of the survey."""
    record = estimated(area, day_rate=90, currency="GBP")
    assert record["area_km2"] == pytest.approx(0.25)
    assert len(record["cells"]) == 4
    assert record["measures"]["rocks"] == 20
    assert record["measures"]["slope_km2"] == pytest.approx(0.25 * 0.1763, rel=0.01)
    assert record["cost"]["currency"] == "GBP"
    assert record["survey"]["season"] == "leaf-off"
    assert len(record["sheets"]) == 1
    assert "GBP likely" in " ".join(record["words"])


def test_a_large_map_is_told_sheet_by_sheet(tmp_path: Path) -> None:
    """2 km at 1:5 000 are two sheets of paper and more; together they hold the whole, and what they share."""
    record = estimated(made_draft(tmp_path, side_m=2000.0), scale=5000)
    assert len(record["sheets"]) >= 2
    assert sum(sheet["area_km2"] for sheet in record["sheets"]) > 4
    assert max(sheet["area_km2"] for sheet in record["sheets"]) < 4
    assert "By sheet" in " ".join(record["words"])


def test_a_history_of_area_files_fits_the_rates(area: Path, tmp_path: Path) -> None:
    """Six maps that took twice the trade's hours: so will this one, in a narrower range."""
    lines = ["area,hours,scale,drawing hours"]
    for number in range(6):
        past = made_draft(tmp_path / f"past{number}", n_rocks=20 * number, side_m=500 + 60 * number)
        trade_h = estimated(past)["without_draft"]["fieldwork_h"]["likely"]
        lines.append(f"past{number}/area.yaml,{2 * trade_h:.2f},1:10000,{trade_h:.2f}")
    history = tmp_path / "history.csv"
    history.write_text("\n".join(lines), encoding="utf-8")
    before, after = estimated(area), estimated(area, history=[str(history)])
    ratio = after["fieldwork_h"]["likely"] / before["fieldwork_h"]["likely"]
    assert ratio == pytest.approx(2, rel=0.05)
    assert after["fieldwork_h"]["high"] / after["fieldwork_h"]["likely"] < 1.6
    assert "fitted to your 6 areas" in " ".join(after["words"])


def test_outlines_are_measured_on_the_draft_they_lie_in(area: Path, tmp_path: Path) -> None:
    """Three outlines within the area: too few to be used, and said so; one elsewhere is refused by its line."""
    history = tmp_path / "history.csv"
    rows = [f"part{number}.geojson;6;10000" for number in range(3)]
    for number in range(3):
        west = WEST_M + 100 * number
        ring = [[west, SOUTH_M], [west + 90, SOUTH_M], [west + 90, SOUTH_M + 90], [west, SOUTH_M]]
        write_outline(tmp_path / f"part{number}.geojson", ring)
    history.write_text("\n".join(["outline;hours;scale", *rows]), encoding="utf-8")
    assert "holds 3 areas and is not used" in " ".join(
        " ".join(estimated(area, history=[str(history)])["words"]).split()
    )
    write_outline(tmp_path / "part2.geojson", [[0, 0], [90, 0], [90, 90], [0, 0]])
    with pytest.raises(InputError, match=r"line 4.*does not lie in this area"):
        estimated(area, history=[str(history)])


def write_outline(path: Path, ring: list[list[float]]) -> None:
    """A polygon in the CRS of the made drafts."""
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    content = {"type": "FeatureCollection", "crs": crs, "features": [feature]}
    path.write_text(json.dumps(content), encoding="utf-8")


# ---------------------------------------------------------------- the command


def test_a_quick_look_reads_headers_and_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two areas side by side, in words; no folder is made."""
    one = write_area(tmp_path / "a", f"{SAMPLE}/*.laz", name="Tarnlow")
    other = write_area(tmp_path / "b", f"{SAMPLE}/565500_5712000.laz", name="Corner", effort="{day_rate: 90}")
    assert main(["estimate", "--quick", str(one), str(other.parent)]) == 0
    said = capsys.readouterr().out
    assert said.split("\n")[0].split() == ["Tarnlow", "Corner"]
    assert "the headers of the tiles" in said
    assert "The range is wide because" in " ".join(said.split())
    assert "day_rate 90" in " ".join(said.split())
    per_km2 = next(line for line in said.split("\n") if line.startswith("  a square kilometre, likely")).split()
    assert all(PRINTED_H_PER_KM2[0] < float(number) < PRINTED_H_PER_KM2[2] for number in per_km2[-2:])
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["a", "area.yaml", "area.yaml", "b"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("area,hours\nx.yaml,3\n", "no column 'scale'"),
        ("name,days\nx,3\n", "no column 'area' and no column 'hours' and no column 'scale'"),
        ("area,hours,scale\nx.yaml,3,10000\n", "line 2: there is no area file or outline 'x.yaml'"),
        (
            "area,hours,scale\narea.yaml,-3,10000\n",
            "line 2: 'hours' should be a number of hours above 0 (you wrote '-3')",
        ),
        ("area,hours,scale\narea.yaml,soon,10000\n", "(you wrote 'soon')"),
        (
            "area,hours,scale\narea.yaml,3,9000\n",
            "'scale' should be one of 15000, 10000, 7500, 5000 (you wrote '9000')",
        ),
        ("area,hours,scale,draft\narea.yaml,3,10000,perhaps\n", "'draft' should be yes or no"),
        ("area,hours,scale\nother/area.yaml,3,10000\n", "has no draft to measure its ground on"),
        (None, "there is no such history"),
    ],
)
def test_a_bad_history_is_refused_and_nothing_is_overwritten(
    text: str | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2, one message that names the line, and the estimate of before stays."""
    area = write_area(tmp_path, f"{SAMPLE}/565500_5712000.laz", effort="{history: history.csv}")
    write_area(tmp_path / "other", f"{SAMPLE}/*.laz")
    if text is not None:
        (tmp_path / "history.csv").write_text(text, encoding="utf-8")
    before = tmp_path / "out" / "fieldwork" / "effort.json"
    before.parent.mkdir(parents=True)
    before.write_text('{"words": ["of before"]}', encoding="utf-8")
    assert main(["estimate" if text else "draft", str(area)]) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""
    assert "Traceback" not in captured.err
    assert before.read_text(encoding="utf-8") == '{"words": ["of before"]}'


def test_a_missing_area_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By both ways of estimating, also where it is the second of two."""
    there = write_area(tmp_path / "a", f"{SAMPLE}/*.laz")
    for more in (["--quick"], []):
        assert main(["estimate", *more, str(tmp_path / "gone.yaml"), str(there)]) == 2
        assert "gone.yaml: there is no such area file" in capsys.readouterr().err
