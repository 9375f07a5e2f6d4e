"""A CoAP node heard by a third: blocks, commands, and what is not observed."""

from dataclasses import replace
from decimal import Decimal

import pytest
from wire.coap_talk.coap_racks import SERIAL, SOIL_TEXT, STRANGER, Hand, command, ms, node, rack

from hil.core.instant import SECOND, Duration, Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.signal import Validity
from hil.wire.coap.block import Block
from hil.wire.coap.code import Code
from hil.wire.coap.description import Format, Part
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option, from_uint
from hil.wire.coap.overheard import MOST_ASKED, MOST_BEGUN
from hil.wire.coap.subscription import DEREGISTER
from hil.wire.overheard import Overheard
from hil.wire.said import Driven, Replied


class Third:
    """A hand that answers for a node, and who listens to both."""

    def __init__(self, *resources, serial=""):
        bed = node(*resources, serial=serial)
        self.hand, self.ear = Hand(bed), Overheard(rack(bed))

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


def test_what_is_polled_as_well_counts_without_a_subscription():
    third = Third(replace(SOIL_TEXT, poll=Duration(SECOND)))
    registration = third.asks(ms(0))[0]
    third.says(third.hand.reply(registration, "21.5"), ms(2))

    assert [validity for _, validity, *_ in third.samples()] == [Validity.VALID]


def test_nothing_counts_before_the_node_has_said_who_it_is():
    third = Third(SOIL_TEXT, SERIAL, serial="PG-1")
    for number, (resource, said) in enumerate(
        [(SOIL_TEXT, "21.5"), (SERIAL, "PG-1"), (SOIL_TEXT, "22.5")]
    ):
        path = tuple((Option.URI_PATH, part.encode()) for part in resource.place.path)
        token, kind = b"T%d" % number, Type.NON_CONFIRMABLE
        get = Message(kind, Code.GET, 900 + number, token, path, b"")
        third.ear.sent("bed", encode(get), ms(number))
        answer = replace(third.hand.reply(get, said), type=kind)
        third.ear.came("bed", None, encode(answer), ms(number))

    assert [(value, at) for value, _, _, at in third.samples()] == [(Decimal("22.5"), ms(2))]


def asked(third, number, resource, at):
    """Let the tool ask for a resource; return the request."""
    options = tuple((Option.URI_PATH, part.encode()) for part in resource.place.path)
    options += tuple((Option.URI_QUERY, part.encode()) for part in resource.place.query)
    kind, token = Type.CONFIRMABLE, b"T%d" % number
    get = Message(kind, Code.GET, 900 + number, token, options, b"")
    third.ear.sent("bed", encode(get), at)
    return get


def test_only_a_few_bodies_wait_for_their_other_blocks():
    many = [
        replace(SOIL_TEXT, observe=False, place=replace(SOIL_TEXT.place, query=(f"n={number}",)))
        for number in range(MOST_BEGUN + 1)
    ]
    third = Third(*many)
    for number, resource in enumerate(many):
        first = part(asked(third, number, resource, ms(number)), "0" * 16, 0, True)
        first = replace(first, options=first.options[1:])
        third.ear.came("bed", None, encode(first), ms(number))
    for number in (0, 1):
        rest = asked(third, 50 + number, many[number], ms(50))
        block = (Option.BLOCK2, Block(1, False, 0).value())
        rest = replace(rest, options=(*rest.options, block))
        third.ear.sent("bed", encode(replace(rest, message_id=990 + number)), ms(51))
        last = part(replace(rest, message_id=990 + number), "21.5", 1, False)
        third.ear.came("bed", None, encode(last), ms(60 + number))

    assert [(value, at) for value, _, _, at in third.samples()] == [(Decimal("21.5"), ms(61))]


