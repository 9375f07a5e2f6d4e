"""The links to a CoAP node: commands, observation, polls, identity, reboots, silence."""

from dataclasses import replace
from decimal import Decimal

import pytest
from wire.coap_talk.coap_racks import (
    BED_AT,
    BOOTS,
    LAMP_TEXT,
    SERIAL,
    SOIL_TEXT,
    STRANGER,
    Hand,
    by_path,
    command,
    ms,
    node,
    observe,
    path,
    rack,
    seconds,
)

from hil.core.errand import Inquiry
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import (
    CommandAnswered,
    CommandLost,
    CommandSent,
    Confirmed,
    Samples,
    Unconfirmed,
)
from hil.core.signal import Validity
from hil.wire.coap.code import Code
from hil.wire.coap.description import Format
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option
from hil.wire.link import Links, Packet
from hil.wire.rack import Address


def observed():
    """Return the hand of an observed node that has been registered with at 1 ms."""
    hand = Hand(node(SOIL_TEXT))
    (registration,) = hand.tick(ms(0))
    assert (path(registration), observe(registration)) == ("soil", 0)
    hand.hear(hand.reply(registration, "21.0", observe=5), ms(1))
    return hand, registration


# --- commands --------------------------------------------------------------------------------------


def test_a_command_is_a_put_and_its_answer_ends_it():
    hand = Hand(node())
    hand.links.execute(command(), ms(10))
    (put,) = hand.sent(ms(10))
    hand.hear(hand.reply(put, code=Code.CHANGED), ms(14))
    sent, answered = hand.fates()

    assert (put.type, put.code, path(put), put.payload) == (
        Type.CONFIRMABLE,
        Code.PUT,
        "soil",
        b"23.5",
    )
    assert (Option.CONTENT_FORMAT, b"") in put.options
    assert sent == CommandSent(token=1, at=ms(10), raw=encode(put))
    assert (answered.accepted, answered.at, answered.detail) == (True, ms(14), "2.04 Changed")
    assert answered.raw[:1] == b"\x64"


def test_time_counts_from_the_first_transmission_and_the_answer_says_how_many_there_were():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    (first,) = hand.sent(ms(0))
    again = hand.tick(ms(490))
    hand.hear(hand.reply(first, code=Code.CHANGED), ms(500))
    sent, answered = hand.fates()

    assert again == [first, first]  # after 100 to 150 ms, and twice that later (RFC 7252 §4.2)
    assert sent.at == ms(0)
    assert answered.at == ms(500)
    assert answered.detail == "2.04 Changed after 3 transmissions"


def test_a_command_without_an_answer_is_lost_one_nanosecond_after_its_time():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    hand.sent(ms(0))
    hand.tick(seconds(1))
    early = hand.fates()
    hand.tick(Instant(SECOND + 1))
    (lost,) = hand.fates()

    assert [type(one) for one in early] == [CommandSent]
    assert isinstance(lost, CommandLost)
    assert lost.at == SECOND + 1
    assert lost.detail == "no answer to 4 transmissions"


def test_a_refusal_says_what_the_node_says():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    (put,) = hand.sent(ms(0))
    hand.hear(hand.reply(put, "too hot", code=Code.BAD_REQUEST), ms(3))
    _, answered = hand.fates()

    assert not answered.accepted
    assert answered.detail == "4.00 Bad Request: too hot"


def test_a_separate_answer_is_acknowledged_and_counts():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    (put,) = hand.sent(ms(0))
    hand.hear(Message(Type.ACKNOWLEDGEMENT, Code.EMPTY, put.message_id), ms(2))
    (ack,) = hand.hear(Message(Type.CONFIRMABLE, Code.CHANGED, 0x7701, put.token), ms(300))
    answered = hand.fates()[-1]

    assert (ack.type, ack.code, ack.message_id) == (Type.ACKNOWLEDGEMENT, 0, 0x7701)
    assert (answered.accepted, answered.at) == (True, ms(300))


