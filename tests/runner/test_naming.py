"""Signals as people name them, and values as they want them."""

from decimal import Decimal

import pytest

from hil.core.error import DescriptionError
from hil.files.read import read_rack
from hil.runner.commanding import read_stimuli
from hil.runner.naming import named_signals


@pytest.fixture(scope="module")
def rack(request):
    return read_rack(request.config.rootpath / "fixtures" / "glasshouse.yaml")


def paths(rack, *words):
    return [signal.path for signal in named_signals(rack, words)]


def mistakes(call):
    with pytest.raises(DescriptionError) as caught:
        call()
    return [(mistake.what, mistake.hint) for mistake in caught.value.mistakes]


def test_a_name_a_node_and_a_pattern(rack):
    assert paths(rack, "feedline.pressure") == ["feedline.pressure"]
    assert paths(rack, "feedline") == ["feedline.pressure", "feedline.fault", "feedline.power"]
    assert paths(rack, "louvres.vane-?.angle") == [f"louvres.vane-{n}.angle" for n in range(1, 5)]
    assert paths(rack, "*.lamp") == ["beacon.lamp"]


def test_no_word_at_all_is_the_whole_rack_and_nothing_comes_twice(rack):
    assert len(paths(rack)) == len(rack.signals())
    assert paths(rack, "beacon.*", "beacon.lamp") == ["beacon.lamp", "beacon.power"]


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("feedline.presure", "feedline.pressure"),
        ("pressure", "feedline.pressure"),
        ("feedlin.pressure", "feedline.pressure"),
        ("feedlin", "feedline"),
        ("beacon.zzz", "beacon.* has lamp, power"),
        ("beacon.z*", "beacon.*"),
        ("z*", ""),
    ],
)
def test_a_name_that_is_none_brings_the_nearest(rack, word, hint):
    ((what, got),) = mistakes(lambda: named_signals(rack, [word]))

    assert word in what
    assert got == hint


def test_all_wrong_names_are_told_at_once(rack):
    assert len(mistakes(lambda: named_signals(rack, ["a.b", "beacon.lamp", "z*"]))) == 2


def test_values_are_read_as_a_plan_reads_them(rack):
    words = ["feedline.pressure", "4.8", "bar", "louvres.vane-1.angle", "-0.5 rad"]
    words += ["tile.caption", "DOORS", "OPEN", "mast.temperature", "68 °F", "beacon.lamp", "red"]
    got = {one.signal: one.value for one in read_stimuli(rack, words)}

    assert got == {
        "feedline.pressure": Decimal("4.8"),
        "louvres.vane-1.angle": Decimal("-28.6"),  # -28.648 deg, to the nearest tenth
        "tile.caption": "DOORS OPEN",
        "mast.temperature": Decimal(20),
        "beacon.lamp": "red",
    }


def test_an_empty_text_is_a_text(rack):
    (stimulus,) = read_stimuli(rack, ["tile.caption", ""])

    assert stimulus.value == ""


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["feedline.pressure"], "`feedline.pressure` has no value"),
        (["feedline.pressure", "19 bar"], "19 bar is outside the range of feedline.pressure"),
        (["feedline.pressure", "4"], "`4` has no unit"),
        (["feedline.pressure", "4 deg"], "`4 deg` does not fit a signal in bar"),
        (["feedline.pressure", "4.805 bar"], "falls between two counts"),
        (["cistern.level", "5 %"], "cistern.level cannot be driven"),
        (["beacon.lamp", "purple"], "beacon.lamp has no label `purple`"),
        (["beacon.lmp", "red"], "there is no signal `beacon.lmp`"),
        (["beacon.lamp", "red", "beacon.lamp", "off"], "beacon.lamp stands here twice"),
        (["beacon.lamp", "red", "becon.lamp", "off"], "there is no signal `becon.lamp`"),
    ],
)
def test_what_a_plan_would_refuse_is_refused(rack, words, what):
    assert what in mistakes(lambda: read_stimuli(rack, words))[0][0]


@pytest.mark.parametrize(
    ("word", "hint"),
    [("beacon.lamp", "beacon.lamp VALUE"), ("beacon.lamp=red", "beacon.lamp red")],
)
def test_a_signal_without_a_value_is_shown_with_one(rack, word, hint):
    with pytest.raises(DescriptionError) as caught:
        read_stimuli(rack, [word])

    assert "`beacon.lamp` has no value" in str(caught.value)
    assert f"try: {hint}" in str(caught.value)
