"""The endpoint against octets made by hand: RFC 7252's exchanges, its back-off, its rejections."""

from fractions import Fraction

import pytest
from wire.coap.pair import ask, endpoint, seconds

from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.endpoint import Answered, Endpoint, Failed, Odd, Oddity, Parameters
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option

CON, NON, ACK, RST = Type
MS = MILLISECOND


def hexes(machine):
    return [octets.hex() for octets in machine.take_sends()]


def hear(machine, octets, at):
    machine.receive(bytes.fromhex(octets), Instant(at))
    return machine.take_events()


def one(message_id, token):
    """An endpoint whose first message has that id and that token of one octet."""
    return endpoint(message_id, token, parameters=Parameters(token_length=1))


def run(machine, until):
    """Tick at each wakeup; return (instant, octets) of what was sent."""
    sent = [(0, octets) for octets in hexes(machine)]
    while (wakeup := machine.next_wakeup()) is not None and wakeup <= until:
        machine.tick(wakeup)
        sent += [(wakeup, octets) for octets in hexes(machine)]
    return sent


# RFC 7252 appendix A, figure 17
def test_a_piggybacked_response():
    machine = one(0x7D35, 0x20)
    handle = machine.ask(ask("temperature"), Instant(0))

    assert hexes(machine) == ["41017d3520bb74656d7065726174757265"]
    assert [
        Answered(
            handle=handle,
            at=Instant(5 * MS),
            code=Code.CONTENT,
            options=(),
            payload=b"22.3 C",
            sent_at=Instant(0),
            transmissions=1,
        )
    ] == hear(machine, "61457d3520ff32322e332043", 5 * MS)
    assert (hexes(machine), machine.next_wakeup()) == ([], None)


# RFC 7252 appendix A, figures 18 and 19: the request or its answer is lost once
def test_a_request_is_sent_again_after_the_timeout_and_latency_counts_from_the_first():
    machine = one(0x7D36, 0x31)
    machine.ask(ask("temperature"), Instant(0))
    request = "41017d3631bb74656d7065726174757265"
    assert [request] == hexes(machine)
    again = machine.next_wakeup()
    assert 2 * SECOND <= again <= 3 * SECOND
    machine.tick(again)
    assert [request] == hexes(machine)
    [answer] = hear(machine, "61457d3631ff32322e332043", again + MS)

    assert (answer.sent_at, answer.transmissions, answer.exchanges) == (0, 2, 1)


# RFC 7252 appendix A, figure 20
def test_a_separate_response_is_acknowledged():
    machine = one(0x7D38, 0x53)
    machine.ask(ask("temperature"), Instant(0))
    hexes(machine)
    assert hear(machine, "60007d38", 5 * MS) == []
    assert run(machine, 60 * SECOND) == []  # nothing is repeated any more
    [answer] = hear(machine, "4145ad7b53ff32322e332043", 61 * SECOND)

    assert hexes(machine) == ["6000ad7b"]
    assert (answer.payload, answer.transmissions) == (b"22.3 C", 1)


# RFC 7252 §5.2.2: a response that comes before the acknowledgement serves as one
def test_a_separate_response_that_overtakes_the_acknowledgement_counts_for_both():
    machine = one(0x7D38, 0x53)
    machine.ask(ask("temperature"), Instant(0))
    hexes(machine)
    [answer] = hear(machine, "4145ad7b53ff32322e332043", 5 * MS)
    [late] = hear(machine, "60007d38", 6 * MS)

    assert (answer.payload, late.what) == (b"22.3 C", Oddity.DUPLICATE)
    assert hexes(machine) == ["6000ad7b"]
    assert run(machine, 60 * SECOND) == []


# RFC 7252 appendix A, figure 21: whoever asked has forgotten
def test_an_unexpected_response_is_reset_and_an_unexpected_acknowledgement_ignored():
    machine = one(0x1000, 0x01)
    [first] = hear(machine, "60007d39", 0)
    [second] = hear(machine, "4145ad7c64ff32322e332043", 1)

    assert hexes(machine) == ["7000ad7c"]
    assert [first.what, second.what] == [Oddity.STRAY, Oddity.STRAY]
    assert second.text == "confirmable 2.05 Content for token 64, which nothing asked has"


