"""A console heard by a third: how old what it said was, and what a boot ends."""

from decimal import Decimal

import pytest
from wire.console.consoles import BOOT, MS, pump
from wire.racks import rack

from hil.core.event import ConsoleLine
from hil.core.instant import Duration, Instant
from hil.core.observation import NodeNote, Samples
from hil.core.signal import Validity
from hil.wire.console.description import Question
from hil.wire.overheard import Overheard

READ = Question(send="s", every=Duration(100 * MS))


class Third:
    """Who listens to a console; instants are milliseconds."""

    def __init__(self, **console):
        self.ear = Overheard(rack(pump(**console)))

    def stood(self, ms, text, octets=b"", **more):
        self.ear.stood(ConsoleLine(at=Instant(ms * MS), node="pump", text=text, **more), octets)
        return self

    def seen(self):
        found = self.ear.take_observations()
        self.notes = [one.text for one in found if isinstance(one, NodeNote)]
        return {
            sample.signal.partition(".")[2]: sample
            for one in found
            if isinstance(one, Samples)
            for sample in one.samples
        }


def test_a_reading_is_as_old_as_its_question_and_without_one_as_its_first_octet():
    third = Third(read=READ).stood(1, "hello").stood(5, "s", way="out")

    assert third.stood(9, "rate=125 valve=open").seen()["rate"].since == 5 * MS
    assert third.stood(30, "rate=126 valve=open", lasted=4 * MS).seen()["rate"].since == 26 * MS


def test_a_boot_ends_what_was_asked_before_it_and_begins_a_warm_up():
    """The pump's valve has a warm-up of 100 ms."""
    third = Third(read=READ, boot=BOOT).stood(1, "hello").stood(5, "s", way="out")
    seen = third.stood(10, "boot: ok").stood(20, "rate=125 valve=open").seen()

    assert third.notes == [
        "rebooted when the console was opened; where that is so, say `opening-resets: yes`"
    ]
    assert 10 * MS < seen["rate"].since <= 20 * MS
    assert seen["valve"].validity is Validity.STALE
    assert third.stood(110, "rate=125 valve=open").seen()["valve"].validity is Validity.VALID


def test_a_reboot_lies_after_the_last_line_before_it():
    third = Third(boot=BOOT).stood(1, "hello").stood(4_000, "still here").stood(9_000, "boot: ok")
    (note,) = [one for one in third.ear.take_observations() if isinstance(one, NodeNote)]

    assert (note.since, note.at) == (4_000 * MS, 9_000 * MS)


@pytest.mark.parametrize(("late", "missed"), [(0, False), (1, True)])
def test_the_boot_that_an_opening_causes_may_come_at_the_very_end_of_its_time(late, missed):
    third = Third(boot=BOOT, opening_resets=True, boot_within=Duration(500 * MS))
    third.ear.tick(Instant(500 * MS + late))
    third.stood(500 + late, "boot: ok").seen()

    assert ("going on without" in third.notes[0]) is missed


def test_a_line_that_failed_has_no_question_open_any_more():
    third = Third(read=READ).stood(1, "hello").stood(5, "s", way="out")
    third.ear.unreachable("pump", "it was unplugged", Instant(7 * MS))

    lost = third.seen()["rate"]
    assert (lost.validity, lost.note) == (Validity.STALE, "it was unplugged")
    assert third.stood(40, "rate=125 valve=open").seen()["rate"].since > 7 * MS


def test_octets_that_the_text_does_not_tell_count_as_they_came():
    third = Third().stood(1, "hello")
    seen = third.stood(9, "rate=\N{SYMBOL FOR ESCAPE}125 valve=open", b"rate=125 valve=open").seen()

    assert seen["rate"].value == Decimal("12.5")
