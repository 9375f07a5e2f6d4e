"""Octets as people write them down: hex in any usual spelling, or a line of a journal.

31 01 02 bc    31:01:02:BC    310102bc    0x31, 0x01    \\x31\\x01    {"event": "datagram", …}
"""

import json
import re
from typing import NamedTuple

_GAP = re.compile(r"[\s,;:|_-]+")
_MARKS = re.compile(r"(?:0x|\\x)", re.IGNORECASE)
_HEX = re.compile(r"[0-9A-Fa-f]*")
_LONGEST = 65_535  # octets in a UDP datagram (RFC 768: a 16-bit length)


class Written(NamedTuple):
    """Octets that somebody wrote down; `node` and `way` (`in`, `out`) where a journal says so."""

    octets: bytes
    node: str = ""
    way: str = ""


class UnreadableError(ValueError):
    """A text is no octets; the message says where, `hint` what to write instead."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.hint = hint


def read_written(text: str) -> Written:
    """Read octets.  Raises UnreadableError.

    >>> read_written("0x31, 0x1").octets.hex(), read_written("31:01-02bc").octets.hex()
    ('3101', '310102bc')
    """
    text = text.strip()
    if text.startswith("{"):
        return _journal_line(text)
    return Written(_octets(text))


def _octets(text: str) -> bytes:
    found = bytearray()
    for word in _GAP.split(text):
        marked = _MARKS.match(word) is not None
        for digits in _MARKS.split(word):
            found += _word(digits, marked)
    if len(found) > _LONGEST:
        raise UnreadableError(f"{len(found)} octets are more than a datagram has")
    return bytes(found)


def _word(digits: str, marked: bool) -> bytes:
    good = _HEX.match(digits)
    if good is None or good.end() < len(digits):
        at = 0 if good is None else good.end()
        what = f"{digits[at]!r} is no hex digit, in {digits[:40]!r}"
        raise UnreadableError(what, "octets in hex, such as 31 01 02 bc")
    if len(digits) == 1 and marked:
        digits = f"0{digits}"
    if len(digits) % 2:
        what = f"{digits[:40]!r} has an odd number of hex digits: half an octet is missing"
        raise UnreadableError(what, "two digits for each octet")
    return bytes.fromhex(digits)


def _journal_line(written: str) -> Written:
    try:
        line = json.loads(written)
    except (ValueError, RecursionError) as error:
        raise UnreadableError("this begins like a line of a journal and is none") from error
    line = line if isinstance(line, dict) else {}
    octets, text = line.get("hex"), line.get("text")
    if isinstance(text, str) and line.get("event") == "console-line" and not octets:
        found = text.encode("utf-8", "replace")  # where these are not its octets, `hex` has them
    elif isinstance(octets, str):
        found = _octets(octets)
    else:
        what = "this line of a journal has no octets"
        raise UnreadableError(what, 'one with "event": "datagram" or "console-line"')
    node, way = line.get("node"), line.get("way")
    return Written(
        found,
        node if isinstance(node, str) else "",
        way if isinstance(way, str) else "",
    )