# RFC 7252 appendix A, figure 22
def test_a_non_confirmable_request_and_response():
    machine = one(0x7D40, 0x75)
    machine.ask(ask("temperature", confirmable=False), Instant(0))
    assert hexes(machine) == ["51017d4075bb74656d7065726174757265"]
    [answer] = hear(machine, "5145ad7d75ff32322e332043", 5 * MS)

    assert (answer.payload, hexes(machine)) == (b"22.3 C", [])


# RFC 7252 §4.3: it is sent without awaiting an acknowledgement
def test_a_non_confirmable_request_is_never_repeated():
    machine = one(0x7D40, 0x75)
    machine.ask(ask("temperature", confirmable=False, until=200), Instant(0))

    assert len(run(machine, 300 * SECOND)) == 1
    assert [("no answer to 1 transmission", seconds(200) + 1)] == [
        (event.why, event.at) for event in machine.take_events()
    ]


# RFC 7252 §4.2 and §4.8: a first timeout from 2 to 3 s, doubled four times, 93 s at most
@pytest.mark.parametrize("seed", range(8))
def test_the_back_off_doubles_and_ends(seed):
    machine = Endpoint(
        Instant(0), first_message_id=1, first_token=1, parameters=Parameters(seed=seed)
    )
    machine.ask(ask("x"), Instant(0))
    sent = [at for at, _ in run(machine, 3600 * SECOND)]
    first = sent[1]

    assert 2 * SECOND <= first <= 3 * SECOND
    assert [0, first, 3 * first, 7 * first, 15 * first] == sent
    [failure] = machine.take_events()
    assert (31 * first, 5) == (failure.at, failure.transmissions)
    assert failure.why == "no acknowledgement of 5 transmissions"


def test_the_chance_in_the_back_off_comes_from_the_seed_alone():
    def first(seed):
        machine = Endpoint(
            Instant(0), first_message_id=1, first_token=1, parameters=Parameters(seed=seed)
        )
        machine.ask(ask("x"), Instant(0))
        return machine.next_wakeup()

    assert first(3) == first(3)
    assert len({first(seed) for seed in range(100)}) == 100


# RFC 7252 table 3, in seconds
def test_the_times_that_follow_from_the_parameters():
    made = Parameters()

    assert tuple(
        Fraction(length, SECOND)
        for length in (
            made.max_transmit_span,
            made.max_transmit_wait,
            made.max_rtt,
            made.exchange_lifetime,
            made.non_lifetime,
        )
    ) == (45, 93, 202, 247, 145)


@pytest.mark.parametrize(
    "wrong",
    [
        {"ack_timeout": 0},
        {"ack_random_factor": Fraction(1, 2)},
        {"block_exponent": 7},
        {"token_length": 9},
        {"nstart": 0},
    ],
)
def test_parameters_that_make_no_sense_are_refused(wrong):
    with pytest.raises(ValueError):
        Parameters(**wrong)


def test_the_timeout_counts_from_when_the_datagram_really_left():
    machine = one(0x7D36, 0x31)
    machine.ask(ask("temperature"), Instant(0))
    planned = machine.next_wakeup()
    [octets] = machine.take_sends()
    machine.sent(octets, Instant(30 * MS))
    assert planned + 30 * MS == machine.next_wakeup()
    [answer] = hear(machine, "61457d3631ff32322e332043", 35 * MS)

    assert answer.sent_at == 30 * MS


def test_latency_counts_from_the_first_of_several_transmissions():
    machine = one(0x7D36, 0x31)
    machine.ask(ask("temperature"), Instant(0))
    [octets] = machine.take_sends()
    machine.sent(octets, Instant(1 * MS))
    again = machine.next_wakeup()
    machine.tick(again)
    machine.sent(octets, Instant(again + 1 * MS))
    [answer] = hear(machine, "61457d3631ff32322e332043", again + 2 * MS)

    assert (answer.sent_at, answer.transmissions) == (1 * MS, 2)


