"""Requests that wait for their answers.

An answer belongs to a request by its number, its operation and its sender.  Where an answer
carries no request number, it belongs to the oldest open request with its operation.  An answer
that belongs to none is never used: a duplicate if its request was answered already, else a stray.
"""

from collections.abc import Container
from dataclasses import dataclass

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import Command, NodeTrouble
from hil.wire.decoded import Decoded

_REMEMBERED = 64


class Numbers:
    """Fresh request numbers, wrapping at the width of the field."""

    __slots__ = ("_next",)

    def __init__(self, first: int) -> None:
        self._next = first

    def fresh(self, span: int, taken: Container[int]) -> int | None:
        """Return a number below `span` that is not taken; None where all are."""
        for _ in range(span):
            number, self._next = self._next % span, self._next + 1
            if number not in taken:
                return number
        return None


@dataclass(slots=True)
class Open:
    """One request on its way; `command` is None for the links' own requests.

    It left at `sent`; from then on it waits for its answer, and is given up at `until`.
    """

    number: int
    operation: int
    command: Command | None
    payload: bytes
    until: Instant
    sent: Instant | None = None


class Pending:
    """The open requests of one node, and the last few that were closed."""

    __slots__ = ("_closed", "open")

    def __init__(self) -> None:
        self.open: dict[int, Open] = {}
        self._closed: dict[int, tuple[int, bool, Instant | None]] = {}

    def add(self, request: Open) -> None:
        """Wait for an answer to this."""
        self._closed.pop(request.number, None)
        self.open[request.number] = request

    def close(self, number: int, answered: bool) -> Open | None:
        """Stop waiting; remember for a while how it ended."""
        request = self.open.pop(number, None)
        if request is None:
            return None
        if len(self._closed) >= _REMEMBERED:
            del self._closed[next(iter(self._closed))]
        self._closed[number] = (request.operation, answered, request.sent)
        return request

    def match(self, answer: Decoded) -> Open | None:
        """Return the open request that an answer belongs to."""
        if answer.request is None:
            fitting = (
                request
                for request in self.open.values()
                if answer.operation in (None, request.operation)
            )
            return next(fitting, None)
        request = self.open.get(answer.request)
        if request is None or answer.operation not in (None, request.operation):
            return None
        return request

    def explain(self, answer: Decoded, now: Instant) -> tuple[NodeTrouble, str]:
        """Say what an answer is that comes now and belongs to no open request."""
        if answer.request is None:
            return NodeTrouble.STRAY, "answer to nothing that was asked"
        shown = f"0x{answer.request:04x}"
        request = self.open.get(answer.request)
        if request is not None:
            return (
                NodeTrouble.STRAY,
                f"answer to request {shown} is about operation {answer.operation}, "
                f"asked was {request.operation}",
            )
        operation, answered, sent = self._closed.get(answer.request, (-1, False, None))
        if operation < 0 or answer.operation not in (None, operation):
            return NodeTrouble.STRAY, f"answer to request {shown}, which is not open"
        if answered:
            return NodeTrouble.DUPLICATE, f"second answer to request {shown}"
        text = f"late answer to request {shown}, which was given up"
        if sent is None:
            return NodeTrouble.STRAY, f"{text} before it left: this computer was late"
        return (
            NodeTrouble.STRAY,
            f"{text}, {show_duration(Duration(now - sent))} after it was asked",
        )
