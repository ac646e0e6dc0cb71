"""The figures of a changed place as a mapper reads them."""

from pipeline.refresh.compare.evidence import Figures, in_words


def test_no_error_is_told_as_none() -> None:
    """Errors are rounded up: "± 0.00" would be read as certain; and no change has a sign."""
    told = in_words(
        Figures(
            height_change_m=-0.0004,
            height_change_error_m=0.0009,
            density_old=0.31,
            density_new=0.3,
            density_change=-0.01,
            density_change_error=0.021,
        )
    )
    assert told == "ground +0.00 m (± 0.01), undergrowth 0.31 to 0.30 m2/m3 (± 0.03)"
