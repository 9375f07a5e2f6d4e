"""Being kept informed: RFC 7641's figures, its rule of order, and what ends a subscription."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wire.coap.pair import Pair, ask, endpoint, seconds
from wire.coap.test_endpoint import hear, hexes, run

from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import (
    Answered,
    Failed,
    Lapsed,
    Notified,
    Odd,
    Oddity,
    Parameters,
)
from hil.wire.coap.freshness import FORGIVEN, HALF, Ordering, is_newer
from hil.wire.coap.message import decode

ONE_OCTET = Parameters(token_length=1)


def watching(message_id=0x1633, token=0x4A, until=100):
    machine = endpoint(message_id, token, parameters=ONE_OCTET)
    handle = machine.ask(ask("temperature", observe=True, until=until), Instant(0))
    return machine, handle


# RFC 7641 figures 3 and 4: headers, tokens, numbers and ages as printed there; t in seconds.
def test_the_figures_of_the_rfc():
    machine, handle = watching()
    assert hexes(machine) == ["410116334a" + "60" + "5b74656d7065726174757265"]
    [first] = hear(machine, "614516334a6109810fff31382e352043656c", 9 * SECOND)
    assert (
        first.sequence,
        first.payload,
        first.fresh,
        first.solicited,
    ) == (9, b"18.5 Cel", True, True)
    [second] = hear(machine, "51457b504a6110810fff31392e322043656c", 16 * SECOND)
    assert (
        Notified(
            handle=handle,
            at=seconds(16),
            code=Code.CONTENT,
            options=((6, b"\x10"), (14, b"\x0f")),
            payload=b"19.2 Cel",
            sequence=16,
            fresh=True,
        )
        == second
    )
    # The next one is lost: the state is stale 15 s after the last one arrived.  The figure
    # registers again with another token; §3.3.1 wants the same one, and 5 to 15 s of waiting.
    sent = run(machine, 60 * SECOND)
    [lapsed] = machine.take_events()
    assert (seconds(31), handle) == (lapsed.at, lapsed.handle)
    assert seconds(36) <= lapsed.renewal <= seconds(46)
    assert (lapsed.renewal, "410116344a605b74656d7065726174757265") == sent[0]
    [third] = hear(machine, "614516344a4578797a7a79212c810fff31392e372043656c", 60 * SECOND)
    assert (third.sequence, third.payload, third.options[0]) == (44, b"19.7 Cel", (4, b"xyzzy"))


# RFC 7641 §3.4: (V1 < V2 and V2 - V1 < 2^23) or (V1 > V2 and V1 - V2 > 2^23) or T2 > T1 + 128 s
@pytest.mark.parametrize(
    ("before", "now", "later", "newer"),
    [
        (1, HALF, 0, True),
        (HALF, 2 * HALF - 1, 0, True),
        (0, HALF, 0, False),
        (5, 5, 0, False),
        (HALF + 2, 1, 0, True),
        (HALF + 1, 1, 0, False),
        (2 * HALF - 1, 0, 0, True),
        (7, 6, 0, False),
        (0, HALF, FORGIVEN, False),
        (0, HALF, FORGIVEN + 1, True),
        (5, 5, FORGIVEN + 1, True),
        (7, 6, FORGIVEN + 1, True),
    ],
)
def test_the_rows_of_the_rule_of_order(before, now, later, newer):
    assert newer is is_newer(before, Instant(0), now, Instant(later))


@given(st.integers(0, 2 * HALF - 1), st.integers(1, HALF - 1))
@settings(max_examples=100)
def test_the_rule_follows_the_circle_of_numbers(start, steps):
    ahead = (start + steps) % (2 * HALF)

    assert is_newer(start, Instant(0), ahead, Instant(0))
    assert not is_newer(ahead, Instant(0), start, Instant(0))


def test_a_number_that_rolls_over_at_24_bits_is_followed():
    order = Ordering()

    for at, number in enumerate([0xFFFFFE, 0xFFFFFF, 0, 1]):
        assert order.take(number, seconds(at)) == ""


def test_a_number_that_rolls_over_early_is_old_and_named_until_128_s_have_passed():
    machine, _ = watching()
    hexes(machine)
    hear(machine, "614516334a61fe810fff61", 0)
    odd, old = hear(machine, "514500014a6106810fff62", 55 * SECOND)

    assert (odd.what, old.fresh, old.sequence) == (Oddity.STALE, False, 6)
    assert (
        odd.text == "notification 6 came 55 s after 254, which is newer by its number; "
        "does the node wrap at 8 bits?"
    )
    [fresh] = hear(machine, "514500024a6107810fff63", 130 * SECOND)
    assert (fresh.fresh, fresh.payload) == (True, b"c")


def test_a_number_that_comes_twice_is_told():
    machine, _ = watching()
    hexes(machine)
    hear(machine, "614516334a6105810fff61", 0)
    odd, old = hear(machine, "514500014a6105810fff62", SECOND)

    assert (odd.text, old.fresh) == ("a second notification numbered 5, 1 s after the first", False)


# RFC 7641 §3.5: an acknowledgement says that somebody is there and interested
def test_an_old_notification_is_acknowledged_all_the_same():
    machine, _ = watching()
    hear(machine, "614516334a6105810fff61", 0)
    hexes(machine)
    hear(machine, "414500014a6104810fff62", SECOND)

    assert hexes(machine) == ["60000001"]


# RFC 7641 §3.2: who is not interested any more rejects the next one
@pytest.mark.parametrize("kind", ["41", "51"])
def test_a_notification_nobody_knows_of_is_reset(kind):
    machine = endpoint()
    [odd] = hear(machine, kind + "450001776105ff61", 0)

    assert (odd.what, hexes(machine)) == (Oddity.STRAY, ["70000001"])


# RFC 7641 §3.2 and §4.2: an error, or a response without the option, is the last one
@pytest.mark.parametrize(
    "octets",
    ["518400014aff6e6f", "514500014aff6e6f"],  # an error, or a plain response: it is over
)
def test_what_ends_a_subscription_is_told_as_its_answer(octets):
    machine, handle = watching()
    hear(machine, "614516334a6105810fff61", 0)
    hexes(machine)
    [end] = hear(machine, octets, SECOND)

    assert (handle, b"no", 0) == (end.handle, end.payload, end.transmissions)
    assert None is machine.next_wakeup()
    hear(machine, "514500024a6106810fff61", 2 * SECOND)
    assert hexes(machine) == ["70000002"]


# RFC 7641 §4.1: a node that is unwilling answers without the option
def test_a_node_that_keeps_nobody_informed_just_answers():
    machine, handle = watching()
    [answer] = hear(machine, "614516334aff6f6b", 5)

    assert Answered is type(answer)
    assert (handle, b"ok", 1) == (answer.handle, answer.payload, answer.transmissions)
    assert None is machine.next_wakeup()


# RFC 7252 §5.4.1: such a response is rejected
def test_a_critical_option_that_is_not_understood_ends_it():
    machine, handle = watching()
    hear(machine, "614516334a6105810fff61", 0)
    hexes(machine)
    odd, end = hear(machine, "514500024a610630ff61", SECOND)  # option 9 behind Observe

    assert (odd.what, hexes(machine)) == (Oddity.REFUSED, ["70000002"])
    assert (Failed, handle) == (type(end), end.handle)


def test_a_registration_without_an_answer_fails_and_frees_its_token():
    machine, handle = watching(until=1)
    run(machine, 2 * SECOND)
    [failure] = machine.take_events()

    assert (handle, "no answer to 1 transmission") == (failure.handle, failure.why)
    assert None is machine.next_wakeup()


def test_the_full_life_with_a_server():
    pair = Pair(confirm_every=3)
    handle = pair.ask("temperature", observe=True)
    for number in range(1, 8):
        pair.run(number)
        pair.change(f"{20 + number}")
    pair.run(8)
    told = pair.of(Notified)
    assert [b"20.3", *(b"%d" % (20 + number) for number in range(1, 8))] == [
        event.payload for event in told
    ]
    assert all(event.fresh and event.handle == handle for event in told)
    assert [event.solicited for event in told] == [True] + [False] * 7
    assert pair.server.observers(("temperature",)) == 1
    kinds = [message.type.name for _, up, message in pair.log if not up]
    assert kinds.count("CONFIRMABLE") == 2

    pair.endpoint.cancel(handle, pair.now)
    pair.run(9)
    [end] = pair.of(Answered)
    assert (handle, b"27", 0) == (end.handle, end.payload, pair.server.observers(("temperature",)))
    pair.change("99")
    pair.run(200)
    assert len(pair.of(Notified)) == 8


# RFC 7641 §3.3.1: registering again once Max-Age has passed
def test_a_subscription_renews_itself_while_nothing_changes():
    pair = Pair()
    pair.ask("temperature", observe=True)
    pair.run(300)
    lapses, told = pair.of(Lapsed), pair.of(Notified)

    assert len(lapses) >= 9
    assert all(event.solicited and event.fresh for event in told)
    assert len({message.token for _, up, message in pair.log if up}) == 1
    assert pair.server.observers(("temperature",)) == 1


def test_a_notification_during_a_renewal_is_no_answer_to_it():
    machine, handle = watching()
    hear(machine, "614516334a6105810fff61", 0)
    hexes(machine)
    machine.renew(handle, seconds(90), seconds(1))
    machine.renew(handle, seconds(90), seconds(1))  # one is under way
    [register] = hexes(machine)
    [told] = hear(machine, "514500014a6106810fff62", seconds(1.5))
    assert (told.payload, told.solicited) == (b"b", False)
    assert register in [octets for _, octets in run(machine, 5 * SECOND)]
    [answer] = hear(machine, "614516344a6107810fff63", seconds(5))

    assert (answer.payload, answer.solicited, answer.transmissions) == (b"c", True, 2)


def test_what_comes_after_the_acknowledgement_of_a_renewal_answers_it():
    """So a node that has restarted and answers separately may count from anywhere."""
    machine, handle = watching()
    hear(machine, "614516334a61c8810fff61", 0)
    machine.renew(handle, seconds(90), seconds(1))
    hear(machine, "60001634", seconds(1.2))
    [answer] = hear(machine, "414500014a6101810fff62", seconds(1.5))

    assert (answer.sequence, answer.fresh, answer.solicited) == (1, True, True)


def test_a_notification_after_max_age_makes_the_renewal_wait_again():
    machine, _ = watching()
    hear(machine, "614516334a6105810fff61", 0)
    hexes(machine)
    machine.tick(machine.next_wakeup())
    [lapse] = machine.take_events()
    hear(machine, "514500014a6106813cff62", lapse.at + 1)  # with a Max-Age of 60 s

    assert machine.next_wakeup() == lapse.at + 1 + 60 * SECOND


def test_after_a_restart_of_the_node_the_subscription_is_made_again():
    """The node forgets its observers and counts from the beginning; nothing may stay silent."""
    pair = Pair(Pair().store)
    handle = pair.ask("temperature", observe=True)
    for number in range(1, 5):
        pair.run(number)
        pair.change(str(number))
    pair.run(4.5)
    pair.server = Pair(pair.store, first_message_id=0x0001).server  # all state is gone
    pair.endpoint.renew(handle, seconds(20), seconds(5))
    pair.run(6)
    pair.change("after")
    pair.run(7)

    assert pair.of(Notified)[-1].payload == b"after"
    assert pair.of(Odd) == []


def test_after_a_restart_nobody_told_of_it_is_found_by_max_age():
    pair = Pair()
    pair.ask("temperature", observe=True)
    pair.run(4)
    pair.server = Pair(pair.store, first_message_id=0x0001).server
    pair.store.text = "new life"
    pair.run(60)

    assert pair.of(Notified)[-1].payload == b"new life"
    [lapse, *_] = pair.of(Lapsed)
    assert seconds(15) <= lapse.at <= seconds(15.1)


def test_a_node_that_is_gone_ends_the_subscription_in_words():
    pair = Pair()
    handle = pair.ask("temperature", observe=True)
    pair.run(1)
    pair.fate = lambda number, octets: ()
    pair.run(300)
    [failure] = pair.of(Failed)

    assert (handle, "no acknowledgement of 5 transmissions") == (failure.handle, failure.why)


def test_cancelling_before_anything_was_sent_says_nothing():
    machine = endpoint()
    machine.ask(ask("a"), Instant(0))
    waiting = machine.ask(ask("b", observe=True), Instant(0))
    hexes(machine)
    machine.cancel(waiting, Instant(1))
    machine.cancel(waiting, Instant(1))
    machine.renew(waiting, Instant(1), Instant(1))

    assert (hexes(machine), machine.take_events()) == ([], [])


# RFC 7641 §3.6: a GET with Observe 1 and the same token
def test_cancelling_a_registration_under_way_deregisters():
    machine, handle = watching()
    hexes(machine)
    machine.cancel(handle, Instant(1))
    machine.cancel(handle, Instant(1))
    [octets] = machine.take_sends()
    assert (decode(octets).options[0], decode(octets).token) == ((6, b"\x01"), b"\x4a")
    assert hear(machine, "414500014a6105ff61", 2 * MILLISECOND) == []  # one last notification
    assert hexes(machine) == ["60000001"]
    [end] = hear(machine, "614516344aff62", 3 * MILLISECOND)

    assert (Answered, handle, b"b") == (type(end), end.handle, end.payload)


def test_a_deregistration_without_an_answer_is_told():
    pair = Pair()
    handle = pair.ask("temperature", observe=True)
    pair.run(1)
    pair.fate = lambda number, octets: ()
    pair.endpoint.cancel(handle, pair.now)
    pair.run(300)

    assert [event.why for event in pair.of(Failed)] == ["no acknowledgement of 5 transmissions"]


# RFC 7641 §4.5: a confirmable notification that times out ends it
def test_a_client_that_is_gone_is_forgotten_by_the_server():
    pair = Pair(confirm_every=1)
    pair.ask("temperature", observe=True)
    pair.run(1)
    pair.fate = lambda number, octets: ()
    for number in range(2, 120, 10):
        pair.change(f"{number}")
        pair.run(number)

    assert pair.server.observers(("temperature",)) == 0


# RFC 7641 §3.6: rejecting a notification ends it as well
def test_a_client_that_resets_a_notification_is_forgotten_by_the_server():
    for confirm_every in (1, 100):
        pair = Pair(confirm_every=confirm_every)
        pair.ask("temperature", observe=True)
        pair.run(1)
        pair.endpoint = endpoint(0x4000, 0x4000)  # the tool was started again
        pair.change("2")
        pair.run(2)

        assert pair.server.observers(("temperature",)) == 0


def test_while_a_notification_is_unconfirmed_only_the_latest_state_follows():
    """RFC 7641 §4.5.2: not a queue of old states, and no second one under way."""
    pair = Pair(confirm_every=1)
    pair.ask("temperature", observe=True)
    pair.run(1)
    pair.fate = lambda number, octets: ()
    for text in ("a", "b", "c", "d"):
        pair.change(text)
    pair.run(2)
    pair.fate = lambda number, octets: (MILLISECOND,)
    pair.run(10)
    states = [message.payload for _, up, message in pair.log if not up and message.payload]

    assert states == [b"20.3", b"a", b"d"]
    assert pair.of(Notified)[-1].payload == b"d"
