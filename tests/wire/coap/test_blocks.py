"""Bodies in blocks: RFC 7959's examples in its own notation, and what a node may do wrong."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire.coap.pair import TOOL, Pair, Store, ask, endpoint

from hil.core.instant import Instant
from hil.wire.coap.block import Block, cut, read_block
from hil.wire.coap.code import Code, code_name
from hil.wire.coap.endpoint import Answered, Failed, Notified, Odd, Oddity, Parameters
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option, from_uint


def notation(message):
    """Write a message as the examples of RFC 7959 §3 do."""
    kind = {0: "CON", 1: "NON", 2: "ACK", 3: "RST"}[message.type]
    name = code_name(message.code)
    parts = [f"{kind} [MID={message.message_id}]", name.removeprefix(f"0.0{message.code} ")]
    paths = [value.decode() for number, value in message.options if number == Option.URI_PATH]
    if paths:
        parts.append("/" + "/".join(paths))
    for option, digit in ((Option.BLOCK1, 1), (Option.BLOCK2, 2)):
        parts += [
            f"{digit}:{read_block(value)}" for number, value in message.options if number == option
        ]
    return ", ".join(parts)


def shown(pair):
    return [notation(message) for _, _, message in pair.log]


def made(body=b"", exponent=6, early=False, node=6):
    """A pair whose client sends such blocks and whose server has them at most that large."""
    store = Store()
    store.big = body
    client = endpoint(1234, parameters=Parameters(block_exponent=exponent, early=early))
    return Pair(store, client=client, parameters=Parameters(block_exponent=node))


def body(length):
    return bytes(number * 7 % 251 for number in range(length))


# RFC 7959 §2.2: NUM, M and SZX in one to three octets; the examples of §3 in octets
@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("", "0/0/16"),
        ("0b", "0/1/128"),
        ("16", "1/0/1024"),
        ("0aba", "171/1/64"),
        ("fffff6", "1048575/0/1024"),
    ],
)
def test_the_value_of_a_block_option(value, text):
    block = read_block(bytes.fromhex(value))

    assert text == str(block)
    assert bytes.fromhex(value) == block.value()


def test_size_exponent_seven_is_reserved():
    assert None is read_block(b"\x07")
    assert (b"", Block(9, False, 0)) == cut(bytes(20), 9, 0)


# RFC 7959 figure 2: simple block-wise GET
def test_a_simple_get():
    pair = made(body(300), node=3)
    pair.ask("big")
    pair.run(1)

    assert shown(pair) == [
        "CON [MID=1234], GET, /big",
        "ACK [MID=1234], 2.05 Content, 2:0/1/128",
        "CON [MID=1235], GET, /big, 2:1/0/128",
        "ACK [MID=1235], 2.05 Content, 2:1/1/128",
        "CON [MID=1236], GET, /big, 2:2/0/128",
        "ACK [MID=1236], 2.05 Content, 2:2/0/128",
    ]
    [answer] = pair.of(Answered)
    assert (body(300), 3, 3, 0) == (
        answer.payload,
        answer.exchanges,
        answer.transmissions,
        answer.sent_at,
    )


# RFC 7959 figure 3: block-wise GET with early negotiation
def test_a_get_with_early_negotiation():
    pair = made(body(330), exponent=2, early=True)
    pair.ask("big")
    pair.run(1)
    lines = shown(pair)

    assert lines[:2] == [
        "CON [MID=1234], GET, /big, 2:0/0/64",
        "ACK [MID=1234], 2.05 Content, 2:0/1/64",
    ]
    assert lines[10:] == [
        "CON [MID=1239], GET, /big, 2:5/0/64",
        "ACK [MID=1239], 2.05 Content, 2:5/0/64",
    ]
    assert body(330) == pair.of(Answered)[0].payload


# RFC 7959 figure 4: block-wise GET with late negotiation
def test_a_get_with_late_negotiation():
    pair = made(body(330), exponent=2, node=3)
    pair.ask("big")
    pair.run(1)
    lines = shown(pair)

    assert lines[:4] == [
        "CON [MID=1234], GET, /big",
        "ACK [MID=1234], 2.05 Content, 2:0/1/128",
        "CON [MID=1235], GET, /big, 2:2/0/64",
        "ACK [MID=1235], 2.05 Content, 2:2/1/64",
    ]
    assert lines[-1] == "ACK [MID=1238], 2.05 Content, 2:5/0/64"
    assert body(330) == pair.of(Answered)[0].payload


# RFC 7959 figures 5 and 6: a request or its acknowledgement is lost on the way
@pytest.mark.parametrize("lost", [2, 3])
def test_a_get_with_a_lost_message(lost):
    pair = made(body(330), exponent=2, node=3)
    pair.fate = lambda number, octets: () if number == lost else (1_000_000,)
    pair.ask("big")
    pair.run(20)
    [answer] = pair.of(Answered)

    assert shown(pair).count("CON [MID=1235], GET, /big, 2:2/0/64") == 2
    assert (body(330), 6, 5) == (answer.payload, answer.transmissions, answer.exchanges)


# RFC 7959 figure 7: simple atomic block-wise PUT
def test_a_simple_put():
    pair = made(exponent=3)
    pair.ask("store", method=Code.PUT, payload=body(300))
    pair.run(1)

    assert shown(pair) == [
        "CON [MID=1234], PUT, /store, 1:0/1/128",
        "ACK [MID=1234], 2.31 Continue, 1:0/1/128",
        "CON [MID=1235], PUT, /store, 1:1/1/128",
        "ACK [MID=1235], 2.31 Continue, 1:1/1/128",
        "CON [MID=1236], PUT, /store, 1:2/0/128",
        "ACK [MID=1236], 2.04 Changed, 1:2/0/128",
    ]
    assert (body(300), [("store", Code.PUT)]) == (pair.store.stored, pair.store.asked)
    [answer] = pair.of(Answered)
    assert (answer.code, answer.exchanges) == (Code.CHANGED, 3)


# RFC 7959 figure 9: atomic block-wise PUT with negotiation
def test_a_put_with_negotiation():
    pair = made(exponent=3, node=1)
    pair.ask("store", method=Code.PUT, payload=body(220))
    pair.run(1)

    assert shown(pair) == [
        "CON [MID=1234], PUT, /store, 1:0/1/128",
        "ACK [MID=1234], 2.31 Continue, 1:0/1/32",
        "CON [MID=1235], PUT, /store, 1:4/1/32",
        "ACK [MID=1235], 2.31 Continue, 1:4/1/32",
        "CON [MID=1236], PUT, /store, 1:5/1/32",
        "ACK [MID=1236], 2.31 Continue, 1:5/1/32",
        "CON [MID=1237], PUT, /store, 1:6/0/32",
        "ACK [MID=1237], 2.04 Changed, 1:6/0/32",
    ]
    assert body(220) == pair.store.stored


# RFC 7959 figure 11: atomic block-wise POST with block-wise response.  The response there comes
# in blocks of 64 because the last request asks for them; here the node has no larger ones.
def test_a_post_with_a_response_in_blocks():
    pair = made(exponent=3, node=3)
    pair.ask("soap", method=Code.POST, payload=body(300))
    pair.run(1)

    assert shown(pair) == [
        "CON [MID=1234], POST, /soap, 1:0/1/128",
        "ACK [MID=1234], 2.31 Continue, 1:0/1/128",
        "CON [MID=1235], POST, /soap, 1:1/1/128",
        "ACK [MID=1235], 2.31 Continue, 1:1/1/128",
        "CON [MID=1236], POST, /soap, 1:2/0/128",
        "ACK [MID=1236], 2.04 Changed, 1:2/0/128, 2:0/1/128",
        "CON [MID=1237], POST, /soap, 2:1/0/128",
        "ACK [MID=1237], 2.04 Changed, 2:1/1/128",
        "CON [MID=1238], POST, /soap, 2:2/0/128",
        "ACK [MID=1238], 2.04 Changed, 2:2/0/128",
    ]
    assert pair.store.asked == [("soap", 300)]
    assert body(300)[::-1] == pair.of(Answered)[0].payload
    assert pair.log[6][2].payload == b""  # "no payload for requests with Block2 with NUM != 0"


def test_a_body_that_fits_goes_without_a_block_option():
    pair = made(body(1024))
    pair.ask("big")
    pair.ask("store", method=Code.PUT, payload=body(1024))
    pair.run(1)

    assert len(pair.log) == 4
    assert not any(
        "1:" in line or "2:" in line
        for line in (line[16:] for line in shown(pair))
        if ", 2.0" not in line
    )
    assert body(1024) == pair.store.stored


def test_an_early_question_for_a_body_that_fits_is_answered_in_one_block():
    pair = made(body(16), exponent=0, early=True)
    pair.ask("big")
    pair.run(1)

    assert shown(pair)[1] == "ACK [MID=1234], 2.05 Content, 2:0/0/16"


@given(st.integers(0, 3000), st.integers(0, 6), st.integers(0, 6), st.booleans())
@settings(max_examples=40, deadline=None)
def test_bodies_of_any_length_and_blocks_of_any_size_arrive_whole(length, ours, theirs, early):
    pair = made(body(length), ours, early, theirs)
    pair.ask("big")
    pair.ask("store", method=Code.PUT, payload=body(length))
    pair.ask("soap", method=Code.POST, payload=body(length))
    pair.run(60)
    got, put, posted = sorted(pair.of(Answered), key=lambda event: event.handle)

    assert body(length) == got.payload
    assert (Code.CHANGED, body(length)) == (put.code, pair.store.stored)
    assert body(length)[::-1] == posted.payload
    assert pair.store.asked.count(("soap", length)) == 1


# RFC 7959 §2.4: a body that changes on the way is recognised by its entity-tag
def test_a_body_that_changes_on_the_way_is_fetched_from_its_beginning():
    pair = made(body(300), node=3)

    def change(number, octets):
        if number == 3:
            pair.store.big = body(300)[::-1]
        return (1_000_000,)

    pair.fate = change
    pair.ask("big")
    pair.run(1)
    [answer] = pair.of(Answered)

    assert body(300)[::-1] == answer.payload
    assert answer.exchanges == 6
    tag = dict(answer.options)[Option.ETAG]
    assert tag == dict(pair.log[-1][2].options)[Option.ETAG]


def test_a_body_that_never_stays_the_same_is_given_up():
    pair = made(body(300), node=3)

    def change(number, octets):
        pair.store.big = body(300 - number)
        return (1_000_000,)

    pair.fate = change
    pair.ask("big")
    pair.run(10)

    assert [event.why for event in pair.of(Failed)] == [
        "the body changed 5 times while it was fetched"
    ]


def test_a_request_that_must_not_be_done_twice_is_not_repeated_for_its_changed_answer():
    node = Node(method=Code.POST, payload=b"x")
    node.answer(Code.CHANGED, bytes(16), etag=b"1", block2=Block(0, True, 0))
    [failure] = node.answer(Code.CHANGED, bytes(16), etag=b"2", block2=Block(1, True, 0))

    assert failure.why == "the body changed 1 time while it was fetched"


class Node:
    """Answers each request of an endpoint with what the test says, in turn."""

    def __init__(self, parameters=None, **more):
        self.machine = endpoint(1, 1, parameters=parameters or Parameters())
        self.machine.ask(ask("x", **more), Instant(0))
        self.requests = []

    def answer(self, code, payload=b"", **options):
        [octets] = self.machine.take_sends()
        request = decode(octets)
        self.requests.append(notation(request))
        made = tuple(
            (Option[name.upper()], value.value() if isinstance(value, Block) else value)
            for name, value in options.items()
        )
        reply = Message(
            Type.ACKNOWLEDGEMENT, code, request.message_id, request.token, made, payload
        )
        self.machine.receive(encode(reply), Instant(1))
        return self.machine.take_events()


# RFC 7959 §2.3: a response says which block it has
def test_a_block_that_was_not_asked_for_ends_it():
    node = Node()
    node.answer(Code.CONTENT, bytes(16), block2=Block(0, True, 0))
    [failure] = node.answer(Code.CONTENT, bytes(16), block2=Block(2, True, 0))

    assert failure.why == "Block2 1/0/16 was asked, 2/1/16 came"


def test_an_answer_without_a_block_in_the_middle_ends_it():
    node = Node()
    node.answer(Code.CONTENT, bytes(16), block2=Block(0, True, 0))
    [failure] = node.answer(Code.CONTENT, bytes(16))

    assert failure.why == "Block2 1/0/16 was asked, the answer has no Block2"


# RFC 7959 §2.2: a block with M set is as long as its SZX says
@pytest.mark.parametrize(("length", "more"), [(15, True), (17, True), (17, False)])
def test_a_block_of_the_wrong_length_ends_it(length, more):
    [failure] = Node().answer(Code.CONTENT, bytes(length), block2=Block(0, more, 0))

    assert f"Block2 0/{int(more)}/16 came with {length} octets" == failure.why


# RFC 7959 §2.2: SZX 7 is reserved
def test_the_reserved_size_ends_it():
    [failure] = Node().answer(Code.CONTENT, bytes(16), block2=b"\x07")

    assert failure.why == "the node answered with block size exponent 7, which is reserved"


def test_blocks_that_grow_end_it():
    node = Node(Parameters(block_exponent=0))
    node.answer(Code.CONTENT, bytes(16), block2=Block(0, True, 0))
    [failure] = node.answer(Code.CONTENT, bytes(32), block2=Block(1, True, 1))

    assert failure.why == "Block2 1/0/16 was asked, 1/1/32 came"


def test_a_body_without_an_end_is_given_up():
    node = Node(Parameters(largest_body=32))
    for number in range(2):
        assert node.answer(Code.CONTENT, bytes(16), block2=Block(number, True, 0)) == []
    [failure] = node.answer(Code.CONTENT, bytes(16), block2=Block(2, True, 0))

    assert failure.why == "the body is larger than 32 octets"


def test_an_error_in_the_middle_is_the_answer():
    node = Node()
    node.answer(Code.CONTENT, bytes(16), block2=Block(0, True, 0))
    [answer] = node.answer(Code.NOT_FOUND, b"gone")

    assert (answer.code, answer.payload, answer.exchanges) == (Code.NOT_FOUND, b"gone", 2)


# RFC 7959 §2.9.3: 4.13 may tell the size that will do
def test_a_body_that_is_too_large_is_sent_again_in_smaller_blocks():
    node = Node(method=Code.PUT, payload=bytes(100))
    node.answer(Code.REQUEST_ENTITY_TOO_LARGE, block1=Block(0, False, 2))
    node.answer(Code.REQUEST_ENTITY_TOO_LARGE, block1=Block(0, True, 1))
    for number in range(3):
        node.answer(Code.CONTINUE, block1=Block(number, True, 1))
    [answer] = node.answer(Code.CHANGED, block1=Block(3, False, 1))

    assert node.requests == [
        "CON [MID=1], PUT, /x",
        "CON [MID=2], PUT, /x, 1:0/1/64",
        "CON [MID=3], PUT, /x, 1:0/1/32",
        "CON [MID=4], PUT, /x, 1:1/1/32",
        "CON [MID=5], PUT, /x, 1:2/1/32",
        "CON [MID=6], PUT, /x, 1:3/0/32",
    ]
    assert answer.code == Code.CHANGED


def test_a_body_that_is_too_large_whatever_its_blocks_is_an_answer():
    for block in ({}, {"block1": Block(0, False, 6)}):
        [answer] = Node(method=Code.PUT, payload=bytes(100)).answer(
            Code.REQUEST_ENTITY_TOO_LARGE, **block
        )

        assert answer.code == Code.REQUEST_ENTITY_TOO_LARGE


@pytest.mark.parametrize(
    ("code", "options", "why"),
    [
        (Code.CONTINUE, {}, "2.31 Continue without Block1, 0/1/16 was sent"),
        (Code.CHANGED, {}, "2.04 Changed without Block1, 0/1/16 was sent"),
        (
            Code.CONTINUE,
            {"block1": Block(3, True, 0)},
            "2.31 Continue for Block1 3/1/16, 0/1/16 was sent",
        ),
    ],
)
def test_an_answer_to_a_block_that_fits_nothing_ends_it(code, options, why):
    node = Node(Parameters(block_exponent=0), method=Code.PUT, payload=bytes(40))
    [failure] = node.answer(code, **options)

    assert why == failure.why


# RFC 7959 §2.3: without M in the answer each block was acted on by itself; it goes on all the same
def test_blocks_that_are_acted_on_one_by_one():
    node = Node(Parameters(block_exponent=0), method=Code.PUT, payload=bytes(20))
    assert node.answer(Code.CHANGED, block1=Block(0, False, 0)) == []
    [answer] = node.answer(Code.CHANGED, block1=Block(1, False, 0))

    assert answer.code == Code.CHANGED


def test_an_error_during_an_upload_is_the_answer():
    node = Node(Parameters(block_exponent=0), method=Code.PUT, payload=bytes(40))
    node.answer(Code.CONTINUE, block1=Block(0, True, 0))
    [answer] = node.answer(Code.REQUEST_ENTITY_INCOMPLETE)

    assert (answer.code, answer.exchanges) == (Code.REQUEST_ENTITY_INCOMPLETE, 2)


# RFC 7959 §3.4: a notification carries the first block, the rest is asked for with other tokens
def test_a_large_notification_is_fetched_whole():
    pair = made(body(300), node=3)
    pair.ask("big", observe=True)
    pair.run(1)
    pair.store.big = body(300)[::-1]
    pair.change("", path=("big",))
    pair.run(2)
    first, second = pair.of(Notified)

    assert (body(300), body(300)[::-1]) == (first.payload, second.payload)
    assert (first.solicited, first.transmissions, second.solicited) == (True, 3, False)
    told = [
        message for _, up, message in pair.log if not up and Option.OBSERVE in dict(message.options)
    ]
    assert len(told) == 2
    follow_ups = [message for _, up, message in pair.log if up and message.token != told[0].token]
    assert len({message.token for message in follow_ups}) == 4
    assert pair.of(Odd) == []


def test_a_newer_notification_ends_the_fetching_of_an_older_one():
    pair = made(body(300), node=3)
    pair.ask("big", observe=True)
    pair.run(1)
    for text in (b"x" * 200, b"y" * 200):
        pair.store.big = text
        pair.change("", path=("big",))
    pair.run(2)

    assert [body(300), b"y" * 200] == [event.payload for event in pair.of(Notified)]


def test_a_notification_overtakes_the_rest_of_the_answer_to_a_registration():
    pair = made(body(300), node=3)
    pair.ask("big", observe=True)
    pair.run(0.003)  # the first block is there, the second is asked for
    pair.store.big = b"y" * 200
    pair.change("", path=("big",))
    pair.run(2)

    assert [event.payload for event in pair.of(Notified)] == [b"y" * 200]
    assert pair.of(Failed) == []


def test_a_notification_that_cannot_be_fetched_whole_is_told():
    pair = made(body(300), node=3)
    pair.ask("big", observe=True)
    pair.run(1)
    size = len(pair.log)
    pair.fate = lambda number, octets: (1_000_000,) if number == size else ()
    pair.change("", path=("big",))
    pair.run(120)
    [odd, *_] = pair.of(Odd)

    assert Oddity.INCOMPLETE is odd.what
    assert (
        odd.text
        == "notification 2 could not be fetched whole: no acknowledgement of 5 transmissions"
    )


# The node's side


def serve(pair, code, *options, payload=b""):
    """Hand one request to the server; return its answer."""
    message = Message(Type.CONFIRMABLE, code, next(NUMBERS), b"\1", options, payload)
    pair.server.receive(TOOL, encode(message), pair.now)
    [(_, octets)] = pair.server.take_sends()
    return decode(octets)


PATH = (Option.URI_PATH, b"store")
NUMBERS = itertools.count()


# RFC 7959 §2.9.2: 4.08 for what is incomplete
@pytest.mark.parametrize(
    ("block", "payload", "code"),
    [
        (Block(1, True, 0), bytes(16), Code.REQUEST_ENTITY_INCOMPLETE),
        (Block(0, True, 0), bytes(15), Code.BAD_REQUEST),
        (Block(0, False, 0), bytes(17), Code.BAD_REQUEST),
    ],
)
def test_blocks_out_of_turn_or_of_the_wrong_length_are_refused(block, payload, code):
    answer = serve(Pair(), Code.PUT, PATH, (Option.BLOCK1, block.value()), payload=payload)

    assert code == answer.code


def test_a_block_that_leaves_one_out_is_refused():
    pair = Pair()
    first = (Option.BLOCK1, Block(0, True, 0).value())
    third = (Option.BLOCK1, Block(2, False, 0).value())
    assert serve(pair, Code.PUT, PATH, first, payload=bytes(16)).code == Code.CONTINUE

    assert serve(pair, Code.PUT, PATH, third).code == Code.REQUEST_ENTITY_INCOMPLETE


def test_the_reserved_size_exponent_is_refused():
    for option in (Option.BLOCK1, Option.BLOCK2):
        assert serve(Pair(), Code.PUT, PATH, (option, b"\x07")).code == Code.BAD_REQUEST


def test_an_upload_with_another_format_in_the_middle_is_refused():
    pair = Pair()
    first = (Option.BLOCK1, Block(0, True, 0).value())
    second = (Option.BLOCK1, Block(1, False, 0).value())
    assert serve(pair, Code.PUT, PATH, first, payload=bytes(16)).code == Code.CONTINUE
    other = (Option.CONTENT_FORMAT, from_uint(60))

    assert serve(pair, Code.PUT, PATH, other, second).code == Code.REQUEST_ENTITY_INCOMPLETE


# RFC 7959 §2.9.3: 4.13, with the size that will do in Block1
def test_a_body_larger_than_the_node_takes_is_refused_with_the_size_that_will_do():
    pair = Pair(parameters=Parameters(largest_body=20))
    whole = serve(pair, Code.PUT, PATH, payload=bytes(21))
    assert (
        whole.code,
        dict(whole.options)[Option.SIZE1],
    ) == (Code.REQUEST_ENTITY_TOO_LARGE, b"\x14")
    serve(pair, Code.PUT, PATH, (Option.BLOCK1, Block(0, True, 0).value()), payload=bytes(16))
    second = (Option.BLOCK1, Block(1, True, 0).value())
    answer = serve(pair, Code.PUT, PATH, second, payload=bytes(16))
    assert (answer.code, pair.store.stored) == (Code.REQUEST_ENTITY_TOO_LARGE, b"")


def test_a_block_behind_the_end_is_refused():
    far = (Option.BLOCK2, Block(400, False, 6).value())

    assert serve(Pair(), Code.GET, (Option.URI_PATH, b"big"), far).code == Code.BAD_REQUEST


def test_a_further_block_of_an_answer_that_is_not_kept_is_refused():
    second = (Option.BLOCK2, Block(1, False, 0).value())

    assert (
        serve(Pair(), Code.POST, (Option.URI_PATH, b"soap"), second).code
        == Code.REQUEST_ENTITY_INCOMPLETE
    )


def test_an_upload_that_is_not_finished_in_time_is_forgotten():
    pair = Pair()
    first = (Option.BLOCK1, Block(0, True, 0).value())
    second = (Option.BLOCK1, Block(1, False, 0).value())
    serve(pair, Code.PUT, PATH, first, payload=bytes(16))
    pair.now = Instant(248_000_000_000)

    assert serve(pair, Code.PUT, PATH, second).code == Code.REQUEST_ENTITY_INCOMPLETE
