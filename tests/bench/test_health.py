"""The health of an interface, told by a kernel on paper."""

import struct
from dataclasses import replace

import pytest
from bench.paper_kernel import EPERM, PaperKernel
from bench.small import SMALL

from hil.bench.ethtool import Ethtool, Unanswered
from hil.bench.health import InterfaceHealth
from hil.core.error import BenchError, Mark
from hil.wire.segment import Bus, Participant, Segment

GOOD = {3: 1, 5: 3, 6: 0, 7: 32, 8: 0, 9: 128}
QUALITY = {2: struct.pack("=B", 1), 3: struct.pack("=I", 3), 4: struct.pack("=I", 7)}


def rack(tool: int = 0, **settings):
    participants = [Participant(name="tool", plca_id=tool)]
    ids = [number for number in range(3) if number != tool]
    participants += [Participant(name=f"n{each}", plca_id=each) for each in ids]
    segment = Segment(participants=tuple(participants), node_count=3)
    bus = Bus(segment=segment, marks={"": Mark("small.yaml")}, **settings)
    return replace(SMALL, bus=bus)


def health(kernel, **settings):
    return InterfaceHealth(rack(**settings), Ethtool(kernel))


def fact(kernel, what, **settings):
    return dict(health(kernel, **settings).facts())[what]


def test_settings_as_in_the_bench_file_are_fine_and_told():
    kernel = PaperKernel(settings=dict(GOOD))
    it = health(kernel)
    it.prepare()

    assert fact(kernel, "PLCA") == (
        "on, PLCA id 0, node count 3, transmit opportunity timer 32 bt, burst count 0, "
        "burst timer 128 bt"
    )
    assert fact(kernel, "PLCA status") == "running"
    assert it.line().startswith("interface lo, 127.0.0.1: link up; PLCA on, PLCA id 0")


def test_an_interface_without_plca_is_not_supported_and_not_zero():
    kernel = PaperKernel()
    health(kernel).prepare()

    assert fact(kernel, "PLCA") == "not supported"
    assert fact(kernel, "PLCA status") == "not supported"
    assert fact(kernel, "signal quality") == "not supported"


@pytest.mark.parametrize(
    ("number", "value", "told"),
    [
        (3, 0, "PLCA of lo is off, wanted on"),
        (6, 255, "the PLCA id of lo is 255, wanted 0"),
        (5, 8, "the node count of lo is 8, wanted 3"),
        (7, 24, "the transmit opportunity timer of lo is 24 bt, wanted 32 bt"),
    ],
)
def test_settings_that_differ_are_named_one_by_one(number, value, told):
    with pytest.raises(BenchError, match="differ from the file") as caught:
        health(PaperKernel(settings=GOOD | {number: value})).prepare()

    assert told in str(caught.value)


def test_a_follower_may_report_no_node_count():
    health(PaperKernel(settings=GOOD | {6: 2, 5: 0}), tool=2).prepare()


def test_settings_are_set_and_read_back():
    kernel = PaperKernel(settings={3: 0, 5: 8, 6: 255, 7: 24, 8: 0, 9: 128})
    health(kernel, set_plca=True).prepare()

    assert kernel.settings == GOOD


def test_a_setting_that_was_not_taken_is_named():
    # taken without an error and read back unchanged: enable and timer, others taken
    kernel = PaperKernel(settings={3: 0, 5: 8, 6: 255, 7: 24, 8: 0, 9: 128}, stubborn=(3, 7))

    with pytest.raises(BenchError, match="were set and read back otherwise") as caught:
        health(kernel, set_plca=True).prepare()

    assert "PLCA of lo is off, wanted on; the transmit opportunity timer of lo is 24" in str(
        caught.value
    )
    assert "id" not in str(caught.value).split("\n")[0].split(":", 1)[1]


def test_setting_without_the_right_says_so():
    with pytest.raises(BenchError, match="cannot be set: not allowed: it needs CAP_NET_ADMIN"):
        health(PaperKernel(settings=dict(GOOD), refuses=EPERM), set_plca=True).prepare()


def test_setting_what_has_no_plca_says_so():
    with pytest.raises(BenchError, match="PLCA of lo cannot be set: not supported"):
        health(PaperKernel(), set_plca=True).prepare()


def test_a_silent_coordinator_is_named():
    with pytest.raises(BenchError, match="n0, which has id 0, is powered"):
        health(PaperKernel(settings=GOOD | {6: 2}, status=0), tool=2).prepare()


def test_signal_quality_is_told_with_its_largest_value():
    assert fact(PaperKernel(link=QUALITY), "signal quality") == "3 of 7"


def test_a_quality_that_could_not_be_measured_is_not_zero():
    link = {2: QUALITY[2], 4: QUALITY[4]}

    assert fact(PaperKernel(link=link), "signal quality") == "not measured"
    assert health(PaperKernel(link=link), least_quality=5).troubles() == []


def test_a_quality_below_the_limit_is_a_trouble():
    assert health(PaperKernel(link=QUALITY), least_quality=3).troubles() == []
    assert health(PaperKernel(link=QUALITY), least_quality=4).troubles() == [
        "signal quality of lo is 3, the bench file wants at least 4"
    ]


def test_on_a_segment_without_turns_nobody_waits_for_a_beacon():
    described = rack()
    segment = replace(described.bus.segment, plca=False)
    without = replace(described, bus=replace(described.bus, segment=segment))
    kernel = PaperKernel(settings=dict(GOOD), status=0)

    assert InterfaceHealth(without, Ethtool(kernel)).troubles() == []


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"settings": GOOD | {7: 24}}, "the transmit opportunity timer of lo is 24 bt, wanted 32"),
        ({"settings": dict(GOOD), "status": 0}, "no beacon comes on lo"),
        ({"settings": dict(GOOD), "link": {2: b"\0"}}, "the link of lo is down"),
    ],
)
def test_what_went_wrong_since_it_was_opened_is_a_trouble(changes, told):
    assert health(PaperKernel(settings=dict(GOOD))).troubles() == []

    (trouble,) = health(PaperKernel(**changes)).troubles()
    assert trouble.startswith(told)


def test_what_is_not_offered_is_no_trouble():
    assert health(PaperKernel(), least_quality=5).troubles() == []


def test_a_kernel_that_does_not_answer_is_told_in_words():
    kernel = PaperKernel()
    ethtool = Ethtool(kernel)
    kernel.send = lambda octets: None

    with pytest.raises(Unanswered, match="the kernel did not answer: timed out"):
        ethtool.link_state("lo")


def test_a_kernel_without_the_family_is_told_in_words():
    class Mute(PaperKernel):
        def send(self, octets):
            pass

    kernel = Mute()
    with pytest.raises(Unanswered, match="the kernel has no ethtool family"):
        Ethtool(kernel)

    assert kernel.closed