def test_a_foreign_token_is_a_stray_and_never_used():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    (put,) = hand.sent(ms(0))
    wrong = bytes((put.token[0] ^ 1, *put.token[1:]))
    hand.hear(replace(hand.reply(put, code=Code.CHANGED), token=wrong), ms(2))
    seen = hand.take()

    assert not [one for one in seen if isinstance(one, CommandAnswered)]
    assert len([one for one in seen if getattr(one, "trouble", None)]) == 1


def test_two_commands_get_their_own_answers_whatever_the_order():
    hand = Hand(node())
    hand.links.execute(command(1, value=Decimal(1)), ms(0))
    hand.links.execute(command(2, value=Decimal(2)), ms(0))
    first, second = hand.sent(ms(0))
    hand.hear(hand.reply(second, "no", code=Code.BAD_REQUEST), ms(2))
    hand.hear(hand.reply(first, code=Code.CHANGED), ms(3))
    answers = [one for one in hand.fates() if isinstance(one, CommandAnswered)]

    assert [(one.token, one.accepted) for one in answers] == [(2, False), (1, True)]


def test_an_answer_from_another_address_is_told_with_both_and_not_used():
    hand = Hand(node())
    hand.links.execute(command(), ms(0))
    (put,) = hand.sent(ms(0))
    hand.hear(hand.reply(put, code=Code.CHANGED), ms(2), peer=STRANGER)
    told = hand.notes()
    hand.hear(b"\x31\x01", ms(3), peer=STRANGER)

    assert told == [("answer from another address", f"answered from {STRANGER}, asked at {BED_AT}")]
    assert hand.notes() == [
        ("answer from another address", f"datagram from {STRANGER}, bed is at {BED_AT}")
    ]


def test_a_closed_port_ends_what_is_open_and_is_told_once():
    hand = Hand(node(SOIL_TEXT))
    hand.tick(ms(0))
    hand.links.execute(command(), ms(10))
    hand.sent(ms(10))
    hand.links.refused("bed", ms(11), "port closed")
    hand.links.refused("bed", ms(12), "port closed")
    seen = hand.take()

    assert [one.detail for one in seen if isinstance(one, CommandLost)] == ["port closed"]
    assert len([one for one in seen if getattr(one, "trouble", None)]) == 1


def test_what_cannot_be_driven_or_written_is_lost_at_once():
    hand = Hand(replace(node(), coap=replace(node().coap, targets={})))
    hand.links.execute(command(), ms(0))
    (lost,) = hand.fates()

    assert lost.detail == "bed.soil cannot be driven"


# --- observation -------------------------------------------------------------------------------------


def test_a_registration_shows_a_moment_since_it_left_and_a_notification_its_arrival():
    hand, registration = observed()
    asked = hand.samples()
    hand.hear(hand.notify(registration, "22.5", 6), ms(40))

    assert asked == [("bed.soil", Decimal("21.0"), ms(0), ms(1))]
    assert hand.samples() == [("bed.soil", Decimal("22.5"), ms(40), ms(40))]


def test_a_confirmable_notification_is_acknowledged():
    hand, registration = observed()
    (ack,) = hand.hear(hand.notify(registration, "22", 6, confirmable=True), ms(40))

    assert (ack.type, ack.code) == (Type.ACKNOWLEDGEMENT, Code.EMPTY)


def test_numbers_of_notifications_go_round():
    hand, registration = observed()
    hand.hear(hand.notify(registration, "0", 0xFFFFFE), ms(2))  # far ahead counts as older
    hand, registration = observed_from(0xFFFFFD)
    for at, number in enumerate((0xFFFFFE, 0xFFFFFF, 0, 1)):
        hand.hear(hand.notify(registration, str(at), number), ms(100 + at))

    assert [value for _, value, _, _ in hand.samples()][1:] == [Decimal(at) for at in range(4)]
    assert hand.notes() == []


def observed_from(number, renew=300):
    hand = Hand(node(SOIL_TEXT, renew=Duration(renew * SECOND)))
    (registration,) = hand.tick(ms(0))
    hand.hear(hand.reply(registration, "21.0", observe=number), ms(1))
    return hand, registration


