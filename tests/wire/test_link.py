"""The links: commands, answers, strays, readings, silence; all in virtual time."""

from dataclasses import replace
from decimal import Decimal

import pytest
from laws import obey
from wire.racks import (
    FEEDLINE,
    FEEDLINE_AT,
    LOUVRES,
    LOUVRES_AT,
    links,
    number,
    reading,
    sensor,
    signal_field,
)

from hil.core.errand import Inquiry
from hil.core.instant import MICROSECOND, MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Exchanged,
    NodeNote,
    NodeTrouble,
    Purpose,
    Samples,
)
from hil.core.signal import Drive, Signal, Validity
from hil.core.signal import Kind as SignalKind
from hil.wire.layout import Codec
from hil.wire.link import Links, Packet
from hil.wire.rack import Address, Carries, Encoding, Field, Identity, Layout, Role

QUIET = replace(LOUVRES, poll=None)
ANGLE = Codec(LOUVRES.layouts[2], LOUVRES)
ANSWERS = Codec(LOUVRES.layouts[1], LOUVRES)
STATE = Codec(FEEDLINE.layouts[2], FEEDLINE)


def ms(count):
    return Instant(count * MILLISECOND)


def command(token=1, signal="louvres.angle", value="90"):
    return Command(token=token, signal=signal, value=Decimal(value), purpose=Purpose.STIMULUS)


def hear(machine, node, octets, at, peer=None):
    octets = bytes.fromhex(octets) if isinstance(octets, str) else octets
    peer = peer or (FEEDLINE_AT if node in ("feedline", "node") else LOUVRES_AT)
    machine.receive(Packet(node, peer, octets), at)
    return machine.take_observations()


def send(machine, at, *, token=1, value="90"):
    """Execute a command that leaves at once."""
    machine.execute(command(token, value=value), at)
    (packet,) = machine.take_sends()
    machine.sent(packet, at)
    return packet


def notes(observations):
    return [(seen.trouble, seen.text) for seen in observations if isinstance(seen, NodeNote)]


def samples(observations):
    return [s for seen in observations if isinstance(seen, Samples) for s in seen.samples]


def test_old_answer_is_a_stray_and_the_right_one_is_used():
    machine = links(QUIET, first_request=0x41)

    packet = send(machine, ms(0))
    stray = hear(machine, "louvres", "22 11 00 40 02 00 01 C2 7C D5", ms(2))
    answer = hear(machine, "louvres", "22 11 00 41 02 00 03 84 98 E4", ms(8))

    assert packet.payload == bytes.fromhex("21 11 00 41 02 03 84 8A 6A")
    assert stray[0] == CommandSent(token=1, at=ms(0), raw=packet.payload)
    assert notes(stray) == [(NodeTrouble.STRAY, "answer to request 0x0040, which is not open")]
    raw = bytes.fromhex("22 11 00 41 02 00 03 84 98 E4")
    assert answer == [
        CommandAnswered(token=1, at=ms(8), accepted=True, detail="answered 90.0 deg", raw=raw)
    ]


def test_late_answer_is_a_stray_and_a_second_one_a_duplicate():
    machine = links(QUIET)
    first = send(machine, ms(0))
    machine.tick(ms(60))
    machine.take_observations()
    second = send(machine, ms(60), token=2)

    late = hear(machine, "louvres", answer(1), ms(61))
    right = hear(machine, "louvres", answer(2), ms(62))
    again = hear(machine, "louvres", answer(2), ms(63))

    assert first.payload != second.payload
    assert notes(late) == [
        (
            NodeTrouble.STRAY,
            "late answer to request 0x0001, which was given up, 61 ms after it was asked",
        )
    ]
    assert [seen.token for seen in right if isinstance(seen, CommandAnswered)] == [2]
    assert notes(again) == [(NodeTrouble.DUPLICATE, "second answer to request 0x0002")]


def test_what_was_not_answered_takes_nothing_with_it_that_has_not_left():
    machine = links(QUIET)
    send(machine, ms(0))
    machine.execute(command(2), ms(0))
    (packet,) = machine.take_sends()
    machine.tick(ms(60))
    lost = [seen.token for seen in machine.take_observations() if isinstance(seen, CommandLost)]
    machine.sent(packet, ms(70))

    (_, answered) = hear(machine, "louvres", answer(2), ms(80))

    assert lost == [1]
    assert isinstance(answered, CommandAnswered)