def test_an_answer_counts_at_the_deadline_and_not_after_it():
    machine = one(0x7D36, 0x31)
    machine.ask(ask("temperature", until=1), Instant(0))
    [answer] = hear(machine, "61457d3631ff32322e332043", SECOND)
    assert answer.at == SECOND

    machine = one(0x7D36, 0x31)
    machine.ask(ask("temperature", until=1), Instant(0))
    run(machine, SECOND + 1)
    [failure] = machine.take_events()
    assert (failure.why, failure.at) == ("no answer to 1 transmission", SECOND + 1)
    [late] = hear(machine, "61457d3631ff32322e332043", 2 * SECOND)
    assert (late.what, "given up 1000 ms ago" in late.text) == (Oddity.STRAY, True)


def test_the_failure_tells_an_acknowledged_request_from_a_silent_node():
    machine = one(0x7D38, 0x53)
    machine.ask(ask("temperature", until=1), Instant(0))
    hear(machine, "60007d38", 5 * MS)
    run(machine, 2 * SECOND)

    assert [event.why for event in machine.take_events()] == ["acknowledged, but never answered"]


def test_a_deadline_in_the_past_sends_nothing():
    machine = one(1, 1)
    machine.ask(ask("x", until=1), Instant(2 * SECOND))

    assert (hexes(machine), machine.next_wakeup()) == ([], None)
    assert machine.take_events()[0].why == "the deadline had passed before it was asked"


# RFC 7252 §4.7: NSTART is 1
def test_requests_to_one_node_go_one_after_the_other():
    machine = one(0x1000, 0x01)
    first = machine.ask(ask("a"), Instant(0))
    second = machine.ask(ask("b"), Instant(0))
    assert hexes(machine) == ["4101100001b161"]
    assert first == hear(machine, "6145100001", 5 * MS)[0].handle
    assert hexes(machine) == ["4101100102b162"]
    [answer] = hear(machine, "6145100102", 9 * MS)

    assert (second, 5 * MS) == (answer.handle, answer.sent_at)


# RFC 7252 §4.2 and §5.2.2: the request has arrived; its answer comes in a message of its own
def test_an_empty_acknowledgement_lets_the_next_request_go():
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    machine.ask(ask("b"), Instant(0))
    hexes(machine)
    hear(machine, "60001000", 5 * MS)

    assert hexes(machine) == ["4101100102b162"]


def test_a_request_whose_turn_never_came_says_so():
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    waiting = machine.ask(ask("b", until=1), Instant(0))
    sent = run(machine, SECOND + 1)

    [failure] = machine.take_events()
    assert (waiting, 0, 1) == (failure.handle, failure.transmissions, len(sent))
    assert failure.why == "never sent: an earlier request is still without an answer"


def test_more_can_be_under_way_where_that_is_agreed():
    machine = endpoint(parameters=Parameters(nstart=2))
    for path in "abc":
        machine.ask(ask(path), Instant(0))

    assert len(hexes(machine)) == 2


def test_a_cancelled_request_is_forgotten_and_makes_room():
    machine = one(0x1000, 0x01)
    first = machine.ask(ask("a"), Instant(0))
    second = machine.ask(ask("b"), Instant(0))
    third = machine.ask(ask("c"), Instant(0))
    hexes(machine)
    machine.cancel(second, Instant(1))
    machine.cancel(first, Instant(2))
    machine.cancel(99, Instant(2))

    assert hexes(machine) == ["4101100103b163"]
    assert machine.take_events() == []
    assert third == hear(machine, "6145100103", 5)[0].handle


# RFC 7252 §4.5
def test_a_repetition_is_acknowledged_again_and_not_told_again():
    machine = one(0x7D38, 0x53)
    machine.ask(ask("temperature"), Instant(0))
    hexes(machine)
    response = "4145ad7b53ff32322e332043"
    assert len(hear(machine, response, 5 * MS)) == 1
    assert hexes(machine) == ["6000ad7b"]
    [again] = hear(machine, response, 246 * SECOND)

    assert (hexes(machine), again.what) == (["6000ad7b"], Oddity.DUPLICATE)
    [unknown] = hear(machine, response, 248 * SECOND)
    assert (hexes(machine), unknown.what) == (["7000ad7b"], Oddity.DUPLICATE)


