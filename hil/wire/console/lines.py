"""Octets to lines.  Works on octets and in any pieces: the same lines come out however they are cut.

    ff 99 62 6f 6f 74 | 0d | 0a      one line, `\\xff\\x99boot`
    c3 | a9 0a                       one line, `é`
    > ok 0d 0a                       a prompt, and the line `ok`

A line ends with CR, LF or both; empty ones are nothing.  A line of more than `limit` octets comes
in pieces of that size, all of them CUT, and none is ever compared with a pattern.  A prompt is
found at the beginning of a line as soon as it is complete: where its pattern fits and its last
character has just come.  What has no end yet is `rest`.
"""

import re
from enum import Enum
from typing import NamedTuple

from hil.core.instant import Instant
from hil.wire.console.pattern import last_character

PROMPT_OCTETS = 64
"""The longest prompt."""

_END = re.compile(rb"\r\n|\r|\n")
_CODES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|[@-Z\\-_])")
"""Escape sequences of terminals, ECMA-48 §5.4 (CSI) and §5.3 (Fe)."""
_UNCLEAN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\udc80-\udcff]")


class Kind(Enum):
    """What a line is."""

    WHOLE = "whole"
    CUT = "cut"
    PROMPT = "prompt"


class Line(NamedTuple):
    """A line without its end; its first octet came at `begun`, its end at `at`."""

    octets: bytes
    kind: Kind
    begun: Instant
    at: Instant

    @property
    def text(self) -> str:
        """All of it, with what is no UTF-8 as `\\xff`."""
        return self.octets.decode("utf-8", "backslashreplace")

    @property
    def clean(self) -> str:
        """What patterns are compared with, see `clean_text`."""
        return clean_text(self.octets)


def clean_text(octets: bytes) -> str:
    """Return a line from its last clean start: what follows the last rubbish in it.

    Escape sequences are left out, and so is rubbish at the end.

    >>> clean_text(bytes.fromhex("FF 99 95 ED 62 6F 6F 74 3A 20 6F 6B"))
    'boot: ok'
    """
    if octets.isascii() and (text := octets.decode()).isprintable():
        return text
    text = _CODES.sub("", octets.decode("utf-8", "surrogateescape"))
    if _UNCLEAN.search(text) is None:
        return text
    pieces = [piece for piece in _UNCLEAN.split(text) if piece.strip()]
    return pieces[-1] if pieces else ""


class Lines:
    """Cuts what one line says into lines; `limit` is the longest, in octets."""

    def __init__(self, limit: int, prompt: re.Pattern[str] | None = None) -> None:
        self._limit = limit
        self._prompt = prompt
        last = last_character(prompt.pattern) if prompt is not None else ""
        self._last = last.encode()[-1:]
        self._pending = bytearray()
        self._begun = Instant(0)
        self._over = False  # the line that is coming is longer than the limit
        self._after_cr = False

    @property
    def rest(self) -> bytes:
        """What has come of a line that has not ended."""
        return bytes(self._pending)

    def feed(self, octets: bytes, at: Instant) -> list[Line]:
        """Take in octets that arrived at `at`; return the lines that they complete."""
        lines: list[Line] = []
        start = 0
        if octets and self._after_cr:
            self._after_cr = False
            start = int(octets[0] == 0x0A)
        for end in _END.finditer(octets, start):
            self._add(octets[start : end.start()], at, lines)
            self._end(at, lines)
            start = end.end()
            self._after_cr = start == len(octets) and octets[-1] == 0x0D
        self._add(octets[start:], at, lines)
        return lines

    def _add(self, octets: bytes, at: Instant, lines: list[Line]) -> None:
        """Append octets without any line end."""
        pending, limit = self._pending, self._limit
        while octets:
            if not pending:
                self._begun = at
            room = self._room(octets)
            pending += octets[:room]
            octets = octets[room:]
            if self._is_prompt():
                self._hand_over(Kind.PROMPT, at, lines)
            elif len(pending) >= limit:
                self._over = True
                self._hand_over(Kind.CUT, at, lines)

    def _room(self, octets: bytes) -> int:
        """Return how many octets may be taken before one must look again."""
        known = len(self._pending)
        room = self._limit - known
        if self._last and not self._over and known < PROMPT_OCTETS:
            place = octets.find(self._last, 0, PROMPT_OCTETS - known)
            if place >= 0:
                return min(room, place + 1)
        return room

    def _is_prompt(self) -> bool:
        pending = self._pending
        if self._prompt is None or self._over or len(pending) > PROMPT_OCTETS:
            return False
        if pending[-1:] != self._last:
            return False
        text = _CODES.sub("", pending.decode("utf-8", "surrogateescape"))
        return self._prompt.fullmatch(text) is not None

    def _end(self, at: Instant, lines: list[Line]) -> None:
        if self._pending:
            self._hand_over(Kind.CUT if self._over else Kind.WHOLE, at, lines)
        self._over = False

    def _hand_over(self, kind: Kind, at: Instant, lines: list[Line]) -> None:
        lines.append(Line(bytes(self._pending), kind, self._begun, at))
        self._pending.clear()
