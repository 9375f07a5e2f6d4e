"""Do the dead bands lie where they can work, and are they wide enough and not too wide?

A resting signal may wander by its noise to either side, so a dead band keeps it from going back
and forth only if it is wider than twice the noise.

Implausibly wide is more than 20 % of the declared range: four times the largest usual starting
point (5 % for flow and level; see `practice`).
"""

from collections.abc import Iterator
from decimal import Decimal

from hil.alarms.edge import Edge
from hil.alarms.finding import Finding
from hil.alarms.review.scope import Scope
from hil.alarms.spec import ClearsAt
from hil.core.signal import EXACT

IMPLAUSIBLE_SHARE = Decimal("0.20")


def findings(scope: Scope) -> Iterator[Finding]:
    """Return dead bands on the wrong side, too wide, too narrow, and alarms that never clear."""
    for edge in scope.edges:
        if edge.dead_band < 0:
            yield _wrong_side(scope, edge)
            continue
        if not _clears(scope, edge):
            yield _never_clears(scope, edge)
        elif edge.dead_band > 0 and _beyond_inner(scope, edge):
            yield _too_wide(scope, edge)
        yield from _width(scope, edge)


def _wrong_side(scope: Scope, edge: Edge) -> Finding:
    way, side = ("rises", "below") if edge.rising else ("falls", "above")
    return Finding(
        code="AL-201",
        mark=edge.mark,
        where=(edge.alarm,),
        why=f"{edge.alarm} trips when the value {way} to {scope.size(edge.trip)} "
        f"but would clear at {scope.size(edge.reset)}, beyond it",
        advice=f"state a clear level {side} {scope.size(edge.trip)}",
    )


def _clears(scope: Scope, edge: Edge) -> bool:
    low, high = scope.spec.low, scope.spec.high
    if edge.rising:
        return edge.reset > low or (edge.reset == low and edge.reset_included)
    return edge.reset < high or (edge.reset == high and edge.reset_included)


def _never_clears(scope: Scope, edge: Edge) -> Finding:
    return Finding(
        code="AL-203",
        mark=edge.mark,
        where=(edge.alarm,),
        why=f"{edge.alarm} clears only at {scope.size(edge.reset)}, where no value of the range is",
        advice="make the dead band narrower; was a level written as a width?",
    )


def _beyond_inner(scope: Scope, edge: Edge) -> bool:
    inner = scope.stretch(scope.band(edge.inner))
    return edge.reset < inner.low if edge.rising else edge.reset > inner.high


def _too_wide(scope: Scope, edge: Edge) -> Finding:
    inner = scope.stretch(scope.band(edge.inner))
    return Finding(
        code="AL-202",
        mark=edge.mark,
        where=(edge.alarm, edge.inner),
        why=f"the dead band of {edge.alarm} is {scope.size(edge.dead_band)} and {edge.inner} only "
        f"{scope.size(inner.width)}, so {edge.inner} is never shown on the way back",
        advice=f"make the dead band narrower than {scope.size(inner.width)}",
    )


def _width(scope: Scope, edge: Edge) -> Iterator[Finding]:
    wide, noise = edge.dead_band, EXACT.multiply(Decimal(2), scope.signal.noise)
    if scope.signal.noise > 0 and wide <= noise:
        what = f"the dead band {scope.size(wide)} of" if wide else "there is no dead band at"
        yield Finding(
            code="AL-204",
            mark=edge.mark,
            where=(edge.alarm,),
            why=f"{what} {edge.alarm}, and a resting value wanders by ± "
            f"{scope.size(scope.signal.noise)}: it will chatter",
            advice=f"make it wider than {scope.size(noise)}",
        )
    elif wide > 0 and scope.grid is not None and wide < scope.grid.step:
        yield Finding(
            code="AL-206",
            mark=edge.mark,
            where=(edge.alarm,),
            why=f"the dead band of {edge.alarm} is {scope.size(wide)}, less than one count "
            f"({scope.size(scope.grid.step)}): it has no effect",
            advice=f"make it at least {scope.size(scope.grid.step)}",
        )
    limit = EXACT.multiply(IMPLAUSIBLE_SHARE, EXACT.subtract(scope.spec.high, scope.spec.low))
    if wide > limit:
        yield _implausible(scope, edge)


def _implausible(scope: Scope, edge: Edge) -> Finding:
    share = 100 * edge.dead_band / EXACT.subtract(scope.spec.high, scope.spec.low)
    band = scope.band(edge.alarm)
    advice = "check that the width is meant, and not the level at which it clears"
    if isinstance(band.dead_band, ClearsAt):
        advice = f"check that {scope.size(edge.reset)} is the level to clear at, and not a width"
    return Finding(
        code="AL-205",
        mark=edge.mark,
        where=(edge.alarm,),
        why=f"the dead band of {edge.alarm} is {scope.size(edge.dead_band)}, "
        f"{share:.0f} % of the range: it clears at {scope.size(edge.reset)}",
        advice=advice,
    )
