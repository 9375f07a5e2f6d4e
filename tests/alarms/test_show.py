"""Does an indicator show what it must, whichever way it shows?"""

from decimal import Decimal

import pytest
from alarms.drawing import MARK

from hil.alarms.indicator import (
    Blink,
    Chromaticity,
    Cue,
    Displayed,
    Indicator,
    Labels,
    Reading,
    RgbCodes,
    Rounding,
    Segments,
    Text,
)
from hil.alarms.show import shows
from hil.core.instant import Instant
from hil.core.signal import Sample, Validity

AMBER = (255, 179, 0)  # FFB300


def sample(value):
    validity = Validity.INVALID if value is None else Validity.VALID
    carried = None if value is None else value if isinstance(value, str) else Decimal(value)
    if isinstance(value, str) and value.replace(".", "").isdigit():
        carried = Decimal(value)
    return Sample("x.y", carried, validity, Instant(0), Instant(0))


def shown(how, look, *values, input_value=None):
    signals = tuple(f"x.{place}" for place in range(len(values)))
    indicator = Indicator(signals=signals, how=how, mark=MARK)
    return shows(indicator, look, [sample(value) for value in values], input_value)


@pytest.mark.parametrize(
    ("how", "look", "values", "wanted"),
    [
        (Labels(wanted={"a": "red"}, cue=Cue.COLOUR), "a", ["red"], True),
        (Labels(wanted={"a": "red"}, cue=Cue.COLOUR), "a", ["green"], False),
        (Labels(wanted={"a": "red"}, cue=Cue.COLOUR), "a", [None], False),
        (Labels(wanted={"a": "red"}, cue=Cue.COLOUR), "b", ["red"], False),
        (Text(wanted={"a": "HIGH"}), "a", ["HIGH"], True),
        (Text(wanted={"a": "HIGH"}), "a", ["high"], False),
        (Segments(wanted={"a": (2, 3)}), "a", [1], False),
        (Segments(wanted={"a": (2, 3)}), "a", [2], True),
        (Segments(wanted={"a": (2, 3)}), "a", [3], True),
        (Segments(wanted={"a": (2, 3)}), "a", [4], False),
        (Segments(wanted={"a": (2, 3)}), "a", ["full"], False),
        (Blink(wanted={"a": (Decimal("1.4"), Decimal("2.8"))}), "a", ["2.0"], True),
        (Blink(wanted={"a": (Decimal("1.4"), Decimal("2.8"))}), "a", ["0.5"], False),
        (RgbCodes(wanted={"a": AMBER}, tolerance=16), "a", [255, 191, 0], True),
        (RgbCodes(wanted={"a": AMBER}, tolerance=8), "a", [255, 191, 0], False),
        (RgbCodes(wanted={"a": AMBER}, tolerance=16), "a", [0xFFBF00], True),
        (RgbCodes(wanted={"a": AMBER}, tolerance=8), "a", [0xFFBF00], False),
        (RgbCodes(wanted={"a": AMBER}, tolerance=255), "a", [0x1000000], False),
        (RgbCodes(wanted={"a": AMBER}, tolerance=255), "a", ["amber"], False),
        # points of UN R48 2.29.3 and 2.29.4
        (Chromaticity(wanted={"a": "r48_amber"}), "a", ["0.590", "0.400"], True),
        (Chromaticity(wanted={"a": "r48_amber"}), "a", ["0.650", "0.345"], False),
        (Chromaticity(wanted={"a": "r48_red"}), "a", ["0.700", "0.295"], True),
        (Chromaticity(wanted={"a": "r48_red"}), "a", ["0.640", "0.330"], False),
        (Chromaticity(wanted={"a": None}), "a", [None, None], True),
        (Chromaticity(wanted={"a": None}), "a", ["0.700", "0.295"], False),
        (Chromaticity(wanted={"a": "r48_red"}), "a", [None, None], False),
        (Chromaticity(wanted={"a": "no_such_region"}), "a", ["0.700", "0.295"], False),
    ],
)
def test_what_is_shown(how, look, values, wanted):
    assert wanted is shown(how, look, *values)


@pytest.mark.parametrize(
    ("look", "value", "input_value", "wanted"),
    [
        ("red", "4.8", "4.80", True),
        ("red", "4.8", "4.84", True),
        ("red", "4.9", "4.85", True),
        ("red", "4.8", "4.85", False),
        ("red", None, "4.80", False),
        ("red", "4.8", None, False),
        ("fault", None, None, True),
        ("fault", "0", None, False),
        ("stale", "dashes", None, True),
        ("stale", None, None, False),
    ],
)
def test_a_reading_shows_the_rounded_input_and_nothing_without_one(
    look, value, input_value, wanted
):
    how = Reading(
        display=Displayed(decimals=1, rounding=Rounding.HALF_AWAY),
        tolerance=Decimal(0),
        wanted={"stale": "dashes"},
    )
    given = None if input_value is None else Decimal(input_value)

    assert wanted is shown(how, look, value, input_value=given)


@pytest.mark.parametrize(
    ("rounding", "value", "displayed"),
    [
        (Rounding.HALF_AWAY, "0.25", "0.3"),
        (Rounding.HALF_EVEN, "0.25", "0.2"),
        (Rounding.HALF_AWAY, "-0.25", "-0.3"),
        (Rounding.HALF_EVEN, "-0.25", "-0.2"),
        (Rounding.HALF_AWAY, "79.95", "80.0"),
        (Rounding.HALF_AWAY, "79.94", "79.9"),
    ],
)
def test_the_two_ways_of_rounding(rounding, value, displayed):
    shown = Displayed(decimals=1, rounding=rounding).round(Decimal(value))

    assert displayed == str(shown)