def test_the_values_of_one_who_says_it_is_another_do_not_count():
    facts, signals = {"serial": Part(pointer=("id",))}, {"soil": Part(pointer=("soil",))}
    both = replace(SOIL_TEXT, format=Format.JSON, observe=False, facts=facts, signals=signals)
    third = Third(both, serial="PG-1")
    for number, serial in enumerate(("PG-1", "PG-2", "PG-1")):
        get = asked(third, number, both, ms(number))
        said = f'{{"id": "{serial}", "soil": 2{number}.5}}'
        form = ((Option.CONTENT_FORMAT, from_uint(Format.JSON.number)),)
        answer = replace(third.hand.reply(get, said), options=form)
        third.ear.came("bed", None, encode(answer), ms(number))

    assert [value for value, *_ in third.samples()] == [Decimal("20.5"), Decimal("22.5")]


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


@pytest.mark.parametrize(("late", "counted"), [(0, 1), (1, 0)])
def test_an_answer_at_its_deadline_is_one_and_none_after_it(late, counted):
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    path = tuple(each for each in registration.options if each[0] == Option.URI_PATH)
    get = Message(Type.NON_CONFIRMABLE, Code.GET, 900, b"T", path, b"")
    third.ear.sent("bed", encode(get), ms(2))
    answer = replace(third.hand.reply(get, "21.5"), type=Type.NON_CONFIRMABLE)
    within = node(SOIL_TEXT).answer_within
    third.ear.came("bed", None, encode(answer), Instant(ms(2) + within + late))

    assert len(third.samples()) == counted


def observed(third, request, at, text="21.5", number=1, age=None, **more):
    """Let the node say a value of what it keeps the tool informed of."""
    answer = third.hand.reply(request, text)
    told = (*answer.options, (Option.OBSERVE, from_uint(number)))
    told += () if age is None else ((Option.MAX_AGE, from_uint(age)),)
    third.ear.came("bed", None, encode(replace(answer, options=told, **more)), at)


def test_what_was_told_to_stop_is_not_listened_to_any_more():
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    observed(third, registration, ms(1))
    rest = tuple(each for each in registration.options if each[0] != Option.OBSERVE)
    stop = replace(
        registration,
        message_id=registration.message_id + 1,
        options=((Option.OBSERVE, from_uint(DEREGISTER)), *rest),
    )
    third.ear.sent("bed", encode(stop), ms(5))
    third.samples()
    kind = Type.NON_CONFIRMABLE
    observed(third, registration, ms(9), "22.5", 2, type=kind, message_id=7)

    assert third.samples() == []


@pytest.mark.parametrize(
    ("age", "anew", "counted"), [(None, 70, 1), (None, 50, 0), (5, 10, 1), (5, 4, 0)]
)
def test_nobody_waits_for_the_answer_to_a_registration_after_the_old_one_is_over(
    age, anew, counted
):
    """Its value is too old by then (Max-Age, else 60 s), so whenever it comes it is news."""
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    observed(third, registration, ms(1), age=age)
    again = replace(registration, message_id=registration.message_id + 1)
    third.ear.sent("bed", encode(again), ms(1_000 * anew))
    third.samples()
    late = Instant(ms(1_000 * anew) + 2 * node(SOIL_TEXT).answer_within)
    observed(third, again, late, "22.5", 2)

    assert len(third.samples()) == counted


@pytest.mark.parametrize(("acknowledged", "since"), [(True, 10_000), (False, 10_020)])
def test_what_comes_after_the_acknowledgement_answers_what_was_asked(acknowledged, since):
    """Before it, it may be news that crossed the question; the value is then as old as its arrival."""
    third = Third(SOIL_TEXT)
    (registration,) = third.asks(ms(0))
    observed(third, registration, ms(1))
    again = replace(registration, message_id=registration.message_id + 1)
    third.ear.sent("bed", encode(again), ms(10_000))
    if acknowledged:
        empty = Message(Type.ACKNOWLEDGEMENT, Code.EMPTY, again.message_id, b"", (), b"")
        third.ear.came("bed", None, encode(empty), ms(10_001))
    third.samples()
    observed(third, again, ms(10_020), "22.5", 2, type=Type.CONFIRMABLE, message_id=7)

    assert [(value, begun) for value, _, begun, _ in third.samples()] == [
        (Decimal("22.5"), ms(since))
    ]


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
