"""CoAP messages in words, and what their payloads say about signals.

A response names no resource: which one it is of is told by the request that bears its token, so
the requests of a run are at hand by (node, token).  A payload that came in blocks is not put
together here; the journal has them all.
"""

from collections.abc import Mapping

from hil.core.event import Datagram
from hil.core.instant import Instant
from hil.core.signal import Sample, Validity
from hil.wire.coap.block import read_block
from hil.wire.coap.cbor import load_cbor
from hil.wire.coap.code import is_success
from hil.wire.coap.description import Format, Resource
from hil.wire.coap.message import Malformed, Message, decode
from hil.wire.coap.number import Unreadable
from hil.wire.coap.option import Option, uint
from hil.wire.coap.payload import open_payload
from hil.wire.coap.report import Origin, Report
from hil.wire.rack import Node

Requests = Mapping[tuple[str, str], Datagram]
LONGEST = 120
"""So much of a payload is shown, in characters."""

_CBOR = (Format.CBOR.number, Format.SENML_CBOR.number)


def coap_parts(payload: bytes) -> tuple[str, tuple[tuple[str, str], ...], str]:
    """Return a message in words: its kind, its parts as (name, value), what is wrong with it."""
    try:
        message = decode(payload)
    except Malformed as error:
        return "", (), f"no CoAP message: {error}"
    kind, *rest = str(message).split(", ")
    parts = [("", part) for part in rest if not part.endswith(" octets")]
    if message.payload:
        parts.append(("payload", _payload(message)))
    return kind, tuple(parts), ""


def coap_samples(node: Node, datagram: Datagram, octets: bytes, asked: Requests) -> list[Sample]:
    """Return what a response says about the signals of its node; nothing where it is none."""
    try:
        message = decode(octets)
    except Malformed:
        return []
    resource = _resource(node, asked.get((node.name, message.token.hex())))
    if resource is None or not is_success(message.code) or not _is_whole(message):
        return []
    try:
        content = open_payload(message.payload, resource.format)
    except Unreadable:
        return []
    at = Instant(datagram.at)
    report = Report(Origin(resource, node), content, at, at, octets, None)
    return [sample for sample in report.samples if sample.validity is not Validity.STALE]


def _resource(node: Node, request: Datagram | None) -> Resource | None:
    if request is None or node.coap is None:
        return None
    try:
        message = decode(bytes.fromhex(request.hex))
    except ValueError:  # no hex, or no message: Malformed is one as well
        return None
    path, query = _words(message, Option.URI_PATH), _words(message, Option.URI_QUERY)
    for resource in node.coap.resources:
        if resource.place.path == path and resource.place.query == query:
            return resource
    return None


def _words(message: Message, option: Option) -> tuple[str, ...]:
    return tuple(
        value.decode("utf-8", "replace") for number, value in message.options if number == option
    )


def _is_whole(message: Message) -> bool:
    """Say whether the payload is all of a representation, not a block of it."""
    blocks = [read_block(value) for number, value in message.options if number == Option.BLOCK2]
    return bool(message.payload) and all(
        block is not None and block.number == 0 and not block.more for block in blocks
    )


def _payload(message: Message) -> str:
    """Return a payload as text: CBOR as what it holds, others as they are, else octets."""
    form = next((uint(v) for n, v in message.options if n == Option.CONTENT_FORMAT), None)
    try:
        text = str(load_cbor(message.payload)) if form in _CBOR else message.payload.decode("utf-8")
    except (Unreadable, UnicodeDecodeError):
        return f"{len(message.payload)} octets"
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
