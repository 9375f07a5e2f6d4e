"""Counters that wrap, and reboots that look like it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.measure.counter import counts_between, stretches, unwrap


def test_an_uptime_wraps_and_512_ms_have_passed():
    assert counts_between(0xFFFFFF00, 0x00000100) == 512
    assert unwrap([0xFFFFFF00, 0x00000100]) == [0xFFFFFF00, 0xFFFFFF00 + 512]


def test_wrap_and_reboot_are_told_apart_by_the_boot_count():
    assert stretches([(0xFFFFFF00, 3), (0x100, 3)]) == [[0xFFFFFF00, 0x100000100]]
    assert stretches([(0xFFFFFF00, 3), (0x100, 4)]) == [[0xFFFFFF00], [0x100]]
    assert stretches([]) == []


def test_microseconds_wrap_after_71_minutes():
    # 2^32 µs = 71 min 34.967296 s
    assert divmod(1 << 32, 60_000_000) == (71, 34_967_296)


@given(
    st.integers(0, 2**40),
    st.lists(st.integers(-(2**15) + 1, 2**15 - 1), max_size=30),
    st.sampled_from([16, 32]),
)
def test_counts_go_on_beyond_the_wrap(first, steps, width):
    truth = [first]
    for step in steps:
        truth.append(truth[-1] + step)
    shown = [count % (1 << width) for count in truth]

    unwrapped = unwrap(shown, width)

    assert [count - unwrapped[0] for count in unwrapped] == [count - first for count in truth]


@given(st.lists(st.integers(0, 10**14), min_size=1, max_size=20), st.integers(0, 2**32 - 1))
def test_silences_longer_than_a_wrap_are_bridged_by_the_tools_time(gaps, first):
    # a counter of microseconds, 200 ppm fast, seen after silences of up to a day
    instants, truth, at = [], [], 0
    for gap in gaps:
        at += gap
        instants.append(at)
        truth.append(first + at * 1_000_200 // 1_000_000 // 1_000)
    shown = [count % 2**32 for count in truth]

    unwrapped = unwrap(shown, instants=instants, tick=1_000)

    assert [count - unwrapped[0] for count in unwrapped] == [count - truth[0] for count in truth]


@pytest.mark.parametrize(
    "ask",
    [
        lambda: unwrap([2**32]),
        lambda: unwrap([-1]),
        lambda: unwrap([1], instants=[1]),
        lambda: unwrap([1], tick=5),
        lambda: unwrap([1], instants=[1, 2], tick=5),
    ],
)
def test_counts_that_make_no_sense_are_refused(ask):
    with pytest.raises(ValueError):
        ask()
