"""How many octets the CoAP messages of a node take at the most, from its bench file.

    GET, PUT      exactly what the tool sends: header, token, options, the longest value
    2.05, 2.04    header, token, the options that an answer may carry, the longest payload

What a bench file does not say is bounded: a number has the 17 significant digits that tell any
binary64 (IEEE 754-2019 §5.12.2), or 9 octets in CBOR (RFC 8949 §3.3); a SenML pack begins with a
base name and a base time; JSON may be written with blanks.  Only for texts there is no bound, and
USUAL_TEXT octets are assumed.
"""

from decimal import Decimal

from hil.bus.declared import USUAL_TEXT
from hil.core.instant import Instant
from hil.core.signal import Kind, Signal
from hil.wire.coap.ask import Ask
from hil.wire.coap.code import Code
from hil.wire.coap.description import Coap, Format, Part, Place, Resource, Target, Written
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option, Options, from_uint
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.writing import Entry, write
from hil.wire.rack import Encoding, Node

EMPTY = 4
"""Octets of an empty message: an acknowledgement or a Reset (RFC 7252 §3)."""

BLOCK = 1024
"""Octets of the largest block (RFC 7959 §2.2)."""

_TOKEN = bytes(Parameters().token_length)
_LONGEST = Decimal("-1234567.8901234567")
_LARGEST_COUNT = Decimal(0xFFFF_FFFF)
_BASE_NAME, _BASE_TIME = 32, 20
_ETAG, _OBSERVE, _MAX_AGE, _BLOCK2 = bytes(8), bytes(3), bytes(4), bytes(3)


def get_octets(coap: Coap, resource: Resource, *, observe: bool, blocks: int = 1) -> int:
    """Return the size of the tool's GET, with `observe` that of its registration."""
    accept = resource.format.number if coap.accept else None
    options: list[tuple[int, bytes]] = [*_options(resource.place, accept=accept)]
    if observe:
        options.append((Option.OBSERVE, b""))
    if blocks > 1:
        options.append((Option.BLOCK2, _BLOCK2))
    return _message(Code.GET, tuple(options))


def put_octets(node: Node, name: str, target: Target) -> int:
    """Return the size of the longest PUT that drives a signal."""
    signal = next(each for each in node.signals if each.name == name)
    entry = _longest(signal, target.part, node.encodings[name])
    payload = write([(target.part, entry)], target.format)
    options = _options(target.place, content_format=target.format.number)
    return _message(Code.PUT, options, min(len(payload), BLOCK))


def changed_octets() -> int:
    """Return the size of an answer 2.04 to a PUT: it may carry an ETag, and no payload."""
    return _message(Code.CHANGED, ((Option.ETAG, _ETAG),))


def content_octets(resource: Resource, payload: int, *, observe: bool) -> int:
    """Return the size of an answer 2.05 or a notification with so many octets of payload."""
    options: list[tuple[int, bytes]] = [
        (Option.ETAG, _ETAG),
        (Option.CONTENT_FORMAT, from_uint(resource.format.number)),
        (Option.MAX_AGE, _MAX_AGE),
    ]
    if observe:
        options.append((Option.OBSERVE, _OBSERVE))
    if payload > BLOCK:
        options.append((Option.BLOCK2, _BLOCK2))
    return _message(Code.CONTENT, tuple(options), min(payload, BLOCK))


def payload_octets(node: Node, resource: Resource) -> int:
    """Return the size of the longest payload of a resource, whole."""
    signals = {signal.name: signal for signal in node.signals}
    entries: list[tuple[Part, Entry | None]] = [
        (part, _longest(signals[name], part, node.encodings[name]))
        for name, part in resource.signals.items()
    ]
    entries += [(part, _fact(node, name)) for name, part in resource.facts.items()]
    octets = len(write(entries, resource.format))
    if resource.format is Format.JSON:
        octets += 2 * sum(1 + len(part.pointer) for part, _ in entries)
    elif resource.format is Format.SENML_JSON:
        octets += len('"bn": "", "bt": , ') + _BASE_NAME + _BASE_TIME + 8 * len(entries)
    elif resource.format is Format.SENML_CBOR:
        octets += 1 + 2 + _BASE_NAME + 1 + 9  # label, head and text; label and binary64
    return octets


def untold(node: Node, resource: Resource) -> bool:
    """Say whether a resource carries a text, whose length nothing says."""
    texts = {signal.name for signal in node.signals if signal.kind is Kind.TEXT}
    return not texts.isdisjoint(resource.signals)


def _longest(signal: Signal, part: Part, encoding: Encoding) -> Entry:
    """Return the value of a signal that takes the most octets."""
    if signal.kind is Kind.TEXT:
        return "x" * USUAL_TEXT
    if signal.kind is Kind.LABEL:
        if part.written is Written.BOOLEAN:
            return False
        if part.written is Written.NUMBER:
            return Decimal(max(encoding.labels, key=lambda raw: (abs(raw), -raw)))
        return max(encoding.labels.values(), key=len)
    return _LONGEST if signal.low is None or signal.low < 0 else -_LONGEST


def _fact(node: Node, name: str) -> Entry:
    if name in ("boots", "uptime"):
        return _LARGEST_COUNT
    return (node.identity.serial if name == "serial" else "") or "x" * USUAL_TEXT


def _options(
    place: Place, *, accept: int | None = None, content_format: int | None = None
) -> Options:
    ask = Ask(
        path=place.path,
        query=place.query,
        accept=accept,
        content_format=content_format,
        until=Instant(0),
    )
    return ask.options()


def _message(code: Code, options: Options, payload: int = 0) -> int:
    kind = Type.CONFIRMABLE
    return len(encode(Message(kind, code, 0, _TOKEN, options, bytes(payload))))