def test_a_rejected_message_is_rejected_again():
    machine = one(1, 1)
    hear(machine, "4145ad7c64ff32", 0)
    hear(machine, "4145ad7c64ff32", 1)

    assert hexes(machine) == ["7000ad7c", "7000ad7c"]


def test_other_octets_under_a_used_id_are_a_new_message_and_told_as_odd():
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    hear(machine, "4145000101ff31", 1)
    machine.ask(ask("b"), Instant(2))
    hexes(machine)
    odd, answer = hear(machine, "4145000102ff32", 3 * SECOND)

    assert (odd.what, answer.payload) == (Oddity.REUSED, b"2")
    assert odd.text == "message id 0x0001 was used for another message 3 s ago; taken as a new one"
    assert hexes(machine) == ["60000001"]


# RFC 7252 §4.2, §4.3
def test_a_reset_ends_the_request():
    for confirmable in (True, False):
        machine = one(0x1000, 0x01)
        handle = machine.ask(ask("a", confirmable=confirmable), Instant(0))
        [failure] = hear(machine, "70001000", 5)

        assert (
            Failed(
                handle=handle, at=Instant(5), why="the node answered with a Reset", transmissions=1
            )
            == failure
        )


# RFC 7252 §4.3
def test_a_ping_is_answered_with_a_reset_each_time():
    machine = one(1, 1)
    hear(machine, "40000007", 0)
    hear(machine, "40000007", 1)

    assert hexes(machine) == ["70000007", "70000007"]
    assert machine.take_events() == []


# RFC 7252 §4.3: an empty confirmable message draws a reset from whoever is there
def test_our_ping_is_answered_by_a_reset():
    machine = one(0x1000, 0x01)
    handle = machine.ping(seconds(5), Instant(0))
    assert hexes(machine) == ["40001000"]
    [answer] = hear(machine, "70001000", 7)
    assert (handle, Code.EMPTY, 0, 7) == (answer.handle, answer.code, answer.sent_at, answer.at)

    gone = machine.ping(seconds(5), Instant(10))
    run(machine, 6 * SECOND)
    [failure] = machine.take_events()
    assert (gone, "no answer to 2 transmissions") == (failure.handle, failure.why)

    dropped = machine.ping(seconds(50), seconds(10))
    machine.cancel(dropped, seconds(11))
    assert None is machine.next_wakeup()


def test_requests_of_the_node_are_rejected():
    machine = one(1, 1)
    [odd] = hear(machine, "4101000701b161", 0)
    assert (odd.text, hexes(machine)) == ("0.01 GET, nothing is served here", ["70000007"])
    [odd] = hear(machine, "5101000801b161", 0)
    assert (odd.what, hexes(machine)) == (Oddity.STRAY, [])


# RFC 7252 §4.2 and §4.3: what cannot be processed is rejected; a reset is no must for the others
def test_malformed_confirmable_messages_are_reset_and_others_ignored():
    machine = one(1, 1)
    [odd] = hear(machine, "40451234ff", 0)
    assert (odd.what, hexes(machine)) == (Oddity.MALFORMED, ["70001234"])
    for octets in ("50451234ff", "60451234ff", "70451234", "8045", "c0451234"):
        [odd] = hear(machine, octets, 0)
        assert (odd.what, hexes(machine)) == (Oddity.MALFORMED, [])


# RFC 7252 §5.4.1: a critical option that is not understood rejects the response
@pytest.mark.parametrize(("kind", "reply"), [("61", []), ("41", ["70001000"]), ("51", [])])
def test_a_critical_option_that_is_not_understood_rejects_the_response(kind, reply):
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    hexes(machine)
    odd, failure = hear(machine, f"{kind}45100001" + "90ff31", 5)  # option 9, no value

    assert (Oddity.REFUSED, reply) == (odd.what, hexes(machine))
    assert failure.why == "2.05 Content carries what is critical and not understood: option 9"


# RFC 7252 §5.4.1
def test_an_elective_option_that_is_not_understood_is_passed_over():
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    [answer] = hear(machine, "6145100001" + "a0ff31", 5)

    assert answer.options == ((10, b""),)


