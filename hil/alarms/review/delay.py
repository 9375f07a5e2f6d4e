"""Can the times be kept with this sampling and over this bus?"""

from collections.abc import Iterator

from hil.alarms.edge import Edge
from hil.alarms.finding import Finding
from hil.alarms.review.scope import Scope
from hil.alarms.spec import Counting, Delay
from hil.core.instant import Duration, show_duration


def findings(scope: Scope) -> Iterator[Finding]:
    """Return delays and ages that the sampling or the bus makes meaningless."""
    for edge in scope.edges:
        for word, delay in (("on-delay", edge.on_delay), ("off-delay", edge.off_delay)):
            if delay is not None and delay.length > 0:
                yield from _delay(scope, edge, word, delay)
    yield from _ages(scope)
    yield from _agreement(scope)
    hold, warm_up = scope.spec.start_up.hold, scope.signal.warmup
    if hold < warm_up:
        yield Finding(
            code="AL-305",
            mark=scope.spec.start_up.mark,
            where=(),
            why=f"alarms are held for {show_duration(hold)} after a start, and readings of "
            f"{scope.signal.path} do not count for {show_duration(warm_up)}",
            advice=f"hold for at least {show_duration(warm_up)}",
        )


def _delay(scope: Scope, edge: Edge, word: str, delay: Delay) -> Iterator[Finding]:
    what = f"the {word} of {edge.alarm} is {show_duration(delay.length)}"
    sampling = scope.signal.sampling
    if sampling is not None and delay.length < sampling:
        yield _short("AL-301", edge, delay, f"{what}, and a sample comes only", sampling)
    if scope.carry is not None and delay.length < scope.carry:
        yield _short("AL-302", edge, delay, f"{what}, and a change is carried only", scope.carry)
    if sampling is not None and scope.spec.tolerance.time < sampling:
        yield Finding(
            code="AL-308",
            mark=delay.mark,
            where=(edge.alarm,),
            why=f"{what} ± {show_duration(scope.spec.tolerance.time)}, but the input is looked at "
            f"every {show_duration(sampling)} only",
            advice=f"allow at least {show_duration(sampling)}, or sample faster",
        )
    if delay.counting is Counting.ACCUMULATED and delay.forget_after is None:
        yield Finding(
            code="AL-306",
            mark=delay.mark,
            where=(edge.alarm,),
            why=f"{what} in total, and its time is never forgotten: short excursions over days add "
            "up to an alarm",
            advice="state after how long in the other state the time is forgotten",
        )


def _short(code: str, edge: Edge, delay: Delay, what: str, every: Duration) -> Finding:
    verb = "every" if code == "AL-301" else "within"
    return Finding(
        code=code,
        mark=delay.mark,
        where=(edge.alarm,),
        why=f"{what} {verb} {show_duration(every)}",
        advice=f"state at least {show_duration(every)}, or no delay",
    )


def _ages(scope: Scope) -> Iterator[Finding]:
    rules, sampling = scope.spec.no_reading, scope.signal.sampling
    for word, age in (("stale", rules.stale_after), ("silent", rules.silent_after)):
        if age is not None and sampling is not None and age <= sampling:
            yield Finding(
                code="AL-304",
                mark=rules.mark,
                where=(),
                why=f"a value is {word} after {show_duration(age)}, and the next one comes only "
                f"after {show_duration(sampling)}",
                advice=f"state more than {show_duration(sampling)}; twice as long is usual",
            )
    stale, silent = rules.stale_after, rules.silent_after
    if stale is not None and silent is not None and silent < stale:
        yield Finding(
            code="AL-307",
            mark=rules.mark,
            where=(),
            why=f"a node is silent after {show_duration(silent)}, before a value is stale after "
            f"{show_duration(stale)}: stale is never shown",
            advice="let staleness come first",
        )


def _agreement(scope: Scope) -> Iterator[Finding]:
    needed = (scope.signal.sampling or 0) + (scope.carry or 0)
    for indicator in scope.spec.indicators:
        allowed = indicator.within if indicator.within is not None else scope.spec.agreement
        if needed and allowed < needed:
            yield Finding(
                code="AL-303",
                mark=indicator.mark,
                where=indicator.signals,
                why=f"{indicator.signals[0]} must agree within {show_duration(allowed)}, but "
                f"sampling and bus take up to {show_duration(Duration(needed))}",
                advice=f"allow more than {show_duration(Duration(needed))}",
            )
