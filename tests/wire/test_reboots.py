"""A reboot, by whatever counter shows it."""

from decimal import Decimal

import pytest
from wire.racks import links, number, reading, sensor, signal_field

from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.core.observation import NodeNote, NodeTrouble
from hil.wire.layout import Codec
from hil.wire.link import Packet
from hil.wire.rack import Carries, Layout, Role
from hil.wire.track import Track

BOTH = reading(signal_field("t", "i16"), boots=True)
UPTIME = reading(signal_field("t", "i16"))
SEQUENCE = Layout(
    name="reading",
    role=Role.READING,
    fields=(
        number("node", "u8", Carries.NODE),
        number("sequence", "u16", Carries.SEQUENCE),
        signal_field("t", "i16"),
    ),
)
BOOTS = Layout(
    name="reading",
    role=Role.READING,
    fields=(
        number("node", "u8", Carries.NODE),
        number("boots", "u16", Carries.BOOTS),
        signal_field("t", "i16"),
    ),
)


def reboots(layout, *heard):
    """Return when reboots were noted, in ms, and how; heard are (ms, counters)."""
    node = sensor(layout)
    codec, machine = Codec(layout, node), links(node)
    found = []
    for at, counters in heard:
        octets = codec.encode({"t": Decimal(1)}, **counters)
        machine.receive(Packet("node", node.address, octets), Instant(at * MILLISECOND))
        found += [
            (seen.at // MILLISECOND, seen.text)
            for seen in machine.take_observations()
            if isinstance(seen, NodeNote) and seen.trouble is NodeTrouble.REBOOT
        ]
    return found


def life(sequence, seconds, boots=1):
    return {"sequence": sequence, "uptime": int(seconds * SECOND), "boots": boots}


def test_by_the_boot_count_though_readings_are_counted_on():
    """A node that keeps its count of readings over a restart."""
    counted = Layout(
        name="reading",
        role=Role.READING,
        fields=(number("sequence", "u16", Carries.SEQUENCE), *BOOTS.fields),
    )
    heard = [(100 * n, {"sequence": n, "boots": 4 + n // 3}) for n in range(5)]

    assert reboots(counted, *heard) == [(300, "boot count 5, was 4")]


def test_by_the_boot_count_alone():
    heard = [(0, {"boots": 4}), (100, {"boots": 4}), (200, {"boots": 5})]

    assert reboots(BOOTS, *heard) == [(200, "boot count 5, was 4")]


def test_by_an_uptime_that_goes_back():
    # the field report: 31 07 00 60 00 07 A1 20 …, and 1.2 s later 31 07 00 00 00 00 03 84 …
    heard = [(0, {"sequence": 0x60, "uptime": 500 * SECOND}), (1200, life(0, 0.9))]

    assert reboots(UPTIME, *heard) == [(1200, "up for 900 ms, was 500 s")]


def test_by_an_uptime_that_goes_back_although_the_boot_count_stays():
    """A node that forgets its boot count with the power."""
    heard = [(0, life(700, 500)), (100, life(701, 500.1)), (1300, life(0, 0.9))]

    assert reboots(BOTH, *heard) == [(1300, "up for 900 ms, was 500.1 s")]


def test_by_an_uptime_that_goes_back_although_readings_are_counted_on():
    heard = [(0, life(700, 500)), (100, life(701, 500.1)), (1300, life(702, 0.9))]

    assert reboots(BOTH, *heard) == [(1300, "up for 900 ms, was 500.1 s")]


def test_a_reading_that_was_overtaken_shows_no_reboot():
    heard = [(0, life(700, 500)), (100, life(702, 500.2)), (120, life(701, 500.1))]

    assert reboots(BOTH, *heard) == []


def test_an_uptime_that_wraps_shows_no_reboot():
    # a 32-bit count of milliseconds wraps after 49.7 days
    last = (1 << 32) / 1000 - 0.05
    heard = [(0, life(700, last)), (100, life(701, 0.05))]

    assert reboots(BOTH, *heard) == []


@pytest.mark.parametrize("first", [0, 1, 40])
def test_by_readings_that_count_from_the_beginning(first):
    heard = [(100 * n, {"sequence": 5000 + n}) for n in range(3)]
    heard += [(1000 + 100 * n, {"sequence": first + n}) for n in range(3)]

    assert reboots(SEQUENCE, *heard) == [(1000, f"readings count from {first} again, were at 5002")]


def test_by_readings_that_count_from_the_beginning_soon_after_it():
    heard = [(100 * n, {"sequence": n}) for n in range(20)]
    heard += [(3000 + 100 * n, {"sequence": n}) for n in range(5)]

    assert reboots(SEQUENCE, *heard) == [(3200, "readings count from 2 again, were at 19")]


def test_a_node_that_crashes_soon_after_its_boot_is_no_node_that_repeats_itself():
    """Within a second the uptime alone could be that of a reading that was overtaken."""
    heard = [(20 * n, life(n, 0.02 * n)) for n in range(25)]
    heard += [(500 + 20 * n, life(n, 0.02 * n)) for n in range(25)]

    assert reboots(UPTIME, *heard) == [(540, "readings count from 2 again, were at 24")]


def test_readings_that_count_from_elsewhere_while_the_clock_runs_on_show_none():
    heard = [(0, life(5000, 100)), (100, life(10, 100.1)), (200, life(11, 100.2))]

    assert reboots(UPTIME, *heard) == []


def test_the_reboot_lies_after_the_last_reading_of_the_life_before():
    codec, track = Codec(SEQUENCE, sensor(SEQUENCE)), Track()
    for at, sequence in ((0, 5), (100, 6), (900, 0), (1000, 1), (1100, 2)):
        octets = codec.encode({"t": Decimal(1)}, sequence=sequence)
        judged = track.judge(codec, codec.head(octets), Instant(at * MILLISECOND))

    assert (judged.reboot, judged.since) == (
        "readings count from 2 again, were at 6",
        Instant(100 * MILLISECOND),
    )


def test_readings_that_were_held_up_show_no_reboot():
    """Three of the first ones come at once, behind later ones that were quicker."""
    heard = [(100, life(3, 0.1)), (120, life(4, 0.12))]
    heard += [(130 + n, life(n, 0.02 * n)) for n in range(3)]

    assert reboots(UPTIME, *heard) == []


def test_readings_that_wrap_come_twice_or_late_show_no_reboot():
    wrap = [(100 * n, {"sequence": (65_530 + n) % 65_536}) for n in range(12)]
    twice = [(2000 + n, {"sequence": 3 + n}) for n in range(3)]
    lost = [(3000, {"sequence": 900}), (3001, {"sequence": 899}), (3002, {"sequence": 902})]

    assert reboots(SEQUENCE, *wrap, *twice, *lost) == []
