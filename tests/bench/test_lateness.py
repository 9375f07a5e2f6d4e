"""The bench's own lateness: a host that was held must not make a node look slow."""

from bench.small import ms

from hil.bench.lateness import Lateness
from hil.core.instant import Duration
from hil.core.observation import HostTrouble

BOUND = Duration(ms(50))


def test_waking_late_is_measured_from_the_instant_that_was_asked_for():
    # deadline 50 ms, the process is held until 210 ms: host late 160 ms.
    note = Lateness(BOUND, ms(0)).woke(ms(50), ms(210))

    assert note is not None
    assert (HostTrouble.LATE, ms(160)) == (note.trouble, note.amount)
    assert (ms(50), ms(210)) == (note.since, note.at)
    assert note.text == "the bench computer woke late by 160 ms"


def test_waking_exactly_at_the_bound_is_not_late():
    assert Lateness(BOUND, ms(0)).woke(ms(50), ms(100)) is None


def test_waking_early_because_something_came_is_not_late():
    assert Lateness(BOUND, ms(0)).woke(ms(500), ms(100)) is None


def test_not_coming_back_is_late():
    lateness = Lateness(BOUND, ms(0))
    lateness.left(ms(100))

    note = lateness.came_back(ms(180))

    assert note is not None
    assert (ms(80), ms(100)) == (note.amount, note.since)
    assert "busy with other things for 80 ms" in note.text


def test_the_worst_is_kept_even_within_the_bound():
    lateness = Lateness(BOUND, ms(0))
    lateness.woke(ms(10), ms(13))
    lateness.woke(ms(20), ms(21))

    assert ms(3) == lateness.worst
