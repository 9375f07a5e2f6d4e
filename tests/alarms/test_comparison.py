"""Two specs of one thing side by side, and a node's own limits."""

from decimal import Decimal
from fractions import Fraction

import pytest
from alarms.drawing import (
    MARK,
    band,
    delay,
    feed,
    no_reading,
    reading,
    seconds,
    spec,
    start_up,
    width,
)

from hil.alarms.comparison import compare, node_limit
from hil.alarms.spec import Counting, Latch, Paint
from hil.core.signal import EXACT

# pascals of each unit (SI brochure; psi: NIST SP 811, appendix B)
PASCAL = {"kPa": Fraction(1000), "bar": Fraction(100_000), "psi": Fraction("6894.757")}


def convert(value, unit, wanted):
    if unit == wanted:
        return value
    if unit not in PASCAL or wanted not in PASCAL:
        raise ValueError(f"{unit} is no {wanted}")
    exact = Fraction(value) * PASCAL[unit] / PASCAL[wanted]
    return EXACT.divide(Decimal(exact.numerator), Decimal(exact.denominator))


TEN_BAR = {"bar": "10", "kPa": "1000", "psi": "145"}


def amber_from(level, unit="bar", owns_trip=True, **more):
    high = more.pop("high", TEN_BAR.get(unit, "10"))
    amber = {key: more.pop(key) for key in ("dead_band", "on_delay", "off_delay") if key in more}
    return spec(
        band("green", None, level, owns="none" if owns_trip else "high"),
        band("amber", level, None, owns="low" if owns_trip else "none", **amber),
        high=high,
        unit=unit,
        **more,
    )


def codes(first, second):
    return [one.code for one in compare(first, second, convert)]


# amber from 600 kPa, and from 6 bar
def test_the_same_level_in_two_units_is_equal():
    assert codes(amber_from("600", "kPa", high="1000"), amber_from("6")) == []


# 6 kPa is a slip
def test_the_same_number_in_two_units_is_named_as_a_slip():
    (finding,) = compare(amber_from("6"), amber_from("6", "kPa"), convert)

    assert finding.code == "AL-704"
    assert "6 bar (600 kPa), and 6 kPa (0.06 bar)" in finding.why
    assert "a factor of 100, with the same number in two units" in finding.why


@pytest.mark.parametrize(
    ("other", "factor"), [("6000", 1000), ("60", 10), ("0.6", 10), ("0.006", 1000)]
)
def test_a_round_factor_is_named(other, factor):
    (finding,) = compare(amber_from("6"), amber_from(other), convert)

    assert finding.code == "AL-704"
    assert f"a factor of {factor}" in finding.why


def test_levels_that_differ_otherwise_are_shown_in_both_units():
    finding, *_ = compare(amber_from("6"), amber_from("100", "psi"), convert)

    assert finding.code == "AL-703"
    # 100 psi = 6.894757 bar, 6 bar = 87.02264 psi (NIST SP 811)
    assert "6 bar (87.02" in finding.why and "100 psi (6.894757 bar)" in finding.why


def test_units_of_different_things_are_not_compared():
    assert codes(amber_from("6"), amber_from("6", "degC")) == ["AL-701"]


@pytest.mark.parametrize(
    ("one", "other", "code"),
    [
        ({}, {"owns_trip": False}, "AL-705"),
        ({"dead_band": width("0.2")}, {"dead_band": width("0.3")}, "AL-706"),
        ({"dead_band": width("0.2")}, {}, "AL-706"),
        ({"dead_band": width("0.2")}, {"dead_band": width("0.2", level_clears=False)}, "AL-706"),
        ({"on_delay": delay(1)}, {"on_delay": delay(2)}, "AL-707"),
        ({"off_delay": delay(1)}, {}, "AL-707"),
        ({"on_delay": delay(1)}, {"on_delay": delay(1, Counting.ACCUMULATED)}, "AL-707"),
        ({}, {"start_up": start_up(1)}, "AL-709"),
        ({}, {"no_reading": no_reading(stale_after=seconds(1))}, "AL-709"),
        ({}, {"agreement": seconds(1)}, "AL-709"),
        ({}, {"no_reading": no_reading(fault_colour="white")}, "AL-708"),
    ],
)
def test_each_difference_has_its_code_either_way_round(one, other, code):
    assert [code] == codes(amber_from("6", **one), amber_from("6", **other))
    assert [code] == codes(amber_from("6", **other), amber_from("6", **one))


# amber of the drawing is FFB300, of the firmware FFBF00
def test_one_colour_name_with_two_colours_is_found():
    drawing = amber_from("6", palette=(Paint(name="amber", rgb=(255, 179, 0), mark=MARK),))
    (finding,) = compare(drawing, amber_from("6"), convert)

    assert finding.code == "AL-708"
    assert "amber is amber (#FFB300), and amber (#FFBF00)" in finding.why


def test_a_band_of_one_spec_only_is_found():
    (finding,) = [one for one in compare(amber_from("3.6"), feed(), convert) if "red" in one.where]

    assert finding.code == "AL-702"


def test_acknowledgement_is_compared():
    latch = Latch(signal="pendant.ack", label="pressed", while_active=True,
                  survives_restart=False, mark=MARK)  # fmt: skip
    (finding,) = compare(amber_from("6"), amber_from("6", latch=latch), convert)

    assert "none, and by pendant.ack = pressed, at any time, lost at a restart" in finding.why


# a device reports 255 in a u8 for "no limit"; the link reads that as a sentinel
@pytest.mark.parametrize(
    ("trip", "reported", "code"),
    [
        (None, None, None),
        ("80", None, "AL-710"),
        ("80", "80", None),
        ("80", "80.00", None),
        ("80", "79", "AL-711"),
        (None, "80", "AL-711"),
        ("80", "stale", "AL-711"),
    ],
)
def test_a_limit_in_the_node_is_compared_also_when_it_is_not_set(trip, reported, code):
    limit = None if trip is None else Decimal(trip)
    finding = node_limit("temp high", limit, reading(reported, 0), "degC", MARK)

    assert code == (finding and finding.code)


def test_a_limit_that_is_not_set_says_so():
    finding = node_limit("temp high", Decimal(80), reading(None, 0), "degC", MARK)

    assert finding.why == "temp high is 80 degC in the spec and not set in the node"


@pytest.mark.parametrize(("other", "code"), [("60.6", "AL-704"), ("60.7", "AL-703")])
def test_a_slip_may_be_rounded_by_one_percent(other, code):
    assert [code] == codes(amber_from("6", high="100"), amber_from(other, high="100"))


def test_ranges_that_differ_are_shown_in_both_units():
    (finding,) = compare(amber_from("6"), amber_from("600", "kPa", high="900"), convert)

    assert (finding.code, finding.why) == (
        "AL-709",
        "the range ends at 10 bar (1000 kPa), and 900 kPa (9 bar)",
    )
