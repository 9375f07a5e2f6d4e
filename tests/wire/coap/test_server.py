"""The node's side: what it answers, in which way, and what it never answers."""

import itertools

import pytest
from wire.coap.pair import Pair, Store, seconds

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.wire.coap.code import Code
from hil.wire.coap.link_format import parse
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option, from_uint
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.server import Reply, Resource, Server
from hil.wire.rack import Address

CON, NON, ACK, RST = Type
CLIENT = Address("127.0.0.1", 50_000)
OTHER = Address("127.0.0.1", 50_001)
IDS = itertools.count(1)


def path(text):
    return tuple((Option.URI_PATH, part.encode()) for part in text.split("/"))


class Node:
    """A server and what it sends; `hear` hands it octets or a message."""

    def __init__(self, store=None, **more):
        self.store = store or Store()
        self.server = Server(self.store.resources, Instant(0), first_message_id=0x7001, **more)

    def hear(self, thing, at=0, source=CLIENT, **more):
        octets = bytes.fromhex(thing) if isinstance(thing, str) else encode(thing)
        self.server.receive(source, octets, Instant(at), **more)
        return self.sent()

    def sent(self):
        return [octets for _, octets in self.server.take_sends()]

    def ask(self, where, code=Code.GET, *options, kind=CON, payload=b"", at=0):
        """Ask something; return the answer."""
        message = Message(kind, code, next(IDS), b"\x07", (*path(where), *options), payload)
        [octets] = self.hear(message, at)
        return decode(octets)

    def run(self, until):
        sent = []
        while (wakeup := self.server.next_wakeup()) is not None and wakeup <= until:
            self.server.tick(wakeup)
            sent += [(wakeup, octets.hex()) for octets in self.sent()]
        return sent


# RFC 7252 appendix A, figures 17 and 19: the answer, and the same answer to a repetition
def test_a_piggybacked_response_and_its_repetition():
    resource = Resource(path=("temperature",), answer=lambda request: Reply(payload=b"22.3 C"))
    node = Node()
    node.server = Server([resource], Instant(0), first_message_id=1)
    request, answer = "41017d3520bb74656d7065726174757265", "61457d3520ff32322e332043"

    assert [bytes.fromhex(answer)] == node.hear(request)
    assert [bytes.fromhex(answer)] == node.hear(request, 246 * SECOND)


# RFC 7252 appendix A, figure 22
def test_a_non_confirmable_request_gets_a_non_confirmable_response():
    resource = Resource(path=("temperature",), answer=lambda request: Reply(payload=b"22.3 C"))
    node = Node()
    node.server = Server([resource], Instant(0), first_message_id=0xAD7D)

    assert [bytes.fromhex("5145ad7d75ff32322e332043")] == node.hear(
        "51017d4075bb74656d7065726174757265"
    )


# RFC 7252 appendix A, figure 20
def test_what_takes_long_is_answered_separately():
    resource = Resource(
        path=("temperature",),
        answer=lambda request: Reply(payload=b"22.3 C"),
        delay=Duration(3 * SECOND),
    )
    node = Node()
    node.server = Server([resource], Instant(0), first_message_id=0xAD7B)
    request = "41017d3853bb74656d7065726174757265"
    assert node.hear(request) == []
    assert node.hear(request, 100 * MILLISECOND) == []  # not answered yet: nothing to repeat
    assert node.run(SECOND) == [(200 * MILLISECOND, "60007d38")]
    assert [octets.hex() for octets in node.hear(request, SECOND)] == ["60007d38"]
    assert node.run(4 * SECOND) == [(3 * SECOND, "4145ad7b53ff32322e332043")]
    [again] = node.run(6 * SECOND)  # until it is acknowledged
    assert again[1] == "4145ad7b53ff32322e332043"
    assert node.hear("6000ad7b", 6 * SECOND) == []
    assert node.run(3600 * SECOND) == []