def test_a_request_that_leaves_late_has_its_whole_time_to_be_answered():
    """This computer was stopped between wanting to send it and sending it."""
    machine = links(QUIET)
    machine.execute(command(), ms(0))
    (packet,) = machine.take_sends()
    machine.tick(ms(500))
    assert machine.take_observations() == []
    machine.sent(packet, ms(1000))

    (_, answered) = hear(machine, "louvres", answer(1), ms(1049))

    assert isinstance(answered, CommandAnswered)


def test_an_answer_with_the_nodes_time_is_an_exchange_from_its_leaving_to_its_arrival():
    stamp = number("uptime", "u16", Carries.UPTIME, tick=Duration(10 * MILLISECOND))
    *head, last = LOUVRES.layouts[1].fields
    stamped = replace(LOUVRES.layouts[1], fields=(*head, stamp, last))
    node = replace(QUIET, layouts=(LOUVRES.layouts[0], stamped, LOUVRES.layouts[2]))
    machine = links(node)
    send(machine, ms(3))
    octets = Codec(stamped, node).encode(request=1, operation=2, value=90, uptime=ms(1234))
    exchanges = [one for one in hear(machine, "louvres", octets, ms(9)) if type(one) is Exchanged]

    span = 0x10000 * 10 * MILLISECOND
    assert exchanges == [
        Exchanged(node="louvres", sent=ms(3), at=ms(9), stamp=ms(1230), span=span, tick=ms(10))
    ]


def test_a_reading_that_was_asked_for_is_an_exchange_and_one_unasked_is_none():
    machine = links(replace(FEEDLINE, poll=Duration(SECOND), listen=None, renew=None))
    machine.tick(ms(0))
    for packet in machine.take_sends():
        machine.sent(packet, ms(1))
    asked = hear(machine, "feedline", state(1, uptime=10), ms(4))
    unasked = hear(machine, "feedline", state(2, uptime=11), ms(5))

    (exchange,) = [one for one in asked if isinstance(one, Exchanged)]
    assert (exchange.sent, exchange.at) == (ms(1), ms(4))
    assert not [one for one in unasked if isinstance(one, Exchanged)]


def test_a_reading_behind_a_request_that_was_given_up_is_no_exchange_for_a_while():
    # it may be the late one, taken for the answer to the next request, before which it left
    node = replace(FEEDLINE, poll=Duration(60 * MILLISECOND), listen=None, renew=None)
    machine = links(node)
    told = {}
    for count in range(12):
        now = ms(60 * count)
        machine.tick(now)
        for packet in machine.take_sends():
            machine.sent(packet, now)
        if count:  # the first is not answered in time
            heard = hear(machine, "feedline", state(count, uptime=60 * count), Instant(now + ms(2)))
            told[count] = any(isinstance(one, Exchanged) for one in heard)

    assert node.answer_within == ms(50)
    assert not any(told[count] for count in (1, 2, 3, 4))  # up to 250 ms after it
    assert all(told[count] for count in (5, 6, 11))


def test_a_reading_of_a_node_that_speaks_unasked_is_no_exchange():
    # it may have left before the question came
    machine = links(replace(FEEDLINE, poll=Duration(SECOND)))
    machine.tick(ms(0))
    for packet in machine.take_sends():
        machine.sent(packet, ms(1))

    assert not [
        one for one in hear(machine, "feedline", state(1), ms(4)) if isinstance(one, Exchanged)
    ]


def answer(request, status=0, value="90", operation=2):
    return ANSWERS.encode(request=request, operation=operation, status=status, value=Decimal(value))


def test_answer_about_another_operation_is_not_used():
    machine = links(QUIET)
    send(machine, ms(0))

    seen = hear(machine, "louvres", ANSWERS.encode(request=1, operation=3), ms(5))

    assert notes(seen) == [
        (NodeTrouble.STRAY, "answer to request 0x0001 is about operation 3, asked was 2")
    ]
    assert not any(isinstance(one, CommandAnswered) for one in seen)


def test_refusal_tells_the_status_in_the_layouts_words():
    machine = links(QUIET)
    send(machine, ms(0))

    seen = hear(machine, "louvres", answer(1, status=3), ms(5))

    assert (seen[-1].accepted, seen[-1].detail) == (False, "out of range (status 3)")


