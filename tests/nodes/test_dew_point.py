"""The mast's own arithmetic."""

import pytest

from hil.nodes.mast import dew_point


@pytest.mark.parametrize(
    ("celsius", "humidity", "magnus", "ashrae"),
    [
        # Magnus' formula with WMO-No. 8's constants, computed; the last column by the ASHRAE
        # formulas (Handbook Fundamentals 2017, chapter 1, as in PsychroLib).
        (20, 50, 9.255, 9.272),
        (25, 50, 13.852, 13.864),
        (25, 60, 16.693, 16.701),
        (30, 70, 23.927, 23.928),
        (10, 80, 6.706, 6.713),
        (20, 100, 20.0, 20.0),
    ],
)
def test_dew_point_agrees_with_two_formulas(
    celsius: float, humidity: float, magnus: float, ashrae: float
) -> None:
    assert dew_point(celsius, humidity) == pytest.approx(magnus, abs=0.001)
    assert dew_point(celsius, humidity) == pytest.approx(ashrae, abs=0.02)


def test_dew_point_of_perfectly_dry_air_is_a_number() -> None:
    assert -80 < dew_point(20, 0) < -40
