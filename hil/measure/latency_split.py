"""A response time split into transport and the node's own processing.

    tool   sent ────╮                          ╭────→ received
    node            ╰→ taken ── processing ─→ stamp
           |outward |                         | return |

`stamp` is what the node's counter showed when it sent; `taken`, where the node tells it, when it
took the request.  Placing them on the tool's time (hil.measure.clock) and inside sent … received
gives each part as a span that must hold the true one.  Without `taken` the outward way can only be
told from the processing by what is known of it, `outward`: least and longest.
"""

from dataclasses import dataclass

from hil.measure.clock import Clock
from hil.measure.span import Span, Unmeasured, exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class LatencySplit:
    """The parts of one response time, in nanoseconds; `total` is known exactly."""

    total: int
    outward: Span
    processing: Span
    back: Span


def split_latency(
    clock: Clock,
    *,
    sent: int,
    received: int,
    stamp: int,
    taken: int | None = None,
    outward: tuple[int, int | None] = (0, None),
    least_transport: int = 0,
) -> LatencySplit | Unmeasured:
    """Split one response: stamps are unwrapped counts, instants and limits nanoseconds.

    Unmeasured where the stamps cannot lie between sent and received on this clock.
    """
    total = received - sent
    leave = _within(clock.instant(stamp), sent + least_transport, received - least_transport)
    if leave is None:
        return Unmeasured("the stamp does not lie between request and answer on the node's clock")
    back = exactly(received).since(leave)
    if taken is None:
        return _without_taken(total, leave.since(exactly(sent)), back, outward)
    enter = _within(clock.instant(taken), sent + least_transport, leave.last)
    between = clock.length(stamp - taken)
    if enter is None or stamp < taken:
        return Unmeasured("the stamps come in the wrong order on the node's clock")
    inside = leave.since(enter).at_least(0)
    processing = _within(between, inside.first, inside.last)
    if processing is None:
        return Unmeasured("the stamps come in the wrong order on the node's clock")
    return LatencySplit(
        total=total, outward=enter.since(exactly(sent)), processing=processing, back=back
    )


def _without_taken(
    total: int, before: Span, back: Span, outward: tuple[int, int | None]
) -> LatencySplit | Unmeasured:
    least, longest = outward
    longest = before.last if longest is None else min(longest, before.last)
    if least > longest:
        return Unmeasured("the response was quicker than its way out can be")
    way = Span(least, (least + longest) // 2, longest)
    processing = Span(max(0, before.first - longest), 0, before.last - least)
    middle = (processing.first + processing.last) // 2
    return LatencySplit(
        total=total,
        outward=way,
        processing=Span(processing.first, middle, processing.last),
        back=back,
    )


def _within(span: Span, least: int, most: int) -> Span | None:
    first, last = max(span.first, least), min(span.last, most)
    return Span(first, min(max(span.likely, first), last), last) if first <= last else None
