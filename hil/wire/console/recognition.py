"""What a line of a console is by the patterns of the bench file: the slow way, for people.

A line may be several things at once: where all commands share one pattern for their answers, it is
the answer to any of them.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from hil.core.instant import Instant
from hil.core.signal import Validity, show_value
from hil.wire.console.description import Console, group_of
from hil.wire.console.lines import Kind, Line, Lines
from hil.wire.console.wording import understood
from hil.wire.rack import Node

_PLACE = re.compile(r"\{(?:value|raw)\}")


class Recognised(NamedTuple):
    """One line; `what` it is, empty where no pattern fits, with (group, word, meaning) for each."""

    octets: bytes
    text: str
    what: str
    parts: tuple[tuple[str, str, str], ...] = ()


def recognise(node: Node, octets: bytes) -> tuple[Recognised, ...]:
    """Return the lines in these octets, the last one whether or not it has its end.

    Nothing for a node without a console.  No octets whatever raise anything.
    """
    console = node.console
    if console is None:
        return ()
    lines = Lines(console.longest, console.prompt)
    cut = [*lines.feed(octets, Instant(0)), *lines.feed(b"\n", Instant(0))]
    return tuple(_recognised(node, console, line) for line in cut)


def _recognised(node: Node, console: Console, line: Line) -> Recognised:
    if line.kind is Kind.PROMPT:
        return Recognised(line.octets, line.text, "the prompt")
    if line.kind is Kind.CUT:
        return Recognised(line.octets, line.text, "")
    text = line.clean
    found = [(what, match) for what, match in _matches(console, text) if match is not None]
    if not found:
        return Recognised(line.octets, line.text, "")
    words = " or ".join(dict.fromkeys(what for what, _ in found))
    return Recognised(line.octets, line.text, words, tuple(_parts(node, found[0][1])))


def _matches(console: Console, text: str) -> Iterator[tuple[str, re.Match[str] | None]]:
    if console.boot is not None:
        yield "the boot line", console.boot.fullmatch(text)
    if console.identify is not None and console.identify.answer is not None:
        yield "the answer to who it is", console.identify.answer.fullmatch(text)
    for pattern in console.readings:
        yield "a reading", pattern.fullmatch(text)
    for phrase in console.commands.values():
        yield "the answer of a command that was taken", phrase.accept.fullmatch(text)
        if phrase.refuse is not None:
            yield "the answer of a command that was refused", phrase.refuse.fullmatch(text)
    for question in (console.identify, console.read):
        if question is not None:
            yield "a question of the tool", re.fullmatch(re.escape(question.send), text)
    for name, phrase in console.commands.items():
        words = (re.escape(word) for word in _PLACE.split(phrase.send))
        yield f"the tool's command for {name}", re.fullmatch(".+".join(words), text)


def _parts(node: Node, match: re.Match[str]) -> Iterator[tuple[str, str, str]]:
    by_group = {group_of(signal.name): signal for signal in node.signals}
    for group, word in match.groupdict().items():
        signal = by_group.get(group)
        if word is None:
            continue
        if signal is None:
            yield group, word, ""
            continue
        value, validity, note = understood(word, signal, node.encodings[signal.name])
        meant = show_value(value, signal) if validity is Validity.VALID else ""
        yield signal.name, word, meant or f"no measurement: {note}"
