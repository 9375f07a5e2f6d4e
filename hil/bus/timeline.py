"""One cycle of a segment, drawn: spans of time, as rows of a table and as a picture.

The picture is SVG text with presentation attributes only, so that it works where styles may
come from nowhere but the page's own files.  Kinds of spans differ in words and in pattern, not
in colour alone.  One row is one turn; a run of turns that nobody owns is one row.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from hil.bus.demand import largest_frame
from hil.bus.segment import BEACON_BT, GAP_BT, Participant, Segment, wire_bt


class Kind(Enum):
    """What a span of a cycle is."""

    BEACON = "beacon"
    UNUSED = "unused turn"
    GAP = "gap"
    FRAME = "frame"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of a cycle in bit times; `words` says what it is."""

    kind: Kind
    begin: int
    length: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One turn, or the beacon, or a run of turns that nobody owns."""

    title: str
    spans: tuple[Span, ...]

    @property
    def begin(self) -> int:
        return self.spans[0].begin

    @property
    def length(self) -> int:
        return sum(span.length for span in self.spans)


def full_cycle(segment: Segment) -> list[Row]:
    """Lay out the cycle in which everybody sends its largest declared frames."""
    sent = {
        each.name: (largest_frame(segment, each.name),) * (1 + each.burst_count)
        for each in segment.turns().values()
    }
    return lay_out(segment, sent)


def lay_out(segment: Segment, sent: Mapping[str, Sequence[int]]) -> list[Row]:
    """Lay out a cycle in which the named participants send frames of these sizes."""
    rows = [Row(title="start", spans=(_span(Kind.BEACON, 0, BEACON_BT, "beacon"),))]
    turns, idle, at, number = segment.turns(), segment.to_timer, BEACON_BT, 0
    while number < segment.node_count:
        owner = turns.get(number)
        if owner is None:
            beyond = min((turn for turn in turns if turn > number), default=segment.node_count)
            row = _nobody(number, beyond - number, at, idle)
            number = beyond
        else:
            row = _turn(segment, owner, number, at, sent.get(owner.name, ()))
            number += 1
        rows.append(row)
        at += row.length
    return rows


def table(segment: Segment, rows: Sequence[Row]) -> list[tuple[str, str, str, str]]:
    """Return the rows of a terminal table: turn, begins at, lasts, what happens."""
    return [
        (
            row.title,
            micro(segment, row.begin),
            micro(segment, row.length),
            summary(row),
        )
        for row in rows
    ]


def summary(row: Row) -> str:
    """Say what happens in a row: `beacon`, `unused`, `64 octets`, `2 × 64 octets`."""
    counts = Counter(span.words for span in row.spans if span.kind is not Kind.GAP)
    return ", ".join(
        words if times == 1 else f"{times} × {words}" for words, times in counts.items()
    )


def micro(segment: Segment, bits: int) -> str:
    """Return so many bit times in microseconds, for people."""
    return f"{bits * segment.bit_ns / 1000:.1f} µs"


def _nobody(first: int, amount: int, at: int, idle: int) -> Row:
    title = f"{first} nobody" if amount == 1 else f"{first} to {first + amount - 1} nobody"
    words = "unused" if amount == 1 else f"{amount} unused turns"
    return Row(title=title, spans=(_span(Kind.UNUSED, at, amount * idle, words),))


def _turn(segment: Segment, owner: Participant, number: int, at: int, frames: Sequence[int]) -> Row:
    title = f"{number} {owner.name}"
    if not frames:
        return Row(title=title, spans=(_span(Kind.UNUSED, at, segment.to_timer, "unused"),))
    spans = []
    for octets in frames:
        spans.append(_span(Kind.GAP, at, GAP_BT, "gap"))
        at += GAP_BT
        spans.append(_span(Kind.FRAME, at, wire_bt(octets, segment.esd), f"{octets} octets"))
        at += wire_bt(octets, segment.esd)
    return Row(title=title, spans=tuple(spans))


def _span(kind: Kind, begin: int, length: int, words: str) -> Span:
    return Span(kind=kind, begin=begin, length=length, words=words)
