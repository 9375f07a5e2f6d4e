"""Whatever arrives, the links to a CoAP node never raise and end each command exactly once."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey
from wire.coap_talk.coap_racks import (
    BED_AT,
    BOOTS,
    LAMP_TEXT,
    SERIAL,
    SOIL_TEXT,
    STRANGER,
    Hand,
    command,
    ms,
    node,
    rack,
)

from hil.core.errand import Inquiry
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.core.observation import CommandAnswered, CommandLost, CommandSent, Samples
from hil.wire.coap.code import Code
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option, from_uint
from hil.wire.link import Links, Packet

RACK = rack(node(SOIL_TEXT, LAMP_TEXT, SERIAL, BOOTS, serial="PG-1"))

kinds = st.sampled_from(list(Type))
codes = st.sampled_from([Code.CONTENT, Code.CHANGED, Code.NOT_FOUND, Code.EMPTY, Code.GET, 0x5F])
payloads = st.one_of(
    st.sampled_from([b"21.5", b"on", b"PG-1", b"PG-2", b"3", b"4", b"", b"\xff"]),
    st.binary(max_size=9),
)
numbers = st.one_of(st.none(), st.integers(0, 3), st.sampled_from([0xFFFFFF, 1 << 23]))
formats = st.sampled_from([None, 0, 50])
answers = st.tuples(st.integers(0, 9), kinds, codes, payloads, numbers, formats, st.booleans())
steps = st.lists(
    st.tuples(
        st.integers(0, 700),
        st.one_of(
            answers,
            st.binary(max_size=30),
            st.sampled_from(["command", "refused", "tick", "inquire", "stranger"]),
        ),
    ),
    max_size=30,
)


def answered(asked, which, kind, code, payload, number, form, same):
    """Return a message that has something to do with one of the last that were asked."""
    request = asked[-1 - which % len(asked)]
    options = [] if number is None else [(Option.OBSERVE, from_uint(number))]
    options += [] if form is None else [(Option.CONTENT_FORMAT, from_uint(form))]
    empty = code == Code.EMPTY or kind is Type.RESET
    message_id = request.message_id if same else request.message_id ^ 0x5A5A
    if empty:
        return encode(Message(kind, Code.EMPTY, message_id))
    return encode(Message(kind, code, message_id, request.token, tuple(options), payload))


@settings(deadline=None, max_examples=150)
@given(steps)
def test_every_command_ends_exactly_once_and_time_never_goes_back(script):
    machine, now, token, seen, asked = Links(RACK, Instant(0)), Instant(0), 0, [], []

    def collect():
        for packet in machine.take_sends():
            asked.append(decode(packet.payload))
            machine.sent(packet, now)
        seen.extend(machine.take_observations())

    for wait, thing in script:
        now = Instant(now + wait * MILLISECOND)
        while (due := machine.next_wakeup()) is not None and due < now:
            machine.tick(due)
            collect()
        if thing == "command":
            token += 1
            machine.execute(command(token, value=Decimal(token % 40)), now)
        elif thing == "refused":
            machine.refused("bed", now, "connection refused")
        elif thing == "inquire":
            machine.execute(Inquiry(node="bed"), now)
        elif thing == "stranger":
            machine.receive(Packet("bed", STRANGER, b"\x60\x44\x00\x00"), now)
        elif isinstance(thing, bytes):
            machine.receive(Packet("bed", BED_AT, thing), now)
        elif isinstance(thing, tuple) and asked:
            machine.receive(Packet("bed", BED_AT, answered(asked, *thing)), now)
        else:
            machine.tick(now)
        collect()
    now = Instant(now + 2 * SECOND)
    while (due := machine.next_wakeup()) is not None and due <= now:
        machine.tick(due)
    collect()

    ends = [one.token for one in seen if isinstance(one, CommandAnswered | CommandLost)]
    assert sorted(ends) == list(range(1, token + 1))
    assert [one.token for one in seen if isinstance(one, CommandSent)] == list(range(1, token + 1))
    times = [at for one in seen if (at := _at(one)) is not None]
    assert times == sorted(times)
    assert all(s.since <= s.at for one in seen if isinstance(one, Samples) for s in one.samples)


def _at(one):
    if isinstance(one, Samples):
        return one.samples[0].at if one.samples else None
    return one.at


def test_the_links_obey_the_laws_of_machines():
    hand = Hand(*RACK.nodes)
    (serial,) = hand.tick(ms(0))
    things = [(ms(2), packet(hand.reply(serial, "PG-1")))]
    begun = hand.hear(hand.reply(serial, "PG-1"), ms(2))
    for at, request in enumerate(begun, 3):
        things.append((ms(at), packet(hand.reply(request, "21.5", observe=at))))
        hand.hear(hand.reply(request, "21.5", observe=at), ms(at))
    things += [
        (ms(300), packet(hand.notify(begun[0], "22", 40, confirmable=True))),
        (ms(310), packet(hand.notify(begun[0], "23", 39))),
        (ms(320), Packet("bed", BED_AT, b"garbled")),
        (ms(330), Packet("bed", STRANGER, b"\x60\x44\x00\x00")),
    ]
    heard = {}

    def observed(machine):
        heard.setdefault(id(machine), []).extend(machine.take_observations())
        return heard[id(machine)], machine.next_wakeup()

    obey(_commanded, things, 5 * SECOND, observed)
    assert len(next(iter(heard.values()))) > len(things)


def packet(message):
    return Packet("bed", BED_AT, encode(message))


def _commanded():
    machine = Links(RACK, Instant(0))
    machine.execute(command(), ms(0))
    return machine
