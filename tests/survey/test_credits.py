"""What the survey asks for where the area file does not say who made the data."""

from __future__ import annotations

from pipeline.survey.credits import missing_credits


def test_all_named_says_nothing() -> None:
    """Lidar and another map, both credited."""
    assert missing_credits("Land Survey 2025, CC BY 4.0", [("paths.osm.pbf", "OpenStreetMap, ODbL")]) == ()


def test_each_missing_credit_is_one_sentence() -> None:
    """Blanks are no credit; a file of two patterns is asked for once."""
    found = missing_credits("  ", [("walks.gpx", ""), ("fields.gpkg", "The owner"), ("walks.gpx", "")])
    assert len(found) == 2
    assert "lidar" in found[0]
    assert "walks.gpx" in found[1]
    assert all("'credit:'" in sentence for sentence in found)
