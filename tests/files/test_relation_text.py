"""Relations in plans: read with their units, refused with the place inside the expression."""

import re
from decimal import Decimal

import pytest
from files.probes import cases, expecting, mistakes

from hil.measure.holding import Holding


def one(tmp_path, rack, text):
    (found,) = cases(tmp_path, rack, expecting(text))[0].steps[0].expectations
    return found


def test_a_relation_names_its_signals_and_its_owner(tmp_path, rack):
    found = one(
        tmp_path,
        rack,
        '{relation: "probe.position = probe.angle ± 1.5 deg", within: 600 ms, hold: 1 s}',
    )

    assert found.signals == ("probe.angle", "probe.position")
    assert isinstance(found.measure, Holding) and found.measure.owner == "probe.position"
    assert found.wanted == "probe.position = probe.angle ± 1.5 deg"
    assert found.when == "within 600 ms, holding 1 s"


def test_the_tolerance_may_stand_beside_it(tmp_path, rack):
    found = one(
        tmp_path, rack, "{relation: probe.position = probe.angle, tolerance: 1.5 deg, during: 1 s}"
    )

    assert found.wanted == "probe.position = probe.angle ± 1.5 deg"
    assert found.measure.relation.tolerance({}) == 1.5


def test_units_are_converted(tmp_path, rack):
    found = one(tmp_path, rack, "{relation: probe.air < probe.pressure, during: 1 s}")
    relation = found.measure.relation
    assert relation.judge({"probe.air": Decimal(101), "probe.pressure": Decimal("1.02")}).holds
    assert not relation.judge({"probe.air": Decimal(103), "probe.pressure": Decimal("1.02")}).holds


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        # column 24 is where the text begins
        ("{relation: probe.angle = probe.pressure, within: 1 s}", "6:36: relation: deg"),
        ('{relation: "probe.angle = probe.pressure", within: 1 s}', "6:37: relation: deg"),
        ("{relation: probe.angle = 30, within: 1 s}", "try: a number with a unit, deg"),
        ("{relation: probe.angel = 30 deg, within: 1 s}", "no signal probe.angel"),
        ("{relation: probe.angel = 30 deg, within: 1 s}", "try: probe.angle"),
        ("{relation: probe.lamp = 1, within: 1 s}", "no signal probe.lamp with a number"),
        ("{relation: probe.ghost = 1, within: 1 s}", "no signal probe.ghost with a number"),
        ("{relation: open(probe.angle) = 1, within: 1 s}", "no function open"),
        ('{relation: "probe.angle.__class__ = 1", within: 1 s}', "relation: "),
        ('{relation: "__import__(1) = 1", within: 1 s}', "a name begins with a letter"),
        ('{relation: "probe.angle[0] = 1", within: 1 s}', "there are no subscripts"),
        ('{relation: "probe.angle", within: 1 s}', "expected one of = != < <= > >="),
        ('{relation: "1 = 1", within: 1 s}', "a relation speaks of at least one signal"),
        ('{relation: "probe.angle = 1 deg ± 0 deg", within: 1 s}', "a tolerance is above 0"),
        (
            '{relation: "probe.angle = 1 deg ± 1 deg", tolerance: 1 deg, within: 1 s}',
            "the relation has one already",
        ),
        ("{relation: probe.angle < 1 deg, tolerance: 1 deg, within: 1 s}", "goes with = only"),
        ("{relation: probe.angle = 1 deg}", "a relation needs one of `within`"),
        ("{relation: probe.angle = 1 deg, during: 1 s, hold: 1 s}", "`hold` goes only with"),
        (
            "{relation: slow.tally = 3 count, within: 20 ms}",
            "within: 20 ms is finer than the looks at slow.tally",
        ),
    ],
)
def test_what_is_no_relation_is_refused_at_its_place(tmp_path, rack, entry, what):
    found = mistakes(tmp_path, rack, expecting(entry))

    assert any(what in sentence for sentence in found), found


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        (
            "{signal: probe.pressure, value: 3 bar, tolerance: 0.004 bar, within: 1 s}",
            "`0.004 bar` is less than half a count of probe.pressure, 0.01 bar | try: 0.01 bar",
        ),
        (
            "{signal: probe.position, unchanged: yes, tolerance: 0.04 deg, during: 1 s}",
            "less than half a count of probe.position, 0.1 deg",
        ),
        (
            '{relation: "probe.angle = probe.position ± 0.04 deg", within: 1 s}',
            "6:56: relation: the tolerance is less than half of 0.1 deg, by which the two sides "
            "can be apart | try: 0.1 deg, or none where they must be the same",
        ),
        (
            '{relation: "probe.pressure = 3 bar", tolerance: 0.001 bar, within: 1 s}',
            "6:61: relation: the tolerance is less than half of 0.01 bar",
        ),
        (
            '{relation: "round(probe.pressure, 1) = 3 bar", tolerance: 0.04 bar, within: 1 s}',
            "half of 0.1 bar",
        ),
        (
            "{agree: [probe.angle, probe.position], tolerance: 0.01 deg, within: 9 ms, during: 1 s}",
            "tolerance: `0.01 deg` is less than half of 0.1 deg, by which they can be apart | try: "
            "0.1 deg, or leave it out",
        ),
    ],
)
def test_a_tolerance_below_half_a_count_is_refused(tmp_path, rack, entry, what):
    found = mistakes(tmp_path, rack, expecting(entry))

    assert any(what in sentence for sentence in found), found


