"""A second pass over a journal: the datagrams around what did not pass, and no others.

Most lines of a journal are datagrams of cases that passed, so a line is looked at as octets and
read only where it belongs to a span.
"""

from collections.abc import Container, Sequence
from pathlib import Path

from hil.core.error import StoreError
from hil.core.event import Datagram
from hil.report.journal import read_line
from hil.report.page.dossier import Dossier
from hil.report.page.span import Span

_MARK = b'"event":"datagram"'
_SLACK = 1_000_000_000
"""Lines stand in the order in which things became known; so far may instants go back."""

KEPT = 20_000
"""So many datagrams of one case are kept at most."""

ASKED_KEPT = 4_096
"""So many requests to CoAP nodes are remembered, the latest ones."""


def add_datagrams(path: Path, spans: Sequence[Span], coap_nodes: Container[str] = ()) -> None:
    """Give the dossiers of these spans their datagrams.  Raises StoreError.

    Of nodes in `coap_nodes` the requests are remembered, for the responses that come later.
    """
    if not spans:
        return
    waiting = sorted(spans, key=lambda span: span.start)
    said = _Said(coap_nodes)
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
                        _take(span, line, said)
                said.remember(line)
    except OSError as error:
        raise StoreError(f"{path} cannot be read: {error.strerror or error}") from error


def _instant(line: bytes) -> int:
    """Return the instant of a line as octets; -1 where it does not begin as our lines do."""
    digits = line[6 : line.find(b",", 6, 30)]
    return int(digits) if line.startswith(b'{"at":') and digits.isdigit() else -1


class _Said:
    """What each node said last, and what it was asked: for the values in force before a span."""

    def __init__(self, coap_nodes: Container[str]) -> None:
        self._coap_nodes = coap_nodes
        self.latest: dict[str, bytes] = {}
        self.asked: dict[tuple[str, str], bytes] = {}

    def remember(self, line: bytes) -> None:
        words = line.split(b'"', 18)
        if len(words) < 18:
            return
        node = words[13].decode("utf-8", "replace")
        if words[9] == b"in":
            self.latest[node] = line
        elif node in self._coap_nodes and (token := token_of(words[17].decode("ascii", "replace"))):
            self.asked.pop((node, token), None)
            self.asked[node, token] = line
            if len(self.asked) > ASKED_KEPT:
                del self.asked[next(iter(self.asked))]


def token_of(shown: str) -> str:
    """Return the token of a CoAP message, both in hex; empty where it has none."""
    try:
        return shown[8 : 8 + 2 * (int(shown[1], 16))]
    except (ValueError, IndexError):
        return ""


def _take(span: Span, line: bytes, said: _Said) -> None:
    dossier = span.dossier
    if not span.touched:
        span.touched = True
        for node in span.nodes:
            told = read_line(said.latest.get(node, b""))
            if isinstance(told, Datagram):
                dossier.before.setdefault(node, told)
                _add_request(dossier, told, said)
    if len(dossier.datagrams) >= KEPT:
        return
    event = read_line(line)
    if isinstance(event, Datagram) and event.node in span.nodes:
        dossier.datagrams.append(event)
        _add_request(dossier, event, said)


def _add_request(dossier: Dossier, event: Datagram, said: _Said) -> None:
    """Keep the request that a message from a node answers."""
    key = (event.node, token_of(event.hex))
    if event.way != "in" or key in dossier.asked or key not in said.asked:
        return
    request = read_line(said.asked[key])
    if isinstance(request, Datagram):
        dossier.asked[key] = request
