"""Can every indicator show every state, and do lights flash as they may?

Flash rates in use: slow 0.4 to 0.8 Hz, normal 1.4 to 2.8 Hz (IEC 60073, restated on pages of poor
quality).  More than three flashes in any one second can cause seizures (WCAG 2, success criterion
2.3.1; from memory).
"""

from collections.abc import Iterator
from decimal import Decimal

from hil.alarms.finding import Finding
from hil.alarms.indicator import Blink, Indicator, Labels, Reading
from hil.alarms.review.scope import Scope

MOST_FLASHES = Decimal(3)
USUAL_RATES = ((Decimal("0.4"), Decimal("0.8")), (Decimal("1.4"), Decimal("2.8")))


def findings(scope: Scope) -> Iterator[Finding]:
    """Return states that an indicator has nothing for, and flash rates that harm or are odd."""
    for indicator in scope.spec.indicators:
        yield from _nothing_to_show(scope, indicator)
        yield from _labels(scope, indicator)
        if isinstance(indicator.how, Blink):
            yield from _flashes(indicator, indicator.how)


def _nothing_to_show(scope: Scope, indicator: Indicator) -> Iterator[Finding]:
    if isinstance(indicator.how, Reading):
        return
    known = {*indicator.how.wanted, *indicator.not_judged}
    missing = [look for look in scope.spec.looks() if look not in known]
    if missing:
        yield Finding(
            code="AL-508",
            mark=indicator.mark,
            where=(*missing, *indicator.signals),
            why=f"{indicator.signals[0]} has nothing to show for {', '.join(missing)}",
            advice="state what it shows then",
        )


def _labels(scope: Scope, indicator: Indicator) -> Iterator[Finding]:
    signal = scope.signals.get(indicator.signals[0])
    if not isinstance(indicator.how, Labels) or signal is None or not signal.labels:
        return
    for look, label in indicator.how.wanted.items():
        if label not in signal.labels:
            yield Finding(
                code="AL-508",
                mark=indicator.mark,
                where=(look, *indicator.signals),
                why=f"{signal.path} cannot show {label} for {look}",
                advice=f"use one of {', '.join(signal.labels)}",
            )


def _flashes(indicator: Indicator, how: Blink) -> Iterator[Finding]:
    for look, (slowest, fastest) in how.wanted.items():
        if fastest > MOST_FLASHES:
            yield Finding(
                code="AL-505",
                mark=indicator.mark,
                where=(look, *indicator.signals),
                why=f"{indicator.signals[0]} may flash {fastest} times a second for {look}, and "
                "more than 3 can cause seizures (WCAG 2, 2.3.1)",
                advice="stay at 3 flashes a second or below",
            )
        elif fastest > 0 and not any(
            low <= slowest and fastest <= high for low, high in USUAL_RATES
        ):
            yield Finding(
                code="AL-506",
                mark=indicator.mark,
                where=(look, *indicator.signals),
                why=f"{indicator.signals[0]} flashes at {slowest} to {fastest} Hz for {look}, "
                "and 0.4 to 0.8 (slow) or 1.4 to 2.8 (normal) is usual",
                advice="choose a usual rate, so that people know it",
            )