# RFC 7252 §5.2.1
def test_what_takes_less_than_an_acknowledgement_is_answered_in_it():
    node = Node(Store(slow=Duration(150 * MILLISECOND)))
    assert node.hear(Message(CON, Code.GET, 9, b"", path("slow"))) == []
    [(at, octets)] = node.run(SECOND)

    assert (at, octets[:4]) == (150 * MILLISECOND, "6045")


def test_a_separate_response_nobody_acknowledges_or_wants_ends():
    for reply, count in ((None, 5), ("70007001", 1)):
        node = Node(Store(slow=Duration(SECOND)))
        node.hear(Message(CON, Code.GET, 9, b"", path("slow")))
        sent = node.run(SECOND)[1:]
        if reply:
            node.hear(reply, SECOND)
        sent += node.run(3600 * SECOND)

        assert count == len(sent)


# RFC 7252 §4.5
def test_a_request_is_acted_on_once_however_often_it_arrives():
    node = Node()
    request = Message(CON, Code.PUT, 5, b"\1", path("store"), b"7")
    first = node.hear(request)

    assert first == node.hear(request, SECOND) == node.hear(request, 2 * SECOND)
    assert node.store.asked == [("store", Code.PUT)]
    assert node.hear(Message(NON, Code.PUT, 6, b"\1", path("store"), b"7"))[1:] == []
    assert node.hear(Message(NON, Code.PUT, 6, b"\1", path("store"), b"7")) == []
    assert len(node.store.asked) == 2


def test_the_same_id_of_another_client_or_for_another_request_is_another_request():
    node = Node()
    request = Message(CON, Code.PUT, 5, b"\1", path("store"), b"7")
    node.hear(request)
    node.hear(request, source=OTHER)
    node.hear(Message(CON, Code.PUT, 5, b"\1", path("store"), b"8"))
    node.hear(request, 248 * SECOND)  # the first one has outlived its time

    assert len(node.store.asked) == 4


@pytest.mark.parametrize(
    ("where", "code", "options", "answer"),
    [
        ("nowhere", Code.GET, (), Code.NOT_FOUND),
        ("temperature/inside", Code.GET, (), Code.NOT_FOUND),
        ("temperature", Code.PUT, (), Code.METHOD_NOT_ALLOWED),
        ("temperature", 31, (), Code.METHOD_NOT_ALLOWED),  # a method nobody knows, §5.8
        ("temperature", Code.GET, ((Option.ACCEPT, from_uint(60)),), Code.NOT_ACCEPTABLE),
        ("temperature", Code.GET, ((Option.ACCEPT, b""),), Code.CONTENT),
        ("temperature", Code.GET, ((9, b""),), Code.BAD_OPTION),
        ("temperature", Code.GET, ((65000, b"x"),), Code.CONTENT),
        ("temperature", Code.GET, ((Option.URI_HOST, b"node"),), Code.CONTENT),
        ("temperature", Code.GET, ((Option.PROXY_URI, b"coap://x/"),), Code.PROXYING_NOT_SUPPORTED),
        ("temperature", Code.GET, ((Option.PROXY_SCHEME, b"coap"),), Code.PROXYING_NOT_SUPPORTED),
        ("store", Code.PUT, ((Option.IF_NONE_MATCH, b""),), Code.PRECONDITION_FAILED),
        ("store", Code.PUT, ((Option.IF_MATCH, b""),), Code.CHANGED),
        ("store", Code.PUT, ((Option.IF_MATCH, b"other"),), Code.PRECONDITION_FAILED),
        ("soap", Code.POST, ((Option.IF_MATCH, b"other"),), Code.PRECONDITION_FAILED),
    ],
)
def test_what_a_request_is_answered_with(where, code, options, answer):
    assert answer == Node().ask(where, code, *options).code


