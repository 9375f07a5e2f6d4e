"""The shape of `coap` under a node of a bench file, and under its signals."""

import re
from collections.abc import Mapping
from urllib.parse import unquote_to_bytes

from hil.core.instant import Duration
from hil.files.leaf import ANY_TEXT, DURATION, FLAG, TITLE, WHOLE, words
from hil.files.mistake import Misread, Page, show
from hil.files.shape import Either, Key, Leaf, Record
from hil.files.tree import Node
from hil.wire.coap.description import Format, Place, Written

SEGMENT_LIMIT = 255
"""Octets in one part of a path or query (RFC 7252 §5.10)."""

_ALLOWED = re.compile(r"[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*")
"""What RFC 3986 §3.3 and §3.4 allow in a path and its query."""

_BROKEN_PERCENT = re.compile(r"%(?![0-9A-Fa-f]{2})")


def read_place(text: str) -> Place:
    """Read a path such as `sensors/soil?unit=c`; percent-encoded octets are decoded.

    >>> str(read_place("sensors/soil%20bed"))
    '/sensors/soil bed'
    """
    if "://" in text:
        raise Misread(f"{show(text)} names a node, expected only the path on it", "sensors/soil")
    if _ALLOWED.fullmatch(text) is None or _BROKEN_PERCENT.search(text):
        raise Misread(f"{show(text)} is not a path", "letters, digits, `/`, others as in `%20`")
    path, question, query = text.removeprefix("/").partition("?")
    parts = tuple(_segment(part, text) for part in path.split("/")) if path else ()
    if any(part in (".", "..") for part in parts):
        raise Misread(f"{show(text)}: a path on a node has no `.` and no `..`")
    queries = tuple(_segment(part, text) for part in query.split("&")) if question else ()
    return Place(path=parts, query=queries)


def _segment(part: str, text: str) -> str:
    octets = unquote_to_bytes(part)
    if len(octets) > SEGMENT_LIMIT:
        raise Misread(f"{show(text)} has a part of more than {SEGMENT_LIMIT} octets")
    try:
        return octets.decode()
    except UnicodeDecodeError:
        raise Misread(f"{show(text)} has a part that is no UTF-8") from None


def read_pointer(text: str) -> tuple[str, ...]:
    """Read a JSON Pointer (RFC 6901) such as `/air/temperature`: its steps."""
    if not text.startswith("/"):
        raise Misread(f"{show(text)} is not a pointer, which begins with `/`", f"/{text}")
    if re.search(r"~(?![01])", text):
        raise Misread(f"{show(text)} has a `~` that is neither `~0` nor `~1`", "~0 for `~` itself")
    steps = text.removeprefix("/").split("/")
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in steps)


def read_length(keys: Mapping[str, Node], key: str, page: Page) -> Duration | None:
    """Return a duration above 0; None where there is none, or it is a mistake."""
    length = DURATION.at(keys, key, page)
    if length == 0:
        page.wrong(keys[key], f"{key}: expected more than 0 s")
    return length or None


PATH: Leaf[Place] = Leaf(
    "a path such as `sensors/soil`",
    read_place,
    {"type": "string", "pattern": r"^[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*$"},
)
POINTER: Leaf[tuple[str, ...]] = Leaf(
    "a pointer such as `/air/temperature`", read_pointer, {"type": "string", "pattern": "^/"}
)
FORMAT = words(*(form.value for form in Format))
WRITTEN = words(*(way.value for way in Written))
RECORD: Leaf[str] = Leaf("a record such as `temperature`", TITLE.parse, ANY_TEXT)
SUFFIX: Leaf[str] = Leaf("a word such as `C`", TITLE.parse, ANY_TEXT)

_WHERE = {
    "path": Key(PATH, "the path of the resource"),
    "format": Key(FORMAT, "the format of its payload (text)"),
    "pointer": Key(POINTER, "the way to the value in JSON or CBOR, as a JSON Pointer"),
    "record": Key(RECORD, "the name of the SenML record, in full or without its base name"),
}
FACT = Record("a resource", {**_WHERE, "path": Key(PATH, "the path of the resource", True)})
UPTIME = Record(
    "a resource",
    {**FACT.keys, "tick": Key(DURATION, "how long one count of the uptime is (1 s)")},
)
PUT = Record("where it is put", {**FACT.keys})
COAP_SIGNAL = Record(
    "coap of a signal",
    {
        **_WHERE,
        "suffix": Key(SUFFIX, "the word behind the number in a text, such as the C of `22.3 C`"),
        "record-unit": Key(TITLE, "the SenML unit of its record (the one that means the unit)"),
        "labels-as": Key(WRITTEN, "how a label is written (word)"),
        "binary32": Key(FLAG, "whether fractions in CBOR are binary32 (no)"),
        "observe": Key(FLAG, "whether the tool observes it (as the node says)"),
        "poll": Key(DURATION, "how often the tool asks for it (as the node says)"),
        "put": Key(Either((PATH, PUT)), "where it is driven, if not at its path (its path)"),
    },
    some=(("path", "put"),),
    goes_with={
        "observe": ("path",),
        "poll": ("path",),
        "record-unit": ("record",),
    },
)
COAP = Record(
    "coap",
    {
        "observe": Key(FLAG, "whether the tool observes its signals (no)"),
        "poll": Key(DURATION, "how often the tool asks for each signal"),
        "renew": Key(DURATION, "how often it registers again and reads everything else (5 s)"),
        "confirmable": Key(FLAG, "whether requests are confirmable messages (yes)"),
        "accept": Key(FLAG, "whether requests name the format they want (yes)"),
        "ack-timeout": Key(DURATION, "how long until a message is sent again the first time (2 s)"),
        "retransmissions": Key(WHOLE, "how often a message is sent again at most (4)"),
        "serial": Key(Either((PATH, FACT)), "where it tells its serial number"),
        "firmware": Key(Either((PATH, FACT)), "where it tells its firmware"),
        "boots": Key(Either((PATH, FACT)), "where it tells how often it has booted"),
        "uptime": Key(Either((PATH, UPTIME)), "where it tells how long ago it booted"),
    },
)
