"""The symbol table against figures read in the norm's own pages."""

import pytest

from tests.paths import symbols

TABLE = symbols()
# Symbol, column, value. Source: IOF Map Commission, O-Map Wiki, pages of ISOM 2017-2 symbols (revision 6, 2024).
WIKI = (
    ("104", "min_length_mm", 0.6),
    ("104", "min_height_m", 1.0),
    ("107", "min_length_mm", 1.15),
    ("107", "min_height_m", 1.0),
    ("112", "min_height_m", 1.0),
    ("113", "spacing_mm", 0.5),
    ("201", "min_length_mm", 0.6),
    ("202", "min_length_mm", 0.6),
    ("202", "min_height_m", 1.0),
    ("203.1", "min_height_m", 1.0),
    ("206", "min_width_mm", 0.25),
    ("206", "min_area_mm2", 0.3),
    ("208", "spacing_mm", 0.75),
    ("211", "spacing_mm", 0.32),
    ("213", "min_area_mm2", 1.0),
    ("214", "fill_pct", 35.0),
    ("302", "min_width_mm", 0.3),
    ("307", "min_width_mm", 0.8),
    ("310", "min_area_mm2", 2.0 * 0.7),
    ("403", "min_area_mm2", 1.0),
    ("407", "min_area_mm2", 1.5 * 1.0),
    ("409", "min_area_mm2", 1.0),
)
# Symbol, column, value. Source: IOF Map Commission, ISOM 2000 (symbol pages); believed unchanged in ISOM 2017-2.
ISOM_2000 = (
    ("101", "line_mm", 0.14),
    ("102", "line_mm", 0.25),
    ("104", "line_mm", 0.18),
    ("109", "dot_mm", 0.5),
    ("110", "length_mm", 0.8),
    ("110", "width_mm", 0.4),
    ("201", "line_mm", 0.35),
    ("308", "line_mm", 0.1),
    ("308", "spacing_mm", 0.3),
    ("505", "line_mm", 0.25),
    ("505", "dash_mm", 2.0),
    ("505", "gap_mm", 0.25),
)


@pytest.mark.parametrize(("number", "column", "value"), WIKI)
def test_figures_are_those_of_the_norms_wiki(number: str, column: str, value: float) -> None:
    """The table has the figure, and says that it was read."""
    figure = TABLE[number].figures[column]
    assert figure.value == pytest.approx(value)
    assert figure.sure == "read"


@pytest.mark.parametrize(("number", "column", "value"), ISOM_2000)
def test_figures_of_the_edition_before_are_marked_so(number: str, column: str, value: float) -> None:
    """A figure taken from the edition of 2000 says so."""
    figure = TABLE[number].figures[column]
    assert figure.value == pytest.approx(value)
    assert figure.sure == "read-2000"


def test_no_height_makes_a_cliff_impassable() -> None:
    """The norm gives 201 no height: whether a cliff can be crossed is judged on the ground (O-Map Wiki, 201)."""
    assert "min_height_m" not in TABLE["201"].figures


def test_footprints_on_the_ground() -> None:
    """A pit covers 10.5 by 12 m (O-Map Wiki, 112), a prominent landform feature 13.5 by 13.5 m (115)."""
    assert TABLE["112"].footprint_m == pytest.approx((10.5, 12.0))
    assert TABLE["115"].footprint_m == pytest.approx((13.5, 13.5))