# RFC 7252 §4.4 and §5.3.2: message id and token have each a purpose of their own
def test_the_token_finds_the_answer_and_the_message_id_the_acknowledgement():
    machine = one(0x1234, 0xA1)
    handle = machine.ask(ask("press"), Instant(0))
    assert hexes(machine) == ["41011234a1b57072657373"]
    assert hear(machine, "60001234", 1 * MS) == []
    [stray] = hear(machine, "61451235a0ff3939", 2 * MS)
    assert (stray.what, hexes(machine)) == (Oddity.STRAY, [])
    [answer] = hear(machine, "41457701a1ff3130312e33", 3 * MS)

    assert (handle, b"101.3") == (answer.handle, answer.payload)
    assert hexes(machine) == ["60007701"]


# RFC 7252 §5.3.2: message ids must match, and tokens too
def test_a_piggybacked_answer_with_a_foreign_token_is_no_answer():
    machine = one(0x1234, 0xA1)
    machine.ask(ask("press"), Instant(0))
    hexes(machine)
    [stray] = hear(machine, "61451234a0ff3939", 1 * MS)

    assert stray.text == "token a0 answers 0x1234, whose token is a1"
    assert len(run(machine, 10 * SECOND)) > 1  # it is still being repeated


# RFC 7252 §4.3: a non-confirmable message must not be acknowledged
def test_an_acknowledgement_of_a_non_confirmable_request_is_no_answer():
    machine = one(0x1234, 0xA1)
    machine.ask(ask("press", confirmable=False), Instant(0))
    [stray] = hear(machine, "61451234a1ff3939", 1 * MS)

    assert Oddity.STRAY is stray.what


# RFC 7252 §5.3.1: tokens in use for one endpoint are unique
def test_tokens_wrap_and_pass_over_those_under_way():
    machine = endpoint(1, 0xFF, parameters=Parameters(token_length=1, nstart=4))
    machine.ask(ask("a"), Instant(0))
    machine.ask(ask("b"), Instant(0))
    tokens = [decode(octets).token for octets in machine.take_sends()]
    assert tokens == [b"\xff", b"\x00"]

    for _ in range(254):
        machine.ask(ask("c"), Instant(0))
        for octets in machine.take_sends():
            message = decode(octets)
            machine.receive(encode(Message(ACK, 69, message.message_id, message.token)), Instant(0))
    machine.ask(ask("d"), Instant(0))
    [octets] = machine.take_sends()
    assert decode(octets).token == b"\x01"


def test_a_token_of_a_subscription_is_not_given_to_a_request():
    machine = endpoint(1, 0x00, parameters=Parameters(token_length=1))
    machine.ask(ask("a", observe=True), Instant(0))
    machine.receive(bytes.fromhex("61450001006105ff31"), Instant(0))
    tokens = set()
    for _ in range(300):
        machine.take_sends()
        machine.ask(ask("b"), Instant(0))
        message = decode(machine.take_sends()[0])
        tokens.add(message.token[0])
        machine.receive(encode(Message(ACK, 69, message.message_id, message.token)), Instant(0))

    assert tokens == set(range(1, 256))


def test_everything_an_ask_can_say_is_in_the_request():
    machine = one(1, 1)
    machine.ask(
        ask(
            "a", "ü", method=Code.PUT, query=("x=1", "y"), accept=60, content_format=0, payload=b"7"
        ),
        Instant(0),
    )
    message = decode(machine.take_sends()[0])

    assert message.code == Code.PUT
    assert (
        (Option.URI_PATH, b"a"),
        (Option.URI_PATH, "ü".encode()),
        (Option.CONTENT_FORMAT, b""),
        (Option.URI_QUERY, b"x=1"),
        (Option.URI_QUERY, b"y"),
        (Option.ACCEPT, b"\x3c"),
    ) == message.options


# RFC 7252 §5.9
def test_an_error_is_an_answer():
    machine = one(0x1000, 0x01)
    machine.ask(ask("a"), Instant(0))
    [answer] = hear(machine, "6184100001ff6e6f", 5)

    assert (answer.code, answer.payload) == (Code.NOT_FOUND, b"no")
    assert Odd is not type(answer)
