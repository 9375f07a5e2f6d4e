"""Does what is displayed agree with what is coloured?

With one decimal shown and red from 80.0 on, a measured 79.96 reads 80.0 in amber: where the
measured value decides, text and colour contradict each other just below the edge.
"""

from collections.abc import Iterator
from decimal import Decimal

from hil.alarms.edge import Edge, Place
from hil.alarms.finding import Finding
from hil.alarms.grid import Grid
from hil.alarms.indicator import Displayed, Reading
from hil.alarms.review.scope import Scope
from hil.core.error import Mark
from hil.core.signal import EXACT


def findings(scope: Scope) -> Iterator[Finding]:
    """Return displayed values that contradict their colour, and edges lost in rounding."""
    spec = scope.spec
    for edge in scope.edges:
        if spec.displayed_decides and spec.display is not None:
            yield from _decides(scope, edge, spec.display)
            continue
        for display, mark in _displays(scope):
            yield from _contradiction(scope, edge, display, mark)


def _displays(scope: Scope) -> Iterator[tuple[Displayed, Mark]]:
    seen: set[Displayed] = set()
    if scope.spec.display is not None:
        seen.add(scope.spec.display)
        yield scope.spec.display, scope.spec.mark
    for indicator in scope.spec.indicators:
        if isinstance(indicator.how, Reading) and indicator.how.display not in seen:
            seen.add(indicator.how.display)
            yield indicator.how.display, indicator.mark


def _contradiction(scope: Scope, edge: Edge, display: Displayed, mark: Mark) -> Iterator[Finding]:
    examples = [
        value for value in _near(scope, edge, display) if _contradicts(edge, display, value)
    ]
    if not examples:
        return
    shown = scope.size(display.round(examples[0]))
    values = " to ".join(scope.show(value) for value in (examples[0], examples[-1]))
    colour = scope.spec.colour(
        edge.inner if edge.place(examples[0]) is not Place.BEYOND else edge.alarm
    )
    yield Finding(
        code="AL-401",
        mark=mark,
        where=(edge.alarm,),
        why=f"{values if len(examples) > 1 else scope.show(examples[0])} read {shown} in {colour}, "
        f"although {edge.alarm} is from {scope.size(edge.trip)} {'up' if edge.rising else 'down'}",
        advice="let the displayed value decide, show more decimals, or accept it with a reason",
    )


def _contradicts(edge: Edge, display: Displayed, value: Decimal) -> bool:
    beyond = edge.place(value) is Place.BEYOND
    return beyond is not (edge.place(display.round(value)) is Place.BEYOND)


def _near(scope: Scope, edge: Edge, display: Displayed) -> list[Decimal]:
    """Return the counts within one displayed step of the trip point, the nearest 200 at most."""
    step = Decimal(1).scaleb(-display.decimals)
    grid = scope.grid or Grid(Decimal(0), step / 20)
    reach = min(100, grid.ceil(EXACT.add(grid.origin, step)))
    middle = grid.floor(edge.trip)
    values = [grid.value(middle + off) for off in range(-reach, reach + 1)]
    return [value for value in values if scope.spec.low <= value <= scope.spec.high]


def _decides(scope: Scope, edge: Edge, display: Displayed) -> Iterator[Finding]:
    step = Decimal(1).scaleb(-display.decimals)
    if display.round(edge.trip) != edge.trip:
        yield Finding(
            code="AL-402",
            mark=edge.mark,
            where=(edge.alarm,),
            why=f"the displayed value decides, but {scope.size(edge.trip)} is never displayed "
            f"(it reads {scope.size(display.round(edge.trip))})",
            advice=f"state a trip point with {display.decimals} decimals",
        )
    if 0 < edge.dead_band < step:
        yield Finding(
            code="AL-403",
            mark=edge.mark,
            where=(edge.alarm,),
            why=f"the dead band of {edge.alarm} is {scope.size(edge.dead_band)}, and the displayed "
            f"value, which decides, moves in steps of {scope.size(step)}",
            advice=f"make it at least {scope.size(step)}",
        )
