"""A CoAP message as `hil wire` prints it: the head, the options by name, the payload (RFC 7252 §3)."""

from collections.abc import Iterator

from hil.core.count import counted
from hil.report.line import Line, Tone
from hil.report.visible import visible_line
from hil.wire.coap.code import code_name
from hil.wire.coap.message import Malformed, Message, Type, decode
from hil.wire.coap.option import render_option

_KINDS = {
    Type.CONFIRMABLE: "confirmable",
    Type.NON_CONFIRMABLE: "non-confirmable",
    Type.ACKNOWLEDGEMENT: "acknowledgement",
    Type.RESET: "reset",
}
_SHOWN = 400


def coap_message(payload: bytes) -> tuple[bool, list[Line]]:
    """Return whether octets are a CoAP message, and what they say or why they are none."""
    try:
        message = decode(payload)
    except Malformed as refusal:
        return False, [(("no CoAP message: ", Tone.BAD), (str(refusal), Tone.PLAIN))]
    title = f"{_KINDS[message.type]} {code_name(message.code)}"
    size = counted(len(payload), "octet")
    head = (("CoAP message", Tone.GOOD), (f" of {size}: {title}", Tone.PLAIN))
    rows = list(_rows(message))
    width = max(len(word) for word, _ in rows)
    return True, [
        head,
        (),
        *(((f"  {word:<{width}}  ", Tone.QUIET), (text, Tone.PLAIN)) for word, text in rows),
    ]


def _rows(message: Message) -> Iterator[tuple[str, str]]:
    yield "message id", f"0x{message.message_id:04x}"
    yield "token", message.token.hex() or "none"
    for number, value in message.options:
        name, _, text = visible_line(render_option(number, value)).partition(": ")
        yield name, text
    if message.payload:
        yield "payload", f"{counted(len(message.payload), 'octet')}: {_shown(message.payload)}"


def _shown(payload: bytes) -> str:
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        text = payload.hex(" ")
    text = visible_line(text)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."
