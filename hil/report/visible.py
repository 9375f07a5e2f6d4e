"""Text from nodes, made safe to print: whatever is not plain text becomes visible.

A control character from a node must neither break a report (XML 1.0 forbids most of them, even
as references) nor reach somebody's terminal.  Nothing is dropped: ESC becomes `\\x1b`.

    allowed by XML 1.0 (production 2, Char)   #x9 #xA #xD #x20-#xD7FF #xE000-#xFFFD #x10000-#x10FFFF
    made visible here as well                 #xD and #x7F-#x9F (allowed, but lost or discouraged),
                                              direction marks, the last two of every plane
"""

import re

_NEVER = (
    "\x00-\x08\x0b-\x1f\x7f-\x9f"
    "\u200e\u200f\u202a-\u202e\u2066-\u2069"
    "\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff"
    + "".join(
        f"{chr(plane * 0x10000 + 0xFFFE)}{chr(plane * 0x10000 + 0xFFFF)}" for plane in range(1, 17)
    )
)
_IN_TEXT = re.compile(f"[{_NEVER}]")
_IN_LINE = re.compile(f"[\t\n\u2028\u2029{_NEVER}]")
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


def _show(match: re.Match[str]) -> str:
    character = match.group()
    code = ord(character)
    if character in _SHORT:
        return _SHORT[character]
    if code <= 0xFF:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def visible_text(text: str) -> str:
    """Return text of several lines; line feeds and tabs stay.

    >>> visible_text("\\x1b[31mERR\\x1b[0m\\n")
    '\\\\x1b[31mERR\\\\x1b[0m\\n'
    """
    return _IN_TEXT.sub(_show, text)


def visible_line(text: str) -> str:
    """Return text that stays on one line and survives as an XML attribute.

    >>> visible_line("one\\ttwo\\n")
    'one\\\\ttwo\\\\n'
    """
    if text.isprintable():  # most texts are, and saying so is quick; what is not may still be fine
        return text
    return _IN_LINE.sub(_show, text)


def shorten(text: str, limit: int, pointer: str = "") -> str:
    """Return head and tail of a text that is longer than `limit`, saying what was left out.

    >>> shorten("a" * 50 + "z" * 50, 60, "all of it is in journal.jsonl")
    'aaaaaaaaaaaaaaaaaa\\n… 70 characters left out, all of it is in journal.jsonl …\\nzzzzzzzzzzzz'
    """
    if len(text) <= limit:
        return text
    kept = max(0, limit // 2)
    head, tail = kept - kept * 2 // 5, kept * 2 // 5
    said = f", {pointer}" if pointer else ""
    middle = f"… {len(text) - kept} characters left out{said} …"
    return f"{text[:head]}\n{middle}\n{text[len(text) - tail :]}"
