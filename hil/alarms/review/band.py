"""Do the bands cover the range once, and can each be reached and told apart?"""

from collections.abc import Iterator
from decimal import Decimal
from itertools import combinations, pairwise

from hil.alarms.finding import Finding
from hil.alarms.grid import Grid, Stretch
from hil.alarms.review.scope import Scope
from hil.alarms.spec import Band


def findings(scope: Scope) -> Iterator[Finding]:
    """Return gaps, overlaps, and bands that are out of reach, out of order or too narrow."""
    yield from _order(scope)
    yield from _gaps(scope)
    yield from _overlaps(scope)
    for band in scope.spec.bands:
        yield from _reach(scope, band)
    yield from _between_counts(scope)


def _order(scope: Scope) -> Iterator[Finding]:
    spec = scope.spec
    for lower, upper in pairwise(spec.bands):
        first, second = scope.stretch(lower), scope.stretch(upper)
        if (second.low, second.high) < (first.low, first.high):
            yield Finding(
                code="AL-106",
                mark=upper.mark,
                where=(upper.name,),
                why=f"{upper.name} stands after {lower.name} but begins or ends below it",
                advice="write the bands from low to high",
            )
    normal = spec.place(spec.normal)
    for place, band in enumerate(spec.bands):
        trip = band.low if place > normal else band.high
        if place != normal and trip is None:
            yield Finding(
                code="AL-106",
                mark=band.mark,
                where=(band.name,),
                why=f"{band.name} has no edge towards {spec.normal}, so nothing makes it trip",
                advice="state the level at which it begins",
            )


def _gaps(scope: Scope) -> Iterator[Finding]:
    spec = scope.spec
    reached, covered = spec.low, False  # everything below is covered, and `reached` if `covered`
    solid = [(scope.stretch(band), band) for band in spec.bands]
    solid = [(own, band) for own, band in solid if not own.empty]
    solid.sort(key=lambda pair: (pair[0].low, not pair[0].low_included))
    for own, band in solid:
        gap = Stretch(reached, own.low, not covered, not own.low_included)
        if not gap.empty:
            yield _gap(scope, gap, band)
        reached, covered = max((reached, covered), (own.high, own.high_included))
    rest = Stretch(reached, spec.high, not covered, True)
    if not rest.empty and reached <= spec.high:
        yield _gap(scope, rest, spec.bands[-1])


def _gap(scope: Scope, gap: Stretch, band: Band) -> Finding:
    example = scope.show(gap.example(scope.grid))
    if scope.grid is not None and not gap.counts(scope.grid):
        return Finding(
            code="AL-102",
            mark=band.mark,
            where=(band.name,),
            why=f"{example} is in no band; no count of {scope.signal.path} falls there",
            advice="let both bands meet at one level and state which of them owns it",
        )
    return Finding(
        code="AL-101",
        mark=band.mark,
        where=(band.name,),
        why=f"{example} is in no band",
        advice="let the bands meet at one level and state which of them owns it",
    )


def _overlaps(scope: Scope) -> Iterator[Finding]:
    for lower, upper in combinations(scope.spec.bands, 2):
        both = scope.stretch(lower).meet(scope.stretch(upper))
        if both.empty:
            continue
        counted = scope.grid is None or bool(both.counts(scope.grid))
        yield Finding(
            code="AL-103" if counted else "AL-104",
            mark=upper.mark,
            where=(lower.name, upper.name),
            why=f"{scope.show(both.example(scope.grid))} is in two bands, "
            f"{lower.name} and {upper.name}",
            advice="let the bands meet at one level and state which of them owns it",
        )


def _reach(scope: Scope, band: Band) -> Iterator[Finding]:
    spec, grid = scope.spec, scope.grid
    own = scope.stretch(band)
    within = own.meet(Stretch(spec.low, spec.high, True, True))
    beyond = own.low > spec.high or own.high < spec.low
    if own.empty or within.empty:
        why = "lies outside the range of the signal" if beyond else "contains no value"
        yield _unreachable(scope, band, f"{band.name} {why}")
        return
    if spec.displayed_decides and spec.display is not None:
        shown = Grid(Decimal(0), Decimal(1).scaleb(-spec.display.decimals))
        if not within.counts(shown):
            yield _unreachable(scope, band, f"no value as displayed falls into {band.name}")
            return
    if grid is not None and not within.counts(grid):
        yield _unreachable(scope, band, f"no count of {scope.signal.path} falls into {band.name}")
        return
    if grid is not None and own.width < grid.step:
        yield _narrow("AL-108", scope, band, own, f"one count is {scope.size(grid.step)}")
    accuracy = scope.signal.accuracy
    if accuracy is not None and own.width < 2 * accuracy:
        yield _narrow("AL-107", scope, band, own, f"the signal is good to ± {scope.size(accuracy)}")


def _unreachable(scope: Scope, band: Band, why: str) -> Finding:
    low, high = scope.size(scope.spec.low), scope.size(scope.spec.high)
    return Finding(
        code="AL-105",
        mark=band.mark,
        where=(band.name,),
        why=why,
        advice=f"check its edges against the range {low} to {high}, and their unit",
    )


def _narrow(code: str, scope: Scope, band: Band, own: Stretch, because: str) -> Finding:
    return Finding(
        code=code,
        mark=band.mark,
        where=(band.name,),
        why=f"{band.name} is {scope.size(own.width)} wide, and {because}",
        advice="widen the band, or choose a finer signal",
    )


def _between_counts(scope: Scope) -> Iterator[Finding]:
    for edge in scope.edges:
        if scope.grid is None or scope.grid.meets(edge.trip):
            continue
        count = scope.grid.ceil(edge.trip) if edge.rising else scope.grid.floor(edge.trip)
        yield Finding(
            code="AL-109",
            mark=edge.mark,
            where=(edge.alarm,),
            why=f"the trip point {scope.size(edge.trip)} of {edge.alarm} lies between two counts, "
            f"so it trips at {scope.show(scope.grid.value(count))}",
            advice="state a level that the signal can take",
        )
