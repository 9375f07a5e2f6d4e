"""Kernel stamps on the monotonic clock, and steps of the wall clock, with injected clocks."""

import pytest
from bench.small import MS

from hil.bench.clock import StampClock
from hil.core.observation import HostTrouble

SECOND = 1_000_000_000
EPOCH = 1_800_000_000 * SECOND  # some CLOCK_REALTIME


class Clocks:
    """Two clocks that only move when they are told to."""

    def __init__(self):
        self.monotonic, self.realtime = 50 * SECOND, EPOCH

    def let_pass(self, length):
        self.monotonic += length
        self.realtime += length

    def step_wall(self, length):
        self.realtime += length

    def open(self):
        return StampClock(lambda: self.monotonic, lambda: self.realtime)


def test_a_stamp_becomes_the_instant_it_was_made_at():
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    clocks.let_pass(3 * SECOND)
    stamp = clocks.realtime
    clocks.let_pass(4 * MS)

    assert clock.look() is None
    assert start + 3 * SECOND == clock.instant_of(stamp, start)


@pytest.mark.parametrize("step", [3600 * SECOND, -3600 * SECOND], ids=["forward", "back"])
def test_a_step_during_a_wait_changes_no_measured_time_and_is_noted(step):
    # the wall clock is stepped at 1 s of a 5 s deadline, the answer comes at 3 s: 3.0 s are measured.
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    clocks.let_pass(SECOND)
    clocks.step_wall(step)
    clocks.let_pass(2 * SECOND)
    stamp = clocks.realtime
    clocks.let_pass(MS)

    note = clock.look()
    measured = clock.instant_of(stamp, start) - start

    assert measured == 3 * SECOND
    assert note is not None
    assert (HostTrouble.CLOCK, step) == (note.trouble, note.amount)
    assert (start, clocks.monotonic) == (note.since, note.at)
    assert "3600 s" in note.text


@pytest.mark.parametrize("step", [3600 * SECOND, -3600 * SECOND], ids=["forward", "back"])
def test_a_stamp_from_before_the_step_keeps_its_instant_too(step):
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    clocks.let_pass(SECOND)
    stamp = clocks.realtime
    clocks.step_wall(step)
    clocks.let_pass(SECOND)
    clock.look()

    assert start + SECOND == clock.instant_of(stamp, start)


def test_a_step_too_small_to_tell_before_from_after_leaves_the_time_of_reading():
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    clocks.let_pass(SECOND)
    stamp = clocks.realtime
    clocks.step_wall(-20 * MS)
    clocks.let_pass(100 * MS)

    assert clock.look() is not None
    assert clocks.monotonic == clock.instant_of(stamp, start)


def test_a_step_is_noted_once():
    clocks = Clocks()
    clock = clocks.open()
    clocks.step_wall(-SECOND)

    assert clock.look() is not None
    assert clock.look() is None


def test_a_step_there_and_back_between_two_looks_leaves_the_time_of_reading():
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    clocks.step_wall(3600 * SECOND)
    stamp = clocks.realtime
    clocks.step_wall(-3600 * SECOND)
    clocks.let_pass(5 * MS)

    assert clock.look() is None
    assert clocks.monotonic == clock.instant_of(stamp, start)


def test_slewing_is_no_step():
    # CLOCK_MONOTONIC is slewed with CLOCK_REALTIME (clock_gettime(2)): the offset stays.
    clocks = Clocks()
    clock = clocks.open()
    for _ in range(1_000):
        clocks.let_pass(SECOND)
        assert clock.look() is None


def test_no_instant_lies_before_the_last_horizon_or_after_now():
    clocks = Clocks()
    clock, start = clocks.open(), clocks.monotonic
    before, after = clocks.realtime - 3_000, clocks.realtime + 3_000

    assert start == clock.instant_of(before, start)
    assert start == clock.instant_of(after, start)


def test_being_interrupted_between_two_readings_is_not_taken_for_a_step():
    # The process is held for 30 ms between reading one clock and the other, once.
    clocks = Clocks()
    held = [30 * MS]

    def realtime():
        if held and clocks.monotonic > 50 * SECOND:
            clocks.let_pass(held.pop())
        return clocks.realtime

    clock = StampClock(lambda: clocks.monotonic, realtime)
    clocks.let_pass(SECOND)

    assert clock.look() is None
    assert not held