def test_answer_with_another_value_is_told():
    machine = links(QUIET)
    send(machine, ms(0))

    seen = hear(machine, "louvres", answer(1, value="85.5"), ms(5))

    assert (seen[-1].accepted, seen[-1].detail) == (True, "answered 85.5 deg, asked for 90 deg")


def test_a_node_that_may_answer_from_anywhere_of_its_own_is_used_and_told_once():
    machine = links(replace(QUIET, any_source=True))
    elsewhere = Address("127.0.0.2", 47802)
    send(machine, ms(0))
    first = hear(machine, "louvres", answer(1), ms(5), peer=elsewhere)
    send(machine, ms(10), token=2)
    second = hear(machine, "louvres", answer(2), ms(15), peer=elsewhere)
    stray = hear(machine, "louvres", b"?", ms(16), peer=elsewhere)
    third = hear(machine, "louvres", answer(9), ms(17), peer=Address("127.0.0.3", 47802))

    assert notes(first) == [
        (
            NodeTrouble.ANY_SOURCE,
            "answered from 127.0.0.2:47802, asked at 127.0.0.1:47802; it counts (any-source)",
        )
    ]
    assert [type(one) for one in first] == [CommandSent, NodeNote, CommandAnswered]
    assert [type(one) for one in second] == [CommandSent, CommandAnswered]
    for unasked in (stray, third):
        ((trouble, text),) = notes(unasked)
        assert trouble is NodeTrouble.FOREIGN
        assert text.startswith("datagram from 127.0.0.")


def test_answer_from_another_address_is_told_and_not_used():
    machine = links(QUIET)
    send(machine, ms(0))
    elsewhere = Address("127.0.0.2", 47802)

    seen = hear(machine, "louvres", answer(1), ms(5), peer=elsewhere)
    other = hear(machine, "louvres", b"?", ms(6), peer=elsewhere)

    assert notes(seen) == [
        (NodeTrouble.FOREIGN, "answered from 127.0.0.2:47802, asked at 127.0.0.1:47802")
    ]
    assert notes(other) == [
        (NodeTrouble.FOREIGN, "datagram from 127.0.0.2:47802, louvres is at 127.0.0.1:47802")
    ]
    machine.tick(ms(51))
    assert [type(one) for one in machine.take_observations()] == [CommandLost]


def test_answer_exactly_at_the_answer_time_counts():
    machine = links(QUIET)
    send(machine, ms(0))

    assert machine.next_wakeup() == ms(50) + 1
    machine.tick(ms(50))
    assert [type(s) for s in hear(machine, "louvres", answer(1), ms(50))][-1] is CommandAnswered


def test_no_answer_is_a_lost_command_one_nanosecond_later():
    machine = links(QUIET)
    send(machine, ms(0))
    machine.take_observations()

    machine.tick(ms(50) + 1)

    assert machine.take_observations() == [
        CommandLost(token=1, at=ms(50) + 1, detail="no answer within 50 ms")
    ]
    assert machine.next_wakeup() is None


def test_answer_time_counts_from_when_the_packet_left():
    machine = links(QUIET)
    machine.execute(command(), ms(0))
    (packet,) = machine.take_sends()

    machine.sent(packet, ms(7))

    assert machine.next_wakeup() == ms(57) + 1


def test_answer_after_an_unticked_deadline_is_late():
    machine = links(QUIET)
    send(machine, ms(0))

    seen = hear(machine, "louvres", answer(1), ms(80))

    assert [type(one) for one in seen] == [CommandSent, CommandLost, NodeNote]
    assert seen[1].at == ms(50) + 1


@pytest.mark.parametrize(
    ("signal", "value", "why"),
    [
        ("louvres.angle", "12.34", "angle: 12.34 falls between two counts, 12.3 and 12.4"),
        ("louvres.none", "1", "there is no signal louvres.none"),
        ("feedline.temperature", "1", "feedline.temperature cannot be driven"),
    ],
)
def test_command_that_cannot_be_sent_is_lost_at_once(signal, value, why):
    machine = links()

    machine.execute(command(signal=signal, value=value), ms(3))

    assert machine.take_observations() == [CommandLost(token=1, at=ms(3), detail=why)]
    assert [packet for packet in machine.take_sends() if packet.token is not None] == []


