"""A second pass over a journal: the datagrams around what did not pass, and no others.

Most lines of a journal are datagrams of cases that passed, so a line is looked at as octets and
read only where it belongs to a span.
"""

from collections.abc import Sequence
from pathlib import Path

from hil.core.error import StoreError
from hil.core.event import Datagram
from hil.report.journal import read_line
from hil.report.page.span import Span

_MARK = b'"event":"datagram"'
_SLACK = 1_000_000_000
"""Lines stand in the order in which things became known; so far may instants go back."""

KEPT = 20_000
"""So many datagrams of one case are kept at most."""


def add_datagrams(path: Path, spans: Sequence[Span]) -> None:
    """Give the dossiers of these spans their datagrams.  Raises StoreError."""
    if not spans:
        return
    waiting = sorted(spans, key=lambda span: span.start)
    latest: dict[bytes, bytes] = {}
    first = 0
    try:
        with path.open("rb") as file:
            for line in file:
                if _MARK not in line[:60]:
                    continue
                at = _instant(line)
                while first < len(waiting) and waiting[first].end + _SLACK < at:
                    first += 1
                if first == len(waiting):
                    return
                for span in waiting[first:]:
                    if span.start > at:
                        break
                    if at <= span.end:
                        _take(span, line, latest)
                _remember(latest, line)
    except OSError as error:
        raise StoreError(f"{path} cannot be read: {error.strerror or error}") from error


def _instant(line: bytes) -> int:
    """Return the instant of a line as octets; -1 where it does not begin as our lines do."""
    digits = line[6 : line.find(b",", 6, 30)]
    return int(digits) if line.startswith(b'{"at":') and digits.isdigit() else -1


def _remember(latest: dict[bytes, bytes], line: bytes) -> None:
    """Keep what each node said last, for the value that was in force before a span."""
    words = line.split(b'"', 14)
    if len(words) > 13 and words[9] == b"in":
        latest[words[13]] = line


def _take(span: Span, line: bytes, latest: dict[bytes, bytes]) -> None:
    dossier = span.dossier
    if not span.touched:
        span.touched = True
        for node in span.nodes:
            told = read_line(latest.get(node.encode(), b""))
            if isinstance(told, Datagram):
                dossier.before.setdefault(node, told)
    if len(dossier.datagrams) >= KEPT:
        return
    event = read_line(line)
    if isinstance(event, Datagram) and event.node in span.nodes:
        dossier.datagrams.append(event)
