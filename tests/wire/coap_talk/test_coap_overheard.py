"""A CoAP node heard by a third: blocks, commands, and what is not observed."""

from dataclasses import replace
from decimal import Decimal

import pytest
from wire.coap_talk.coap_racks import SOIL_TEXT, STRANGER, Hand, command, ms, node, rack

from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.signal import Validity
from hil.wire.coap.block import Block
from hil.wire.coap.code import Code
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option, from_uint
from hil.wire.coap.overheard import MOST_ASKED
from hil.wire.overheard import Overheard
from hil.wire.said import Driven, Replied


class Third:
    """A hand that answers for a node, and who listens to both."""

    def __init__(self, *resources):
        self.hand, self.ear = Hand(node(*resources)), Overheard(rack(node(*resources)))

    def asks(self, at):
        return self.hears(self.hand.tick(at), at)

    def hears(self, messages, at):
        self.driven = [self.ear.sent("bed", encode(each), at) for each in messages]
        return messages

    def says(self, message, at):
        self.replied = self.ear.came("bed", None, encode(message), at)
        return self.hears(self.hand.hear(message, at), at)

    def samples(self):
        return [
            (s.value, s.validity, s.since, s.at)
            for one in self.ear.take_observations()
            if isinstance(one, Samples)
            for s in one.samples
        ]


def part(request, text, number, more):
    """Return the answer that carries one block of 16 octets."""
    options = (
        (Option.OBSERVE, from_uint(7)),
        (Option.CONTENT_FORMAT, b""),
        (Option.BLOCK2, Block(number, more, 0).value()),
    )
    kept = options if number == 0 else options[1:]
    kind = Type.ACKNOWLEDGEMENT
    return Message(kind, Code.CONTENT, request.message_id, request.token, kept, text.encode())


def test_a_body_that_came_in_blocks_was_so_since_it_was_asked_for():
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    (rest,) = third.says(part(registration, "0" * 16, 0, True), ms(3))
    early = third.samples()
    third.says(part(rest, "21.5", 1, False), ms(9))

    assert early == []
    assert third.samples() == [(Decimal("21.5"), Validity.VALID, ms(0), ms(9))]


def test_a_put_drives_and_its_answer_says_what_became_of_it():
    third = Third()
    third.hand.links.execute(command(), ms(10))
    (put,) = third.hears(third.hand.sent(ms(10)), ms(10))
    token = int.from_bytes(put.token, "big")
    driven = third.driven
    again = third.ear.sent("bed", encode(put), ms(120))
    third.says(third.hand.reply(put, "too hot", code=Code.BAD_REQUEST), ms(130))

    assert driven == [
        Driven(signal="bed.soil", value=Decimal("23.5"), number=token, operation=Code.PUT)
    ]
    assert again is None  # a repetition drives nothing once more
    assert third.replied == Replied(
        number=token, operation=Code.PUT, accepted=False, detail="4.00 Bad Request: too hot"
    )


def test_what_the_node_does_not_keep_anybody_informed_of_does_not_count():
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    third.says(third.hand.reply(registration, "21.5"), ms(2))

    assert third.samples() == [(Decimal("21.5"), Validity.STALE, ms(0), ms(2))]


def test_a_subscription_is_heard_on_however_much_is_asked_beside_it():
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    answer = third.hand.reply(registration, "21.5")
    told = (*answer.options, (Option.OBSERVE, b"\x01"))
    third.ear.came("bed", None, encode(replace(answer, options=told)), ms(1))
    path = tuple(each for each in registration.options if each[0] == Option.URI_PATH)
    for number in range(MOST_ASKED + 9):
        message_id, token = registration.message_id + 1 + number, b"T%d" % number
        kind = Type.NON_CONFIRMABLE
        get = Message(kind, Code.GET, message_id, token, path, b"")
        third.ear.sent("bed", encode(get), ms(2))
    third.samples()
    told = (*answer.options, (Option.OBSERVE, b"\x02"))
    news = replace(answer, type=Type.NON_CONFIRMABLE, message_id=7, options=told, payload=b"22.5")
    third.ear.came("bed", None, encode(news), ms(9))

    assert [(value, at) for value, _, _, at in third.samples()] == [(Decimal("22.5"), ms(9))]


def test_a_request_that_was_too_long_ago_is_forgotten():
    """What nobody answers may not fill the memory."""
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    path = tuple(each for each in registration.options if each[0] == Option.URI_PATH)
    kind = Type.NON_CONFIRMABLE
    for number in range(MOST_ASKED + 1):
        get = Message(kind, Code.GET, 900 + number, b"T%d" % number, path, b"")
        third.ear.sent("bed", encode(get), ms(2))
    for number in (0, 1, MOST_ASKED):
        answer = third.hand.reply(get, "21.5")
        token = b"T%d" % number
        late = replace(answer, type=kind, message_id=number, token=token)
        third.ear.came("bed", None, encode(late), ms(3 + number))

    assert [at for *_, at in third.samples()] == [ms(3 + MOST_ASKED)]


@pytest.mark.parametrize(
    ("peer", "octets", "trouble"),
    [
        (STRANGER, b"\x60\x44\x00\x00", NodeTrouble.FOREIGN),
        (None, b"\x31", NodeTrouble.GARBLED),
    ],
)
def test_what_cannot_be_the_node_or_cannot_be_read_is_noted(peer, octets, trouble):
    ear = Overheard(rack(node(SOIL_TEXT)))
    ear.came("bed", peer, octets, ms(1))
    (note,) = ear.take_observations()

    assert isinstance(note, NodeNote)
    assert note.trouble is trouble