def test_text_goes_through_the_request_whose_value_is_text():
    caption = Signal(
        node="louvres", name="caption", kind=SignalKind.TEXT, drive=Drive(safe="", rest="")
    )
    text = Layout(
        name="text-request",
        role=Role.REQUEST,
        fields=(
            number("request", "u16", Carries.REQUEST),
            number("operation", "u8", Carries.OPERATION),
            Field(name="text", form="text", size=6, carries=Carries.VALUE),
        ),
    )
    node = replace(
        QUIET,
        signals=(*QUIET.signals, caption),
        encodings={**QUIET.encodings, "caption": Encoding()},
        layouts=(*QUIET.layouts, text),
        operations={"angle": 2, "caption": 5},
    )
    machine = links(node)
    words = Command(token=1, signal="louvres.caption", value="5 °C", purpose=Purpose.STIMULUS)

    machine.execute(words, ms(0))
    machine.execute(command(2), ms(0))

    sent = [packet.payload for packet in machine.take_sends()]
    assert sent[0] == b"\x00\x01\x05" + "5 °C".encode() + b"\0"
    assert len(sent[1]) == 9


def test_closed_port_loses_the_commands_of_that_node_at_once():
    machine = links(FEEDLINE, QUIET)
    machine.tick(ms(0))
    machine.take_sends()
    send(machine, ms(1))
    machine.execute(command(2, "feedline.pressure", "4.8"), ms(1))
    machine.take_observations()

    machine.refused("louvres", ms(2), "connection refused")
    machine.refused("louvres", ms(3), "connection refused")
    seen = machine.take_observations()

    assert notes(seen) == [(NodeTrouble.UNREACHABLE, "connection refused")]
    assert seen[1:] == [CommandLost(token=1, at=ms(2), detail="connection refused")]
    answered = Codec(FEEDLINE.layouts[1], FEEDLINE).encode(
        request=3, operation=2, value=Decimal("4.8")
    )
    assert hear(machine, "feedline", answered, ms(4))[0].accepted


def test_request_numbers_wrap_and_never_take_an_open_one():
    layout = replace(
        LOUVRES.layouts[0],
        fields=tuple(
            replace(field, form="u8", size=1) if field.name == "request" else field
            for field in LOUVRES.layouts[0].fields
        ),
    )
    node = replace(QUIET, layouts=(layout, *QUIET.layouts[1:]), answer_within=Duration(SECOND))
    machine = links(node, first_request=254)

    for token in range(256):
        machine.execute(command(token), ms(token))
    packets = machine.take_sends()
    machine.execute(command(256), ms(256))

    assert sorted(packet.payload[2] for packet in packets) == list(range(256))
    assert [packet.payload[2] for packet in packets[:3]] == [254, 255, 0]
    assert machine.take_observations()[-1].detail == (
        "every request number is still waiting for its answer"
    )


def test_listening_is_asked_for_at_start_and_renewed():
    machine = links(FEEDLINE)

    asked = []
    for at in (0, 1999, 2000, 4000):
        machine.tick(ms(at))
        asked += [(at, packet.payload[4]) for packet in machine.take_sends()]

    assert asked == [(0, 9), (2000, 9), (4000, 9)]


def test_polling_keeps_its_rhythm_after_a_late_tick():
    machine = links(LOUVRES)
    machine.tick(ms(0))

    machine.tick(ms(130))

    assert [packet.payload[4] for packet in machine.take_sends()] == [1, 1]
    machine.tick(ms(149))
    assert machine.take_sends() == ()
    machine.tick(ms(150))
    assert len(machine.take_sends()) == 1


def test_polled_sample_was_so_between_the_request_and_its_arrival():
    machine = links(LOUVRES)
    machine.tick(ms(0))
    (packet,) = machine.take_sends()
    machine.sent(packet, Instant(20_000))

    first = hear(machine, "louvres", ANGLE.encode({"angle": Decimal(1)}), ms(4))
    unasked = hear(machine, "louvres", ANGLE.encode({"angle": Decimal(1)}, sequence=1), ms(9))

    assert (20_000, ms(4)) == (samples(first)[0].since, samples(first)[0].at)
    assert (ms(9), ms(9)) == (samples(unasked)[0].since, samples(unasked)[0].at)


def state(sequence=0, uptime=600_000, boots=1, temperature="21.3", **more):
    values = {
        "pressure": Decimal("4.80"),
        "temperature": Decimal(temperature),
        "pump": "on",
        "firmware": "1.4",
    }
    return STATE.encode(values | more, sequence=sequence, uptime=uptime * MILLISECOND, boots=boots)


