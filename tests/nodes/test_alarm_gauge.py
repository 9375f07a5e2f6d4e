"""The gauge that shows its own alarms, by itself: what it shows, when, and the laws."""

from dataclasses import replace
from pathlib import Path

import pytest
from laws import obey

from hil.core.error import DescriptionError
from hil.core.instant import Instant
from hil.files.read import read_rack
from hil.nodes.limit_alarm import MISTAKES, Limit, LimitAlarm
from hil.nodes.rack import SoftwareRack
from hil.wire.layout import Codec
from hil.wire.rack import Address, Envelope, Role

MS = 1_000_000
RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "alarm-gauge.yaml")
(NODE,) = RACK.nodes
TOOL = Address("127.0.0.1", 50_000)
CODECS = {layout.role: Codec(layout, NODE) for layout in NODE.layouts}


def told(settings):
    return replace(RACK, software=replace(RACK.software, settings=settings))


def request(number, operation, value=0):
    payload = CODECS[Role.REQUEST].encode(request=number, operation=operation, value=value)
    return Envelope(TOOL, NODE.address, payload)


def limit(**more) -> LimitAlarm:
    given = {
        "name": "high",
        "rising": True,
        "severity": 1,
        "trip": 10.0,
        "clear": 8.0,
        "on_delay": 0,
        "off_delay": 0,
    }
    return LimitAlarm(Limit(**(given | more)))


def test_an_alarm_trips_at_its_point_and_clears_past_its_dead_band():
    alarm = limit()
    shown = []
    for at, value in enumerate([9, 10, 9, 8.1, 8, 9, 10]):
        alarm.look(value, Instant(at))
        shown.append(alarm.shown)

    assert shown == [False, True, True, True, False, False, True]


def test_a_delay_starts_afresh_unless_it_adds_up():
    plain, adding = limit(on_delay=100), limit(on_delay=100, adds_up=True)
    for alarm in (plain, adding):
        alarm.look(11, Instant(0))
        alarm.look(5, Instant(60))
        alarm.look(11, Instant(70))

    assert (plain.due, adding.due) == (170, 110)


def test_a_latched_alarm_stays_until_it_is_acknowledged():
    alarm = limit(latched=True)
    alarm.look(11, Instant(0))
    alarm.look(5, Instant(1))
    assert (alarm.standing, alarm.shown) == (False, True)

    alarm.acknowledge()

    assert not alarm.shown


def test_settings_that_contradict_or_are_unknown_are_refused():
    for settings, word in (
        ({"mistake": "edge-lat"}, "no mistake called 'edge-lat'"),
        ({"high-trip": "3700 mV"}, "high-trip must be below highest-trip"),
        ({"high-tripp": "3000 mV"}, "no setting is called 'high-tripp'"),
        ({"feed-red": "4 bar"}, "no setting is called 'feed-red'"),
    ):
        with pytest.raises(DescriptionError, match=word):
            SoftwareRack(told(settings), Instant(0))


@pytest.mark.parametrize("mistake", ["none", *MISTAKES])
def test_the_gauge_obeys_the_laws_of_machines(mistake):
    things = [
        (1 * MS, request(1, 9)),
        (700 * MS, request(2, 2, 3700)),
        (760 * MS, request(3, 2, 2000)),
        (790 * MS, request(4, 2, 3700)),
        (1000 * MS, request(5, 14, "mute")),
        (1900 * MS, request(6, 14, "not-a-number")),
        (2000 * MS, request(7, 3, "pressed")),
        (2100 * MS, request(8, 15, "restart")),
    ]

    obey(
        lambda: SoftwareRack(told({"mistake": mistake}), Instant(0)),
        things,
        3000 * MS,
        lambda rack: rack.nodes[NODE.address].model.values,
    )
