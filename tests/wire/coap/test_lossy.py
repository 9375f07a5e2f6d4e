"""Every message of an exchange lost, repeated, delayed in turn; and all of it at random.

An endpoint and a server talk through a medium that disturbs one datagram (or any number).  The
tool must end with the same result as without the disturbance, and the node must have been asked
as often as without it.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire.coap.pair import LATENCY, Pair, Store, endpoint

from hil.core.instant import MILLISECOND, SECOND
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import Answered, Failed, Notified, Parameters

SMALL = Parameters(block_exponent=4)
LARGE = bytes(number % 251 for number in range(900))


def pair_with(fate, **more):
    store = Store()
    store.big = LARGE
    return Pair(
        store, fate, client=endpoint(parameters=SMALL), parameters=SMALL, confirm_every=2, **more
    )


def get(pair):
    pair.ask("temperature")
    pair.run(300)


def put(pair):
    pair.ask("store", method=Code.PUT, payload=b"7")
    pair.run(300)


def separate(pair):
    pair.ask("slow")
    pair.run(300)


def fetch(pair):
    pair.ask("big")
    pair.run(400)


def send(pair):
    pair.ask("store", method=Code.PUT, payload=LARGE)
    pair.run(400)


def post(pair):
    pair.ask("soap", method=Code.POST, payload=LARGE)
    pair.run(600)


def several(pair):
    for path in ("temperature", "slow", "store", "nowhere"):
        pair.ask(path)
    pair.run(400)


EXCHANGES = [get, put, separate, fetch, send, post, several]
FATES = {
    "lost": (),
    "repeated at once": (LATENCY, LATENCY),
    "repeated late": (LATENCY, 40 * SECOND),
    "delayed": (3500 * MILLISECOND,),
    "delayed and repeated": (3500 * MILLISECOND, 9 * SECOND, 90 * SECOND),
}


def outcome(pair):
    """What the tool was told and what the node was asked, in the end."""
    told = {event.handle: (event.code, event.payload) for event in pair.of(Answered)}
    return told, sorted(map(str, pair.store.asked)), pair.store.stored


@pytest.mark.parametrize("fate", FATES.values(), ids=FATES.keys())
@pytest.mark.parametrize("exchange", EXCHANGES, ids=[one.__name__ for one in EXCHANGES])
def test_each_message_disturbed_in_turn(exchange, fate):
    calm = pair_with(lambda number, octets: (LATENCY,))
    exchange(calm)
    assert len(calm.log) >= 2
    for disturbed in range(len(calm.log)):
        pair = pair_with(lambda number, octets, at=disturbed: fate if number == at else (LATENCY,))
        exchange(pair)

        assert outcome(calm) == outcome(pair), f"message {disturbed}"
        assert len(pair.of(Answered)) == len(calm.of(Answered))
        assert pair.of(Failed) == []


@pytest.mark.parametrize("fate", FATES.values(), ids=FATES.keys())
def test_each_message_of_a_subscription_disturbed_in_turn(fate):
    """In the end the tool knows the node's state, at the latest when Max-Age is over."""

    def live(pair):
        handle = pair.ask("temperature", observe=True)
        for number in range(1, 6):
            pair.run(number)
            pair.change(f"{20 + number}")
        pair.run(200)
        fresh = [event for event in pair.of(Notified) if event.fresh]
        assert fresh[-1].payload == b"25"
        assert pair.server.observers(("temperature",)) == 1
        pair.endpoint.cancel(handle, pair.now)
        pair.run(400)
        assert pair.server.observers(("temperature",)) == 0
        assert [event.payload for event in pair.of(Answered)] == [b"25"]
        assert pair.of(Failed) == []

    calm = pair_with(lambda number, octets: (LATENCY,))
    live(calm)
    for disturbed in range(len(calm.log)):
        live(pair_with(lambda number, octets, at=disturbed: fate if number == at else (LATENCY,)))


@given(
    st.sampled_from(EXCHANGES),
    st.lists(st.sampled_from([(), *FATES.values(), (LATENCY,), (LATENCY,)]), max_size=60),
)
@settings(max_examples=60, deadline=None)
def test_whatever_the_medium_does_no_answer_is_wrong(exchange, fates):
    calm = pair_with(lambda number, octets: (LATENCY,))
    exchange(calm)
    pair = pair_with(lambda number, octets: fates[number] if number < len(fates) else (LATENCY,))
    exchange(pair)
    pair.run(1500)
    told = outcome(pair)[0]
    right = outcome(calm)[0]

    assert set(right) == set(told) | {event.handle for event in pair.of(Failed)}
    assert all(right[handle] == result for handle, result in told.items())
    assert len(pair.of(Answered)) + len(pair.of(Failed)) == len(right)
    assert pair.store.asked.count(("store", Code.PUT)) <= 1