def test_reading_becomes_one_sample_for_each_signal_with_its_octets():
    machine = links(FEEDLINE)

    (seen,) = hear(machine, "feedline", state(), ms(5))

    assert [(s.signal, s.value, s.validity) for s in seen.samples] == [
        ("feedline.pressure", Decimal("4.80"), Validity.VALID),
        ("feedline.temperature", Decimal("21.3"), Validity.VALID),
        ("feedline.pump", "on", Validity.VALID),
    ]
    assert all(s.raw == state() and s.since == s.at == ms(5) for s in seen.samples)


def test_reading_sent_twice_is_one_reading_and_one_duplicate():
    machine = links(FEEDLINE)

    first = hear(machine, "feedline", state(sequence=1), ms(0))
    twice = hear(machine, "feedline", state(sequence=1), ms(3))
    reboot = hear(machine, "feedline", state(sequence=1, boots=2, uptime=900), ms(20_000))

    assert len(samples(first)) == 3
    assert samples(twice) == []
    assert notes(twice) == [(NodeTrouble.DUPLICATE, "reading 1 came twice")]
    assert (NodeTrouble.REBOOT, "boot count 2, was 1") in notes(reboot)
    assert [ms(3)] == [s.since for s in reboot if getattr(s, "trouble", None) is NodeTrouble.REBOOT]
    assert len([s for s in samples(reboot) if s.signal == "feedline.pressure"]) >= 1


def test_lost_readings_are_counted_and_late_ones_not_used():
    machine = links(FEEDLINE)

    for sequence in (65_534, 65_535, 3):
        hear(machine, "feedline", state(sequence), ms(sequence % 7))
    assert machine.lost("feedline") == 3
    late = hear(machine, "feedline", state(1), ms(10))

    assert notes(late) == [(NodeTrouble.STRAY, "reading 1 came after a newer one")]
    assert samples(late) == []
    assert machine.lost("feedline") == 2
    assert notes(hear(machine, "feedline", state(1), ms(11)))[0][0] is NodeTrouble.DUPLICATE


def test_reboot_asks_to_be_listened_to_again_at_once():
    machine = links(FEEDLINE)
    machine.tick(ms(0))
    machine.take_sends()

    hear(machine, "feedline", state(1), ms(100))
    hear(machine, "feedline", state(0, uptime=10, boots=2), ms(300))

    assert machine.next_wakeup() == ms(300) + 1
    machine.tick(ms(300) + 1)
    assert [packet.payload[4] for packet in machine.take_sends()] == [9]


WRAP = "31 03 00 30 FF FF FF 00 00 D7 A9 07", "31 03 00 31 00 00 01 00 00 D7 22 61"
THIRD = replace(
    sensor(reading(signal_field("t", "i16"))), name="node", number=3, address=FEEDLINE_AT
)


def test_uptime_that_wraps_is_no_reboot():
    machine = links(THIRD)

    hear(machine, "node", WRAP[0], ms(1000))
    seen = hear(machine, "node", WRAP[1], ms(1512))

    assert notes(seen) == []
    assert samples(seen)[0].value == Decimal("21.5")


def test_uptime_that_falls_without_a_wrap_is_a_reboot():
    node = replace(sensor(reading(signal_field("t", "f32")), node=7), name="node")
    machine = links(node)

    hear(machine, "node", "31 07 00 60 00 07 A1 20 42 CA 99 9A 58 DE", ms(0))
    seen = hear(machine, "node", "31 07 00 00 00 00 03 84 42 CA 99 9A 70 B5", ms(1200))

    assert notes(seen) == [(NodeTrouble.REBOOT, "up for 900 ms, was 500 s")]


def test_long_silence_and_a_short_uptime_is_a_reboot():
    codec = Codec(THIRD.layouts[0], THIRD)
    machine = links(THIRD)

    hear(machine, "node", codec.encode({"t": Decimal(1)}, uptime=SECOND), ms(0))
    frame = codec.encode({"t": Decimal(1)}, sequence=9, uptime=Duration(4 * SECOND))
    seen = hear(machine, "node", frame, ms(60_000))

    assert notes(seen) == [(NodeTrouble.REBOOT, "up for 4 s, was 1 s")]


def test_wrap_of_a_long_uptime_needs_the_time_to_have_passed():
    machine = links(THIRD)

    hear(machine, "node", WRAP[0], ms(0))
    seen = hear(machine, "node", WRAP[1], ms(60_000))

    assert notes(seen)[0][0] is NodeTrouble.REBOOT


