"""A small CoAP rack in Python, and a hand that answers for its node."""

from dataclasses import replace
from decimal import Decimal

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    NodeNote,
    Purpose,
    Samples,
)
from hil.core.signal import Drive, Kind, Signal
from hil.wire.coap.code import Code
from hil.wire.coap.description import Coap, Format, Part, Place, Resource, Target
from hil.wire.coap.message import Message, Type, decode, encode
from hil.wire.coap.option import Option, from_uint, uint
from hil.wire.link import Links, Packet
from hil.wire.rack import Address, Encoding, Identity, Node, Rack

BED_AT = Address("127.0.0.1", 47931)
STRANGER = Address("127.0.0.1", 50000)


def ms(count):
    return Instant(count * MILLISECOND)


def seconds(count):
    return Instant(count * SECOND)


SOIL = Signal(
    node="bed",
    name="soil",
    kind=Kind.NUMBER,
    unit="degC",
    low=Decimal(-20),
    high=Decimal(60),
    stale_after=Duration(3 * SECOND),
    warmup=Duration(500 * MILLISECOND),
    drive=Drive(safe=Decimal(21), rest=Decimal(21), actuator=False),
)
LAMP = Signal(
    node="bed",
    name="lamp",
    kind=Kind.LABEL,
    labels=("off", "on"),
    drive=Drive(safe="off", rest="off"),
)
SOIL_TEXT = Resource(
    place=Place(path=("soil",)), format=Format.TEXT, observe=True, signals={"soil": Part()}
)
LAMP_TEXT = Resource(
    place=Place(path=("lamp",)),
    format=Format.TEXT,
    poll=Duration(100 * MILLISECOND),
    signals={"lamp": Part()},
)
SERIAL = Resource(
    place=Place(path=("about", "serial")), format=Format.TEXT, facts={"serial": Part()}
)
BOOTS = Resource(place=Place(path=("about", "boots")), format=Format.TEXT, facts={"boots": Part()})


def node(*resources, serial="", **coap):
    """Return a node that is read by these resources, and driven at /soil and /lamp."""
    targets = {
        name: Target(place=Place(path=(name,)), format=Format.TEXT, part=Part())
        for name in ("soil", "lamp")
    }
    return Node(
        name="bed",
        number=1,
        address=BED_AT,
        identity=Identity(serial=serial),
        signals=(SOIL, LAMP),
        encodings={"soil": Encoding(), "lamp": Encoding(labels={0: "off", 1: "on"})},
        layouts=(),
        operations={},
        answer_within=Duration(SECOND),
        coap=replace(
            Coap(
                resources=resources,
                targets=targets,
                renew=Duration(SECOND),
                ack_timeout=Duration(100 * MILLISECOND),
            ),
            **coap,
        ),
    )


def rack(*nodes):
    return Rack(
        name="small",
        file="small.yaml",
        digest="",
        interface="lo",
        host="127.0.0.1",
        late_bound=Duration(50 * MILLISECOND),
        nodes=nodes,
        software=None,
    )


def command(token=1, signal="bed.soil", value=Decimal("23.5")):
    return Command(token=token, signal=signal, value=value, purpose=Purpose.STIMULUS)


class Hand:
    """Stands for the node: sees what the links send, and answers when it is told to."""

    def __init__(self, *nodes, start=0):
        self.links = Links(rack(*nodes), Instant(start))
        self.seen = []
        self._ids = 0x7000

    def tick(self, at):
        """Let time reach an instant, each timer at its own; return what was sent."""
        while (due := self.links.next_wakeup()) is not None and due < at:
            self.links.tick(due)
        self.links.tick(at)
        return self.sent(at)

    def sent(self, at):
        """Return what the links send now, as messages; it leaves at once."""
        messages = []
        for packet in self.links.take_sends():
            self.links.sent(packet, at)
            messages.append(decode(packet.payload))
        self.seen += self.links.take_observations()
        return messages

    def hear(self, message, at, peer=BED_AT):
        """Let a message of the node arrive; return what the links send then."""
        octets = message if isinstance(message, bytes) else encode(message)
        self.links.receive(Packet("bed", peer, octets), at)
        return self.sent(at)

    def reply(self, request, payload=b"", *, code=Code.CONTENT, observe=None, form=0):
        """Return the piggybacked answer to a request."""
        payload = payload if isinstance(payload, bytes) else payload.encode()
        options = [] if observe is None else [(Option.OBSERVE, from_uint(observe))]
        if payload and form is not None and code == Code.CONTENT:
            options.append((Option.CONTENT_FORMAT, from_uint(form)))
        kind = Type.ACKNOWLEDGEMENT
        return Message(kind, code, request.message_id, request.token, tuple(options), payload)

    def notify(self, registration, payload, observe, confirmable=False):
        """Return a notification to an observer."""
        self._ids += 1
        kind = Type.CONFIRMABLE if confirmable else Type.NON_CONFIRMABLE
        options = ((Option.OBSERVE, from_uint(observe)), (Option.CONTENT_FORMAT, b""))
        return Message(kind, Code.CONTENT, self._ids, registration.token, options, payload.encode())

    # What was observed

    def take(self):
        seen, self.seen = self.seen + self.links.take_observations(), []
        return seen

    def samples(self):
        """Return (signal, value or note, since, at) of everything seen, and forget it."""
        return [
            (s.signal, s.value if s.value is not None else s.note, s.since, s.at)
            for seen in self.take()
            if isinstance(seen, Samples)
            for s in seen.samples
        ]

    def notes(self):
        return [(s.trouble.value, s.text) for s in self.take() if isinstance(s, NodeNote)]

    def fates(self):
        kinds = (CommandSent, CommandAnswered, CommandLost)
        return [s for s in self.take() if isinstance(s, kinds)]


def path(message):
    return "/".join(
        value.decode() for number, value in message.options if number == Option.URI_PATH
    )


def observe(message):
    """Return the number of the Observe option; None where there is none."""
    return next((uint(v) for number, v in message.options if number == Option.OBSERVE), None)


def by_path(messages):
    """Return messages by what they ask for."""
    return {path(message): message for message in messages}
