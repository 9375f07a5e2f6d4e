"""The delayed, latched alarm of the head unit; its spec is `Dry run` in glasshouse-alarms.yaml."""

from decimal import Decimal

import pytest

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.nodes.dry_run import DryRun
from hil.nodes.trip import TripPoint

POINT = TripPoint(level=Decimal("5.0"), rising=False, dead_band=Decimal("2.0"))


class Told:
    """A dry-run protection that is told levels (percent) at times (ms)."""

    def __init__(self, hold: int = 0) -> None:
        self.dry_run = DryRun(POINT, Duration(300 * MILLISECOND), Duration(hold * MILLISECOND))
        self.dry_run.restart(Instant(0))

    def level(self, percent: str | None, at: int) -> str:
        self.dry_run.tick(Instant(at * MILLISECOND))
        level = None if percent is None else Decimal(percent)
        self.dry_run.receive(level, Instant(at * MILLISECOND))
        return self.dry_run.shown

    def at(self, at: int) -> str:
        self.dry_run.tick(Instant(at * MILLISECOND))
        return self.dry_run.shown


def test_it_is_dry_after_the_whole_delay_and_not_before() -> None:
    told = Told()
    told.level("5.0", 0)

    assert [told.at(299), told.at(300)] == ["clear", "dry"]


@pytest.mark.parametrize("dip", ["5.1", "7.0", None])
def test_an_interruption_starts_the_time_afresh(dip: str | None) -> None:
    told = Told()
    told.level("5.0", 0)
    told.level(dip, 200)
    told.level("5.0", 210)

    assert [told.at(509), told.at(510)] == ["clear", "dry"]


def test_it_stays_latched_until_it_is_acknowledged_after_the_water_is_back() -> None:
    told = Told()
    told.level("4.0", 0)
    told.at(300)
    told.dry_run.acknowledge()
    ignored = told.level("6.9", 400)
    latched = told.level("7.0", 500)
    told.dry_run.acknowledge()

    assert [ignored, latched, told.at(500)] == ["dry", "dry", "clear"]


def test_in_the_dead_band_it_still_stands() -> None:
    told = Told()
    told.level("4.0", 0)
    told.at(300)
    told.level("6.9", 400)
    told.dry_run.acknowledge()
    told.level("7.0", 500)

    assert told.at(500) == "dry"


def test_without_a_level_nothing_is_known_and_a_latch_comes_back() -> None:
    told = Told()
    told.level("4.0", 0)
    told.at(300)

    assert [told.level(None, 400), told.level("50.0", 500)] == ["unknown", "dry"]


def test_nothing_is_judged_while_it_is_held() -> None:
    told = Told(hold=300)
    told.level("4.0", 100)

    assert [
        told.at(299),
        told.at(300),
        told.at(599),
        told.at(600),
    ] == ["starting", "clear", "clear", "dry"]


def test_until_the_first_level_it_is_starting() -> None:
    told = Told(hold=300)

    assert [told.at(400), told.level(None, 500)] == ["starting", "unknown"]


def test_it_wakes_at_the_end_of_hold_and_delay() -> None:
    told = Told(hold=300)
    told.level("4.0", 100)
    first = told.dry_run.next_wakeup()
    told.at(300)
    second = told.dry_run.next_wakeup()
    told.at(600)

    assert [
        first,
        second,
        told.dry_run.next_wakeup(),
    ] == [300 * MILLISECOND, 600 * MILLISECOND, None]


def test_a_restart_forgets_the_latch() -> None:
    told = Told()
    told.level("4.0", 0)
    told.at(300)
    told.dry_run.restart(Instant(400 * MILLISECOND))

    assert told.level("50.0", 500) == "clear"