def test_what_is_wrong_with_a_tolerance_is_told_where_it_stands(tmp_path, rack):
    text = '{relation: "probe.pressure = 3 bar", tolerance: 1 deg, within: 1 s}'
    (found,) = mistakes(tmp_path, rack, expecting(text))

    assert found.startswith("6:61: relation: bar ") and "try: a signal or a number in bar" in found


@pytest.mark.parametrize(
    "relation",
    [
        "probe.angle = x",
        "probe.angle = real(1)",
        "probe.angle.real = 1 deg",
        "probe.angle.__class__ = 1 deg",
        "__import__(1) = 1",
        "probe.angle[0] = 1 deg",
        "probe.angle = (1 deg",
        "probe.angle = ",
        "probe.angle",
        "1 deg = 2 deg",
        "probe.angle = 1 deg = 2 deg",
        "probe.angle ^ 2.5 = 1",
        "probe.angle ^ 99 = 1",
        "probe.angle ^ 2 ^ 2 = 1",
        "abs(probe.angle, 1 deg) = 1 deg",
        "max(probe.angle) = 1 deg",
        "probe.angle = 1,5 deg",
        "probe.angle = 1 deg; probe.angle = 2 deg",
        "probe.angle & 1 = 1",
        "probe.angle $ 1 = 1",
        "probe.angle: 1",
        "probe.angle = probe.pressure",
        "probe.angle / 1 deg = probe.pressure",
        "probe.angle + 1 = 2 deg",
        "sin(probe.pressure) = 1",
        "probe.angle < 1 deg ± 1 deg",
        "probe.angle = 1 deg ± 0 deg",
        "probe.angle = 1 deg ± 1 bar",
        "probe.lamp = 1",
        "slow.warmth * 2 = 3",
        "probe.angle = " + "(" * 40 + "1 deg",
        "probe.angle = 1e99 deg",
        "probe.angle = " + "+".join(["1 deg"] * 90),
    ],
)
def test_every_refusal_of_a_relation_says_where_and_what_would_work(tmp_path, rack, relation):
    (found,) = mistakes(tmp_path, rack, expecting(f'{{relation: "{relation}", within: 1 s}}'))
    place, _, hint = found.partition(" | try: ")

    assert re.match(r"6:\d+: relation: ", place)
    assert hint


def test_half_a_count_will_do(tmp_path, rack):
    one(tmp_path, rack, "{signal: probe.pressure, value: 3 bar, tolerance: 0.005 bar, within: 1 s}")
