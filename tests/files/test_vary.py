"""One case for many values."""

import re

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
    # two results of one name are merged, or lost, by those who read reports
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


def test_an_unknown_variable_hides_no_other_mistake(tmp_path, rack):
    text = """\
plan: Varying
cases:
  - case: vane turns to ${sise}
    vary: {size: [10, 20]}
    reboots: prob
    steps:
      - wait: "${sise} ms"
        stimulus: {probe.angle: "${size} deg"}
      - stimulus: {probe.angle: "${sise} deg", probe.lamp: "${size}"}
        expect:
          - {signal: probe.position, value: "${sise} deg", tolerance: 1, within: "${size} ms"}
          - {signal: "${sise}.lamp", value: red, within: 5}
          - {signal: probe.lamp, value: purple, "${sise}": 5 ms}
          - {signal: probe.lamp, unchanged: yes, during: "${sise} ms"}
          - "${sise}"
"""
    unknown = "`${sise}` is not a variable of this case's `vary` | try: size"
    said = mistakes(tmp_path, rack, text)

    assert [sentence.split(": ", 1)[1] for sentence in said if "sise" not in sentence] == [
        "reboots: there is no node `prob` on this bench | try: probe",
        "probe.lamp: probe.lamp has no label `10`, it has `off`, `on`, `no` and `red`",
        "probe.lamp: probe.lamp has no label `20`, it has `off`, `on`, `no` and `red`",
        "tolerance: `1` has no unit | try: 1 deg",
        "within: `5` has no unit | try: 5 ms or 5 s",
        "value: probe.lamp has no label `purple`, it has `off`, `on`, `no` and `red`",
    ]
    assert [unknown] * 8 == [s.split(": ", 1)[1] for s in said if "sise" in s]


def test_a_misspelled_variable_is_named_once(tmp_path, rack):
    said = mistakes(tmp_path, rack, varied("{what: [angle], sise: [1]}"))

    assert {"`${size}` is not a variable of this case's `vary` | try: sise"} == {
        sentence.split(": ", 1)[1] for sentence in said
    }


def test_a_vary_that_cannot_be_read_hides_no_other_mistake(tmp_path, rack):
    text = varied("5").replace("tolerance: 1 deg", "tolerance: 1").replace("${size} ms", "5")
    said = [sentence.split(" ", 1)[1] for sentence in mistakes(tmp_path, rack, text)]

    assert said == [
        "vary: expected variables with lists, or a list of rows, got `5` "
        "| try: vary: {vane: [vane-1, vane-2]}",
        "tolerance: `1` has no unit | try: 1 deg",
        "within: `5` has no unit | try: 5 ms or 5 s",
    ]


def test_variable_without_vary_is_refused(tmp_path, rack):
    text = varied("{what: [angle], size: [1]}").replace(
        "    vary: {what: [angle], size: [1]}\n", ""
    )

    said = mistakes(tmp_path, rack, text)
    assert any("`${what}` is not a variable" in sentence for sentence in said)


RICH = """\
plan: Varying
cases:
  - case: vane turns
    requirement: [PR-1, PR-2]
    tags: quick
    vary: {size: [10, 20]}
    precondition:
      - {signal: probe.lamp, value: off, within: 1 s}
      - {signal: probe.position, between: -90 deg to 90 deg}
    reboots: [probe]
    restore: yes
    steps:
      - wait: 10 ms
        stimulus: {probe.angle: "${size} deg", probe.lamp: on}
        expect:
          - {signal: probe.position, value: 5 deg, tolerance: 1 deg, edges: exclusive, within: 1 s, hold: 1 s}
          - {signal: [probe.lamp, probe.caption], not: red, during: 10 ms to 1 s}
          - {signal: probe.lamp, one-of: [on, red], within: 1 s, not-before: 5 ms}
          - {signal: probe.position, unchanged: yes, tolerance: {larger-of: [1 deg, 2 deg]}, during: 1 s}
          - {signal: probe.position, not: {between: 1 deg to 2 deg}, never: 1 s}
      - stimulus: {probe.angle: 1 deg}
        expect: [{signal: probe.position, above: 1 deg, within: 1 s}]
"""


SCALAR = re.compile(r"(?:[-{\[,:] |^ {8,}|\[|\{)([^-{\[\]},:\s][^\]},:]*)")


def scalars():
    """Return the places of keys and values below the case's `vary`, as (line, start, end).

    Not the keys of the case itself, which are read before anything is filled in, and not the key
    `tolerance`, without which `edges` has no meaning either.
    """
    return [
        (number, found.start(1), found.end(1))
        for number, line in enumerate(RICH.splitlines())
        for found in SCALAR.finditer(line)
        if number > 5 and '"' not in found[1] and found[1] != "tolerance"
    ]


@pytest.mark.parametrize("place", scalars(), ids=lambda p: f"{p[0] + 1}:{p[1] + 1}")
def test_an_unknown_variable_anywhere_is_one_mistake(tmp_path, rack, place):
    number, start, end = place
    lines = RICH.splitlines()
    lines[number] = f'{lines[number][:start]}"${{nobody}}"{lines[number][end:]}'
    said = mistakes(tmp_path, rack, "\n".join(lines) + "\n")
    others = [sentence for sentence in said if "`${nobody}` is not a variable" not in sentence]

    assert len(said) - len(others) == 1
    assert [s for s in others if "the variable `size` of `vary` is used nowhere" not in s] == []
