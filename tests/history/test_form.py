"""Which check it is, every night."""

import pytest
from report.runs import check

from hil.history.form import form_of, measured, number_equals


@pytest.mark.parametrize(
    ("wanted", "when", "form"),
    [
        ("45.00 deg ± 1.50 deg", "within 600 ms", "# deg ± # deg, within"),
        ("red", "within 150 ms, holding 300 ms", "red, within"),
        ("1.4000 bar ± 0.0140 bar (1 % of value)", "within 100 ms", "# bar ± # bar, within"),
        ("5 lx ± 2 lx (the larger of 1 % of value and 2 lx)", "never", "# lx ± # lx, never"),
        (
            "settling time at most 300 ms into -45.0 deg ± 1.5 deg",
            "(control engineering), seen for 600 ms",
            "settling time at most # ms into # deg ± # deg",
        ),
        ("vane-2 or pump2", "throughout 3 s", "vane-2 or pump2, throughout"),
    ],
)
def test_a_form_has_no_numbers_but_those_in_names(wanted, when, form):
    assert form_of(wanted, when) == form


def test_another_limit_is_the_same_check_and_another_label_is_not():
    assert form_of("red", "within 150 ms") == form_of("red", "within 90 ms")
    assert form_of("4.8 bar", "within 1 s") == form_of("-5 bar", "within 2 s")
    assert form_of("red", "within 150 ms") != form_of("amber", "within 150 ms")


def test_equal_forms_are_counted_in_the_order_of_the_plan():
    later = check(0, "pass", place="p.yaml:12:13")
    first = check(0, "pass", place="p.yaml:9:13")
    other = check(0, "pass", place="p.yaml:10:13", wanted="red", got="red")

    assert number_equals([later, other, first]) == [2, 1, 1]


@pytest.mark.parametrize(
    ("got", "found"),
    [
        ("42.10 deg", (42.1, "deg")),
        ("-12.48 degC", (-12.48, "degC")),
        ("0 %", (0.0, "%")),
        ("7", (7.0, "")),
        ("red", (None, "")),
        ("nothing", (None, "")),
        ("sensor fault (sentinel 0x7fff)", (None, "")),
        ("1.2 bar against 1.2 bar (0 bar apart)", (None, "")),
        ("127 of 127 answers", (None, "")),
    ],
)
def test_only_a_number_with_one_unit_is_a_measured_value(got, found):
    assert measured(got) == found