# 2**32 µs are 71 min 34.97 s.
def test_microsecond_uptime_wraps_in_a_soak_run_without_a_reboot():
    layout = reading(signal_field("t", "i16"), tick=MICROSECOND)
    node = sensor(layout)
    codec = Codec(layout, node)
    machine = links(node)

    found = []
    for second in range(0, 2 * 4295, 5):
        at = Instant(second * SECOND)
        frame = codec.encode({"t": Decimal(1)}, sequence=second // 5, uptime=at)
        found += notes(hear(machine, "node", frame, at))

    assert found == []


def test_same_uptimes_with_a_higher_boot_count_are_a_reboot():
    layout = reading(signal_field("t", "i16"), boots=True)
    node = sensor(layout)
    codec = Codec(layout, node)
    machine = links(node)

    value = {"t": Decimal("21.5")}
    first = codec.encode(value, sequence=0x30, uptime=0xFFFFFF00 * MILLISECOND, boots=4)
    second = codec.encode(value, sequence=0x31, uptime=0x100 * MILLISECOND, boots=5)
    hear(machine, "node", first, ms(0))
    seen = hear(machine, "node", second, ms(512))

    assert notes(seen) == [(NodeTrouble.REBOOT, "boot count 5, was 4")]


def warm(readings):
    """Return how the temperature samples of (arrival, uptime, value) readings count, in ms."""
    machine = links(FEEDLINE)
    found = []
    for at, uptime, value in readings:
        frame = state(sequence=at // 100, uptime=uptime, temperature=value)
        found += samples(hear(machine, "feedline", frame, ms(at)))
    return [(s.validity, s.note) for s in found if s.signal == "feedline.temperature"]


def test_power_on_default_within_the_warm_up_does_not_count():
    got = warm([(100, 100, "85.0"), (1100, 1100, "21.3"), (2100, 2100, "21.4")])

    assert got == [(Validity.STALE, "warming up"), (Validity.VALID, ""), (Validity.VALID, "")]


def test_same_value_long_after_the_boot_is_a_real_one():
    assert warm([(0, 600_000, "85.0")]) == [(Validity.VALID, "")]


def test_only_the_signal_that_warms_up_is_held_back():
    machine = links(FEEDLINE)

    seen = samples(hear(machine, "feedline", state(uptime=100), ms(100)))

    assert [s.validity for s in seen] == [Validity.VALID, Validity.STALE, Validity.VALID]


def test_silence_makes_a_value_stale_once_and_exactly_in_time():
    machine = links(replace(FEEDLINE, listen=None))
    hear(machine, "feedline", state(0), ms(10))
    hear(machine, "feedline", state(1), ms(510))

    assert machine.next_wakeup() == ms(1010)
    machine.tick(ms(1009))
    assert machine.take_observations() == []
    machine.tick(ms(1010))
    (stale,) = samples(machine.take_observations())

    assert ("feedline.pressure", Validity.STALE, ms(1010)) == (
        stale.signal,
        stale.validity,
        stale.at,
    )
    assert stale.note == "nothing for 500 ms"
    assert machine.next_wakeup() is None


def test_reading_of_another_node_is_not_used():
    machine = links(THIRD)

    seen = hear(machine, "node", "31 07 00 10 00 01 8B E5 00 D7 15 CA", ms(0))
    octets = Codec(THIRD.layouts[0], THIRD).encode({"t": Decimal(1)}, node=7)
    other = hear(machine, "node", octets, ms(1))

    assert notes(seen)[0][0] is NodeTrouble.GARBLED
    assert notes(other) == [(NodeTrouble.IDENTITY, "says it is node 7; node is 3")]


def test_garbled_datagram_is_noted_with_its_diagnosis_and_octets():
    machine = links(THIRD)
    octets = bytes.fromhex("31 03 00 10 00 01 8B E5 FF 33 FF 99")

    (note,) = hear(machine, "node", octets, ms(0))

    assert note == NodeNote(
        node="node",
        trouble=NodeTrouble.GARBLED,
        at=ms(0),
        text="CRC wrong; fits start value 0000",
        raw=octets,
    )


def test_appended_octets_are_noted_on_the_samples():
    layout = reading(signal_field("t", "i16"), append=True)
    machine = links(sensor(layout))
    octets = "31 03 00 10 00 01 8B E5 00 D7 A0 F5 00 00 00 00 00 00"

    (sample,) = samples(hear(machine, "node", octets, ms(0)))

    assert sample.value == Decimal("21.5")
    assert sample.note == "6 octets more than the layout, not looked at"


@pytest.mark.parametrize(
    ("got", "wanted", "told"),
    [("1.1", "1.10", True), ("1.10", "1.10", False), ("1.9", ">= 1.10", True)],
)
def test_firmware_is_compared_part_by_part_and_told_once(got, wanted, told):
    longer = tuple(
        replace(field, size=8) if field.name == "firmware" else field
        for field in FEEDLINE.layouts[2].fields
    )
    layout = replace(FEEDLINE.layouts[2], fields=longer)
    node = replace(FEEDLINE, identity=Identity(firmware=wanted), layouts=(layout,), listen=None)
    codec = Codec(layout, node)
    machine = links(node)
    values = {"pressure": Decimal(1), "temperature": Decimal(1), "pump": "on", "firmware": got}

    found = []
    for at in range(3):
        frame = codec.encode(values, sequence=at, boots=1, uptime=ms(at))
        found += notes(hear(machine, "feedline", frame, ms(at)))

    text = f"firmware is {got}, wanted {wanted}"
    assert found == ([(NodeTrouble.IDENTITY, text)] if told else [])


def test_serial_number_that_differs_is_told():
    layout = reading(signal_field("t", "i16"), number("serial", "u16"))
    node = replace(sensor(layout), identity=Identity(serial="4711"))
    codec = Codec(layout, node)

    right = hear(links(node), "node", codec.encode({"t": Decimal(1), "serial": Decimal(4711)}), 0)
    wrong = hear(links(node), "node", codec.encode({"t": Decimal(1), "serial": Decimal(12)}), 0)

    assert notes(right) == []
    assert notes(wrong) == [(NodeTrouble.IDENTITY, "serial is 12, wanted 4711")]


def test_a_lost_request_for_a_reading_dates_no_later_one():
    """What comes by itself after it shows the moment of its arrival."""
    machine = links(replace(LOUVRES, poll=None, listen=9, renew=SECOND))
    machine.execute(Inquiry(node="louvres"), ms(0))
    (packet,) = [p for p in machine.take_sends() if p.payload[4] == LOUVRES.read]
    machine.sent(packet, ms(0))
    machine.tick(Instant(50 * MILLISECOND + 1))
    (sample,) = samples(hear(machine, "louvres", ANGLE.encode({"angle": Decimal(0)}), ms(60)))

    assert sample.since == ms(60)


def test_refused_listening_is_noted():
    machine = links(FEEDLINE)
    machine.tick(ms(0))
    (packet,) = machine.take_sends()
    machine.sent(packet, ms(0))

    refusal = Codec(FEEDLINE.layouts[1], FEEDLINE).encode(request=1, operation=9, status=3)

    assert notes(hear(machine, "feedline", refusal, ms(1))) == [
        (NodeTrouble.REFUSED, "operation 9 refused: out of range (status 3)")
    ]


def test_datagram_for_an_unknown_node_is_noted():
    machine = links()

    (note,) = hear(machine, "nobody", b"\x31", ms(0))

    assert (note.node, note.trouble) == ("nobody", NodeTrouble.FOREIGN)


def test_links_obey_the_laws_of_machines():
    things = [
        (at, Packet("feedline", FEEDLINE_AT, state(at // 40_000_000, uptime=at // 1_000_000)))
        for at in range(0, 400_000_000, 40_000_000)
    ]
    things += [
        (ms(90), Packet("louvres", LOUVRES_AT, ANGLE.encode({"angle": Decimal(3)}))),
        (ms(95), Packet("louvres", LOUVRES_AT, b"garbled")),
        (ms(99), Packet("louvres", FEEDLINE_AT, answer(1))),
    ]

    heard = {}

    def observed(machine):
        heard.setdefault(id(machine), []).extend(machine.take_observations())
        return heard[id(machine)], machine.next_wakeup()

    obey(_commanded, sorted(things, key=lambda thing: thing[0]), 3 * SECOND, observed)
    assert len(next(iter(heard.values()))) > len(things)


def _commanded() -> Links:
    machine = links()
    machine.execute(command(), ms(0))
    return machine