def test_an_old_notification_is_dropped_and_told_and_a_wrap_is_suspected():
    hand, registration = observed_from(253)
    hand.hear(hand.notify(registration, "1", 254), ms(10))
    hand.samples()
    hand.hear(hand.notify(registration, "2", 6), seconds(55))
    dropped = hand.take()
    hand.hear(hand.notify(registration, "3", 7), seconds(139))

    told = next(one.text for one in dropped if hasattr(one, "text"))
    assert "does the node wrap at 8 bits?" in told
    assert all(one.samples[0].value is None for one in dropped if isinstance(one, Samples))
    assert hand.samples() == [("bed.soil", Decimal(3), seconds(139), seconds(139))]


def test_an_observation_is_registered_anew_under_its_token():
    hand, registration = observed()
    again = hand.tick(seconds(1))

    assert [(path(m), observe(m), m.token) for m in again] == [("soil", 0, registration.token)]
    assert again[0].message_id != registration.message_id


def test_a_node_that_does_not_observe_is_told_once_and_its_values_do_not_count():
    hand = Hand(node(SOIL_TEXT))
    for second in range(3):
        (request,) = hand.tick(seconds(second))
        hand.hear(hand.reply(request, "21.0"), Instant(seconds(second) + MILLISECOND))
    seen = hand.take()
    samples = [s for one in seen if isinstance(one, Samples) for s in one.samples]
    doubt = "the node does not keep the tool informed of /soil"

    assert {(s.validity, s.note) for s in samples} == {(Validity.STALE, doubt)}
    assert [o.text for o in seen if hasattr(o, "trouble")] == [
        f"{doubt}: 2.05 Content came without Observe"
    ]


def test_a_missing_resource_is_no_reading_and_told_once():
    hand = Hand(node(SOIL_TEXT))
    for second in range(3):
        (request,) = hand.tick(seconds(second))
        refusal = hand.reply(request, "gone", code=Code.NOT_FOUND)
        hand.hear(refusal, Instant(seconds(second) + MILLISECOND))
    seen = hand.take()
    samples = [s for one in seen if isinstance(one, Samples) for s in one.samples]

    assert {(s.validity, s.note) for s in samples} == {(Validity.INVALID, "4.04 Not Found: gone")}
    assert [o.text for o in seen if hasattr(o, "trouble")] == ["/soil: 4.04 Not Found: gone"]


@pytest.mark.parametrize(
    ("payload", "form", "why"),
    [
        (b"\xff", 0, "payload of /soil is not UTF-8, at octet 1"),
        (b"21", 50, "payload of /soil is application/json, declared is text"),
        (b"21", 65000, "payload of /soil is format 65000, declared is text"),
    ],
)
def test_a_payload_of_another_kind_is_garbled(payload, form, why):
    hand = Hand(node(SOIL_TEXT))
    (request,) = hand.tick(ms(0))
    hand.hear(hand.reply(request, payload, observe=1, form=form), ms(1))

    assert hand.notes() == [("garbled", why)]


def test_a_node_need_not_name_the_format():
    hand = Hand(node(SOIL_TEXT))
    (request,) = hand.tick(ms(0))
    hand.hear(hand.reply(request, "21", observe=1, form=None), ms(1))

    assert [value for _, value, _, _ in hand.samples()] == [Decimal(21)]


def test_requests_name_the_format_unless_they_must_not():
    (with_it,) = Hand(node(replace(SOIL_TEXT, format=Format.JSON))).tick(ms(0))
    (without,) = Hand(node(replace(SOIL_TEXT, format=Format.JSON), accept=False)).tick(ms(0))

    assert (Option.ACCEPT, b"\x32") in with_it.options
    assert Option.ACCEPT not in dict(without.options)


def test_requests_are_confirmable_unless_they_must_not_be():
    (request,) = Hand(node(SOIL_TEXT, confirmable=False)).tick(ms(0))

    assert request.type is Type.NON_CONFIRMABLE


# --- polls -----------------------------------------------------------------------------------------


