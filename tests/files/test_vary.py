"""One case for many values."""

import pytest
from files.probes import cases, mistakes

VARIED = """\
plan: Varying
cases:
  - case: vane turns
    vary: VARY
    steps:
      - stimulus: {"probe.${what}": "${size} deg"}
        expect:
          - {signal: probe.position, value: "${size} deg", tolerance: 1 deg, within: "${size} ms"}
"""


def varied(vary):
    return VARIED.replace("VARY", vary)


def test_lists_make_every_combination(tmp_path, rack):
    found = cases(tmp_path, rack, varied("{what: [angle], size: [10, 20, 45]}"))

    assert [case.title for case in found] == [
        "vane turns [angle, 10]",
        "vane turns [angle, 20]",
        "vane turns [angle, 45]",
    ]
    assert [case.variation for case in found] == ["angle, 10", "angle, 20", "angle, 45"]
    assert [case.steps[0].stimuli[0].value for case in found] == [10, 20, 45]
    assert [case.steps[0].expectations[0].when for case in found] == [
        "within 10 ms",
        "within 20 ms",
        "within 45 ms",
    ]


def test_rows_make_a_case_each_and_repeats_are_numbered(tmp_path, rack):
    # J03: unique by construction
    rows = "[{what: angle, size: 10}, {what: angle, size: 20}, {what: angle, size: 10}]"

    assert [case.title for case in cases(tmp_path, rack, varied(rows))] == [
        "vane turns [angle, 10] (1)",
        "vane turns [angle, 20]",
        "vane turns [angle, 10] (2)",
    ]


@pytest.mark.parametrize(
    ("vary", "expected"),
    [
        ("{what: [angle]}", "6:37: `${size}` is not a variable of this case's `vary`"),
        ("{what: [angle], sise: [1]}", "`${size}` is not a variable of this case's `vary` | try: sise"),
        ("{what: [angle], size: [1], more: [2]}", "4:11: the variable `more` of `vary` is used nowhere"),
        ("{what: [angel], size: [1]}", "6:20: there is no signal `probe.angel` on this bench | try: probe.angle"),
        ("{what: angle, size: [1]}", "4:18: expected a list of values, got `angle`"),
        ("{what: [], size: [1]}", "expected a list of values, got an empty list"),
        ("[{what: angle, size: 1}, {what: angle}]", "the rows differ in their variables: size"),
        ("5", "vary: expected variables with lists, or a list of rows, got `5`"),
        ('{what: [angle], size: ["${what}"]}', "a value of `vary` cannot hold a variable"),
        ("{what: [angle], size: [[1]]}", "size: expected one value, got a list"),
        ("{what: [angle], size: [120]}", "120 deg is outside the range of probe.angle"),
    ],
)  # fmt: skip
def test_mistake_is_named(tmp_path, rack, vary, expected):
    said = mistakes(tmp_path, rack, varied(vary))

    assert any(expected in sentence for sentence in said), said


def test_mistake_of_all_rows_is_named_once(tmp_path, rack):
    text = varied("{what: [angle], size: [10, 20, 45]}").replace("tolerance: 1 deg", "tolerance: 1")

    assert len(mistakes(tmp_path, rack, text)) == 1


def test_too_many_combinations_are_refused_at_once(tmp_path, rack):
    hundred = ", ".join(str(number) for number in range(101))

    (sentence,) = mistakes(tmp_path, rack, varied(f"{{what: [{hundred}], size: [{hundred}]}}"))
    assert "vary makes 10201 cases, more than 10000 (the limit)" in sentence


def test_variable_without_vary_is_refused(tmp_path, rack):
    text = varied("{what: [angle], size: [1]}").replace(
        "    vary: {what: [angle], size: [1]}\n", ""
    )

    said = mistakes(tmp_path, rack, text)
    assert any("`${what}` is not a variable" in sentence for sentence in said)
