"""How do dead bands and delays compare with the usual starting points?

Starting points of alarm-management practice, from memory (ISA-18.2 and EEMUA 191 were not read):

| quantity    | dead band, % of the range | delay |
|-------------|---------------------------|-------|
| flow        | 5                         | 15 s  |
| level       | 5                         | 60 s  |
| pressure    | 2                         | 15 s  |
| temperature | 1                         | 60 s  |

They are where to begin, not limits: everything here is advice.  "Far" is more than a factor of
two to either side.
"""

from collections.abc import Iterator
from decimal import Decimal

from hil.alarms.edge import Edge
from hil.alarms.finding import Finding
from hil.alarms.region import Origin
from hil.alarms.review.scope import Scope
from hil.core.instant import SECOND, Duration, show_duration
from hil.core.signal import EXACT

STARTING_POINTS = {
    "flow": (Decimal(5), Duration(15 * SECOND)),
    "level": (Decimal(5), Duration(60 * SECOND)),
    "pressure": (Decimal(2), Duration(15 * SECOND)),
    "temperature": (Decimal(1), Duration(60 * SECOND)),
}
ORIGIN = Origin.MEMORY

_FAR = 2
_QUANTITY_OF_UNIT = {
    **dict.fromkeys(("degC", "°C", "degF", "°F", "K"), "temperature"),
    **dict.fromkeys(("bar", "mbar", "Pa", "hPa", "kPa", "MPa", "psi"), "pressure"),
}


def findings(scope: Scope) -> Iterator[Finding]:
    """Return one advice each for dead bands and delays that are far from the usual."""
    quantity = scope.spec.quantity or _QUANTITY_OF_UNIT.get(scope.spec.unit, "")
    if quantity not in STARTING_POINTS or not scope.edges:
        return
    share, delay = STARTING_POINTS[quantity]
    width = EXACT.multiply(share / 100, EXACT.subtract(scope.spec.high, scope.spec.low))
    odd = [edge for edge in scope.edges if _far(edge.dead_band, width)]
    if odd:
        yield _advice(
            "AL-601",
            odd,
            f"{share} % of the range ({scope.size(width)}) is a usual dead band for a {quantity} "
            f"to begin with ({ORIGIN.value}), and {_list(scope, odd)}",
            f"begin with {scope.size(width)}, or accept it with a reason",
        )
    odd = [edge for edge in scope.edges if _far(Decimal(_delay(edge)), Decimal(delay))]
    if odd:
        lengths = ", ".join(f"{edge.alarm} has {_show(edge)}" for edge in odd)
        yield _advice(
            "AL-602",
            odd,
            f"{show_duration(delay)} is a usual on-delay for a {quantity} to begin with "
            f"({ORIGIN.value}), and {lengths}",
            f"begin with {show_duration(delay)}, or accept it with a reason",
        )


def _advice(code: str, odd: list[Edge], why: str, advice: str) -> Finding:
    where = tuple(edge.alarm for edge in odd)
    return Finding(code=code, mark=odd[0].mark, where=where, why=why, advice=advice)


def _list(scope: Scope, odd: list[Edge]) -> str:
    return ", ".join(f"{edge.alarm} has {scope.size(edge.dead_band)}" for edge in odd)


def _delay(edge: Edge) -> Duration:
    return edge.on_delay.length if edge.on_delay is not None else Duration(0)


def _show(edge: Edge) -> str:
    return show_duration(_delay(edge)) if _delay(edge) else "none"


def _far(got: Decimal, usual: Decimal) -> bool:
    return got * _FAR < usual or got > usual * _FAR