def test_a_polled_resource_is_asked_in_its_rhythm_one_at_a_time():
    hand = Hand(node(LAMP_TEXT))
    (first,) = hand.tick(ms(0))
    silent = hand.tick(ms(99))
    hand.hear(hand.reply(first, "on"), ms(99))
    (second,) = hand.tick(ms(100))
    repeats = hand.tick(ms(260))  # the second is still on its way at 200 ms
    samples = hand.samples()
    hand.hear(hand.reply(second, "off"), ms(270))
    (third,) = hand.tick(ms(300))

    assert silent == []
    assert samples == [("bed.lamp", "on", ms(0), ms(99))]
    assert {m.message_id for m in repeats} == {second.message_id}
    assert hand.samples() == [("bed.lamp", "off", ms(100), ms(270))]
    assert third.token != second.token


def test_an_unanswered_poll_is_counted_and_told_once():
    hand = Hand(node(LAMP_TEXT, retransmissions=0))
    hand.tick(ms(950))

    assert hand.links.lost("bed") == 5  # each given up after 100 to 150 ms, so every second is sent
    assert [trouble for trouble, _ in hand.notes()] == ["not answered"]


# --- who it is ---------------------------------------------------------------------------------------


def test_nothing_else_is_read_before_the_node_has_said_who_it_is():
    hand = Hand(node(SOIL_TEXT, LAMP_TEXT, SERIAL, serial="PG-1"))
    (request,) = hand.tick(ms(0))
    then = by_path(hand.hear(hand.reply(request, "PG-1"), ms(2)))

    assert path(request) == "about/serial"
    assert set(then) == {"soil", "lamp"}
    assert hand.notes() == []


def test_another_node_is_believed_when_it_says_so_twice():
    hand = Hand(node(SOIL_TEXT, SERIAL, serial="PG-1"))
    (request,) = hand.tick(ms(0))
    (again,) = hand.hear(hand.reply(request, "PG-2"), ms(2))
    doubted = hand.notes()
    then = hand.hear(hand.reply(again, "PG-2"), ms(4))

    assert path(again) == "about/serial"
    assert doubted == [("stray", "serial is PG-2, wanted PG-1; not believed unless told again")]
    assert hand.notes() == [("identity", "serial is PG-2, wanted PG-1")]
    assert then == []


def test_an_inquiry_is_confirmed_with_what_the_node_tells():
    hand = Hand(node(SERIAL, BOOTS, serial="PG-1"))
    for message in hand.tick(ms(0)):
        more = hand.hear(hand.reply(message, "PG-1"), ms(1))
    for message in more:
        hand.hear(hand.reply(message, "3"), ms(2))
    hand.take()
    hand.links.execute(Inquiry(node="bed"), ms(10))
    asked = by_path(hand.sent(ms(10)))
    hand.hear(hand.reply(asked["about/boots"], "3"), ms(11))
    hand.hear(hand.reply(asked["about/serial"], "PG-1"), ms(13))
    (confirmed,) = [one for one in hand.take() if isinstance(one, Confirmed)]

    assert set(asked) == {"about/serial", "about/boots"}
    assert confirmed == Confirmed(
        node="bed",
        at=ms(13),
        facts=(("serial", "PG-1"), ("boots", "3")),
        asked=1,
        took=Duration(3 * MILLISECOND),
    )


def test_a_node_that_tells_nothing_is_there_when_it_answers_anything():
    hand = Hand(node(SOIL_TEXT))
    hand.tick(ms(0))
    hand.links.execute(Inquiry(node="bed"), ms(10))
    (request,) = hand.sent(ms(10))
    hand.hear(hand.reply(request, code=Code.NOT_FOUND), ms(12))

    assert (path(request), observe(request)) == ("soil", None)
    assert [type(one) for one in hand.take()] == [Confirmed]


def test_a_node_without_anything_to_read_is_pinged():
    hand = Hand(node())
    hand.links.execute(Inquiry(node="bed"), ms(10))
    (ping,) = hand.sent(ms(10))
    hand.hear(Message(Type.RESET, Code.EMPTY, ping.message_id), ms(12))  # RFC 7252 §4.3

    assert (ping.type, ping.code) == (Type.CONFIRMABLE, Code.EMPTY)
    assert [type(one) for one in hand.take()] == [Confirmed]


def test_an_inquiry_without_an_answer_is_given_up():
    hand = Hand(node(SERIAL, serial="PG-1", retransmissions=0))
    hand.links.execute(Inquiry(node="bed"), ms(0))
    hand.tick(seconds(4))
    (told,) = [one for one in hand.take() if isinstance(one, Unconfirmed)]

    assert told.detail == f"no answer to what tells its serial from {BED_AT} within 3 s"