# RFC 7252 §5.9.2.10: 4.15
def test_a_content_format_that_is_not_taken():
    resource = Resource(
        path=("x",),
        answer=lambda request: Reply(Code.CHANGED),
        methods=frozenset({Code.PUT}),
        takes=(0,),
    )
    node = Node()
    node.server = Server([resource], Instant(0), first_message_id=1)
    cbor = (Option.CONTENT_FORMAT, from_uint(60))
    text = (Option.CONTENT_FORMAT, b"")

    assert node.ask("x", Code.PUT, cbor).code == Code.UNSUPPORTED_CONTENT_FORMAT
    assert node.ask("x", Code.PUT, text).code == Code.CHANGED


# RFC 7252 §5.4.1: 4.02 with a diagnostic payload; a non-confirmable one is rejected
def test_a_bad_option_is_named_and_a_non_confirmable_request_with_one_ignored():
    answer = Node().ask("temperature", Code.GET, (9, b""))
    assert answer.payload == b"not understood: option 9"

    assert Node().hear(Message(NON, Code.GET, 1, b"", (*path("temperature"), (9, b"")))) == []


# RFC 7252 §5.6.2: validation
def test_an_entity_tag_that_still_holds_is_confirmed_without_the_body():
    node = Node(Store())
    tag = dict(node.ask("temperature", Code.GET, (Option.BLOCK2, b"\x06")).options)[Option.ETAG]
    valid = node.ask("temperature", Code.GET, (Option.ETAG, b"old"), (Option.ETAG, tag))
    assert (Code.VALID, b"", tag) == (valid.code, valid.payload, dict(valid.options)[Option.ETAG])
    node.store.text = "21"

    assert node.ask("temperature", Code.GET, (Option.ETAG, tag)).code == Code.CONTENT


def test_what_is_no_request_is_reset_or_ignored():
    node = Node()

    assert [octets.hex() for octets in node.hear("40000001")] == ["70000001"]  # a ping
    assert [octets.hex() for octets in node.hear("40450002")] == ["70000002"]  # a response
    assert [octets.hex() for octets in node.hear("40010003ff")] == ["70000003"]
    for octets in ("50450004", "50010005ff", "60000006", "70000007", "00", "", "c0010008"):
        assert node.hear(octets) == []


# RFC 6690 §4 and §4.1
def test_the_node_lists_what_it_has():
    node = Node()
    answer = node.ask(".well-known/core")
    assert (answer.options[0][1][0], answer.code) == (40, Code.CONTENT)
    links = parse(answer.payload.decode())
    assert [link.target for link in links] == ["/temperature", "/big", "/slow", "/store", "/soap"]
    assert str(links[0]) == '</temperature>;rt="temperature-c";if="sensor";ct=0;obs'
    query = (Option.URI_QUERY, b"rt=temperature-c")
    assert (
        parse(node.ask(".well-known/core", Code.GET, query).payload.decode())[0].target
        == "/temperature"
    )


def test_a_path_with_signs_of_its_own_is_quoted_in_the_list():
    resource = Resource(path=("a b", "ü,<>"), answer=lambda request: Reply())

    assert resource.link().target == "/a%20b/%C3%BC,%3C%3E"


# RFC 7252 §8.2: a group hears of no errors, and of answers after a while
def test_a_request_to_a_group_is_answered_late_and_only_with_something_to_say():
    node = Node(parameters=Parameters(seed=5))
    core = path(".well-known/core")
    request = Message(NON, Code.GET, 1, b"\1", core)
    assert node.hear(request, multicast=True) == []
    [(at, octets)] = node.run(10 * SECOND)
    assert (0 < at <= 5 * SECOND, octets[:8]) == (True, "51457001")
    nothing = (*core, (Option.URI_QUERY, b"rt=nothing"))
    for message in (
        Message(NON, Code.GET, 2, b"\1", path("nowhere")),
        Message(NON, Code.GET, 3, b"\1", nothing),
        Message(CON, Code.GET, 4, b"\1", core),
        Message(CON, Code.EMPTY, 5),
    ):
        assert node.hear(message, at=10 * SECOND, multicast=True) == []
        assert node.run(20 * SECOND) == []
    assert node.hear("40010003ff", at=20 * SECOND, multicast=True) == []


