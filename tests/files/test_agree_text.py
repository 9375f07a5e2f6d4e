"""`agree` and `clock` in plans: read, and refused."""

from pathlib import Path

import pytest
from files.probes import cases, expecting, mistakes

from hil.files.read import read_rack
from hil.measure.clocking import Clocking, Part
from hil.measure.showing import Showing
from hil.measure.splitting import Share

GLASSHOUSE = read_rack(Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml")


def test_an_agreement_is_one_expectation(tmp_path, rack):
    text = "{agree: [probe.angle, probe.position], within: 100 ms, tolerance: 1 deg, during: 1 s}"
    (found,) = cases(tmp_path, rack, expecting(text))[0].steps[0].expectations

    assert isinstance(found.measure, Showing)
    assert found.wanted == "probe.angle, probe.position the same ± 1 deg within 100 ms"
    assert (found.measure.within, found.measure.window) == (100_000_000, 1_000_000_000)


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        ("{agree: [probe.angle], within: 1 ms, during: 1 s}", "a list of two or more signals"),
        ("{agree: [probe.angle, probe.angle], within: 1 ms, during: 1 s}", "stands here twice"),
        (
            "{agree: [probe.angle, probe.pressure], within: 1 ms, during: 1 s}",
            "probe.pressure is a number in bar, probe.angle is a number in deg",
        ),
        ("{agree: [probe.angle, probe.lamp], within: 1 ms, during: 1 s}", "is a label"),
        ("{agree: [probe.lamp, probe.ghost], within: 1 ms, during: 1 s}", "nobody can see it"),
        (
            "{agree: [probe.angle, probe.position], within: 1 s, during: 1 s}",
            "not shorter than `during`",
        ),
        (
            "{agree: [slow.warmth, slow.warmth], within: 20 ms, during: 1 s}",
            "stands here twice",
        ),
        (
            "{agree: [probe.lamp, probe.lamp], within: 1 ms, tolerance: 1 deg, during: 1 s}",
            "tolerance: is for numbers",
        ),
        ("{agree: [probe.angle, probe.position], during: 1 s}", "lacks the key `within`"),
    ],
)
def test_an_odd_agreement_is_refused(tmp_path, rack, entry, what):
    found = mistakes(tmp_path, rack, expecting(entry))

    assert any(what in sentence for sentence in found), found


def test_labels_without_a_word_in_common_never_agree(tmp_path):
    text = "{agree: [beacon.lamp, console.level-band], within: 100 ms, during: 1 s}"
    (found,) = mistakes(tmp_path, GLASSHOUSE, expecting(text))

    assert "agree: they have no word in common, so they never show the same | try: an exp" in found


RED = "signal: beacon.lamp, value: red"


def test_the_parts_of_a_response_time_are_expectations_beside_it(tmp_path):
    text = f"{{{RED}, within: 150 ms, processing: 100 ms, return: 5 ms, outward: 1 ms}}"
    plain, *parts = cases(tmp_path, GLASSHOUSE, expecting(text))[0].steps[0].expectations

    assert plain.measure is None and plain.timing.within == 150_000_000
    assert [one.measure.share for one in parts] == [Share.PROCESSING, Share.RETURN]
    assert all(one.measure.outward == 1_000_000 for one in parts)


def test_a_skew_finer_than_the_looks_is_refused(tmp_path):
    text = "{agree: [circulator.duty, lamps.strip-1.output], within: 20 ms, during: 1 s}"
    found = mistakes(tmp_path, GLASSHOUSE, expecting(text))

    assert any("within: 20 ms is finer than the looks at circulator.duty" in one for one in found)


def test_a_clock_is_an_expectation_for_each_figure(tmp_path):
    text = "{clock: circulator, during: 10 s, drift: -2 ppm to 2 ppm, return: 5 ms}"
    found = cases(tmp_path, GLASSHOUSE, expecting(text))[0].steps[0].expectations

    assert all(isinstance(one.measure, Clocking) for one in found)
    assert [one.measure.part for one in found] == [Part.DRIFT, Part.RETURN]


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        (f"{{{RED}, within: 1 s, processing: 5 ms}}", "outward: 1 ms"),
        (f"{{{RED}, during: 1 s, return: 5 ms}}", "`return` goes only with `within`"),
        (f"{{{RED}, within: 1 s, outward: 5 ms}}", "`outward` goes only with"),
        (f"{{{RED}, within: 1 s, return: 5}}", "return: `5` has no unit"),
        (
            "{signal: tile.disc, value: red, within: 1 s, return: 5 ms}",
            "nothing that tile is asked bounds its clock from below",
        ),
        ("{clock: circulatr, during: 1 s, drift: 1 ppm to 2 ppm}", "try: circulator"),
        ("{clock: beacon, during: 1 s, return: 1 ms}", "beacon is not asked for readings"),
        ("{clock: circulator, during: 1 s}", "expected one or more of `drift`"),
        ("{clock: circulator, during: 1 s, drift: 5 ppm}", "does not say which way"),
        ("{clock: circulator, during: 1 s, processing: 5 ms}", "outward: 1 ms"),
        ("{clock: circulator, return: 5 ms}", "lacks the key `during`"),
    ],
)
def test_an_odd_clock_is_refused(tmp_path, entry, what):
    found = mistakes(tmp_path, GLASSHOUSE, expecting(entry))

    assert any(what in sentence for sentence in found), found


def test_a_clock_needs_stamps(tmp_path, rack):
    found = mistakes(tmp_path, rack, expecting("{clock: slow, during: 1 s, return: 5 ms}"))

    assert any("the readings of slow carry no `uptime`" in one for one in found), found