# --- reboots -----------------------------------------------------------------------------------------


def living():
    """Return the hand of an observed node with a boot count, known at 1 ms."""
    hand = Hand(node(SOIL_TEXT, BOOTS))
    asked = by_path(hand.tick(ms(0)))
    hand.hear(hand.reply(asked["about/boots"], "3"), ms(1))
    hand.hear(hand.reply(asked["soil"], "21.0", observe=900), ms(1))
    hand.take()
    return hand, asked["soil"]


def test_after_a_reboot_the_node_is_observed_again_and_its_counting_begins_anew():
    hand, _ = living()
    asked = by_path(hand.tick(seconds(1)))
    registered = hand.hear(hand.reply(asked["about/boots"], "4"), Instant(SECOND + ms(2)))
    told = hand.notes()
    again = by_path([asked["soil"], *registered])["soil"]
    hand.hear(hand.reply(again, "20.0", observe=1), Instant(SECOND + ms(4)))
    hand.take()
    hand.hear(hand.notify(again, "20.5", 2), Instant(SECOND + ms(900)))

    assert told == [("reboot", "boot count 4, was 3")]
    assert [value for _, value, _, _ in hand.samples()] == [Decimal("20.5")]


def test_values_soon_after_a_boot_do_not_count():
    hand, _ = living()
    asked = by_path(hand.tick(seconds(1)))
    registered = hand.hear(hand.reply(asked["about/boots"], "4"), Instant(SECOND + ms(2)))
    again = by_path([asked["soil"], *registered])["soil"]
    hand.hear(hand.reply(again, "85.0", observe=1), Instant(SECOND + ms(4)))
    hand.hear(hand.notify(again, "21.5", 2), Instant(SECOND + ms(502)))
    found = [s for one in hand.take() if isinstance(one, Samples) for s in one.samples]

    assert [(s.validity, s.note) for s in found] == [
        (Validity.STALE, "warming up"),
        (Validity.VALID, ""),
    ]


def test_an_uptime_that_falls_is_a_reboot():
    uptime = replace(BOOTS, facts={"uptime": BOOTS.facts["boots"]})
    hand = Hand(node(uptime))
    (first,) = hand.tick(ms(0))
    hand.hear(hand.reply(first, "4000"), ms(1))
    (second,) = hand.tick(seconds(1))
    hand.hear(hand.reply(second, "1"), Instant(SECOND + 1))

    assert hand.notes() == [("reboot", "up for 1 s, was 4000 s")]


def test_a_boot_count_that_is_none_is_told():
    hand = Hand(node(BOOTS))
    (first,) = hand.tick(ms(0))
    hand.hear(hand.reply(first, "many"), ms(1))

    assert hand.notes() == [("garbled", "boots is 'many', no count")]


# --- silence -----------------------------------------------------------------------------------------


def test_a_signal_of_which_nothing_comes_goes_stale():
    hand, _ = observed()
    hand.take()
    hand.tick(seconds(2))
    quiet = hand.samples()
    hand.tick(Instant(3 * SECOND + ms(1)))

    assert quiet == []
    at = Instant(3 * SECOND + ms(1))
    assert hand.samples() == [("bed.soil", "nothing for 3 s", at, at)]


# --- numbers -----------------------------------------------------------------------------------------


def test_another_run_begins_with_other_numbers():
    def first(start):
        links = Links(rack(node(SOIL_TEXT)), Instant(start))
        links.tick(Instant(start))
        return decode(links.take_sends()[0].payload)

    one, same, other = first(0), first(0), first(123_456_789)

    assert (one.message_id, one.token) == (same.message_id, same.token)
    assert one.message_id != other.message_id
    assert one.token != other.token


def test_a_datagram_of_another_node_is_not_its_business():
    hand = Hand(node(SOIL_TEXT))
    hand.links.receive(Packet("nobody", Address("127.0.0.1", 9), b"\x31"), ms(0))

    assert [trouble for trouble, _ in hand.notes()] == ["answer from another address"]