# RFC 7641 §4.1
def test_an_observer_of_what_cannot_be_observed_is_just_answered():
    node = Node()
    answer = node.ask("store", Code.GET, (Option.OBSERVE, b""))

    assert Option.OBSERVE not in dict(answer.options)
    assert node.server.observers(("store",)) == 0


# RFC 7641 §4.1: the entry is replaced, none is added
def test_registering_again_with_the_same_token_keeps_one_subscription():
    node = Node()
    first = node.ask("temperature", Code.GET, (Option.OBSERVE, b""))
    second = node.ask("temperature", Code.GET, (Option.OBSERVE, b""))

    assert node.server.observers(("temperature",)) == 1
    assert tuple(dict(one.options)[Option.OBSERVE] for one in (first, second)) == (b"\1", b"\2")


def test_registering_again_ends_what_was_still_repeated_for_the_first_time():
    node = Node(confirm_every=1)
    node.ask("temperature", Code.GET, (Option.OBSERVE, b""))
    node.server.changed(("temperature",), Instant(1))
    assert len(node.sent()) == 1
    node.ask("temperature", Code.GET, (Option.OBSERVE, b""), at=2)

    assert node.run(3600 * SECOND) == []


# RFC 7641 §4.2: an error ends the subscription, in a notification of its own
@pytest.mark.parametrize("confirm_every", [1, 100])
def test_an_error_is_the_last_notification(confirm_every):
    node = Node(confirm_every=confirm_every)
    gone = []
    resource = Resource(
        path=("x",),
        answer=lambda request: Reply(Code.NOT_FOUND) if gone else Reply(payload=b"1"),
        observable=True,
    )
    node.server = Server([resource], Instant(0), first_message_id=1, confirm_every=confirm_every)
    node.ask("x", Code.GET, (Option.OBSERVE, b""))
    gone.append(True)
    node.server.changed(("x",), Instant(1))
    [octets] = node.sent()
    assert (decode(octets).code, decode(octets).options) == (Code.NOT_FOUND, ())
    node.hear("60000001", 2)

    assert node.server.observers(("x",)) == 0


# RFC 7641 §4.5: at least every 24 hours one is confirmable
def test_once_a_day_a_notification_asks_for_an_acknowledgement():
    node = Node(confirm_every=1000)
    node.ask("temperature", Code.GET, (Option.OBSERVE, b""))
    kinds = []
    for hour in range(1, 50):
        node.server.changed(("temperature",), seconds(hour * 3600))
        [octets] = node.sent()
        kinds.append(decode(octets).type)
        if kinds[-1] is CON:
            node.hear(
                encode(Message(ACK, 0, decode(octets).message_id)).hex(), seconds(hour * 3600)
            )

    assert [hour for hour, kind in enumerate(kinds, 1) if kind is CON] == [24, 48]


def test_every_client_has_a_line_of_its_own():
    node = Node(Store(slow=Duration(SECOND)))
    for source in (CLIENT, OTHER):
        for number in (1, 2):
            node.hear(Message(CON, Code.GET, number, bytes([number]), path("slow")), source=source)
    node.run(SECOND - 1)
    node.server.tick(Instant(SECOND))
    sends = node.server.take_sends()

    assert [peer for peer, _ in sends] == [CLIENT, OTHER]  # NSTART is 1 for each
    [following] = node.hear(Message(ACK, 0, decode(sends[0][1]).message_id), SECOND)
    assert decode(following).token == b"\2"


def test_an_endpoint_and_a_server_ping():
    pair = Pair()
    pair.endpoint.ping(seconds(1), pair.now)
    pair.run(1)

    assert [event.code for event in pair.events] == [Code.EMPTY]
