"""Everything there is to say about a rack's segment: its budget, what is wrong, what plans ask.

Findings become mistakes at their place in the bench file: an error is wrong and nothing may run,
a warning is odd.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hil.bus.budget import Budget, budget
from hil.bus.deadline import Fit
from hil.bus.declared import USUAL_TEXT
from hil.bus.findings import Finding, Severity
from hil.bus.plans import Asked, deadlines
from hil.bus.plans import mistakes as plan_mistakes
from hil.bus.wiring import find
from hil.core.error import Mistake
from hil.core.plan import Plan
from hil.wire.rack import Rack
from hil.wire.segment import Bus


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How a segment stands."""

    bus: Bus
    budget: Budget
    findings: tuple[Finding, ...]
    asked: tuple[Asked, ...]

    def mistakes(self) -> list[Mistake]:
        """Return what is wrong or odd, with its place; notes are for `hil bus` alone.

        Where the segment itself is wrong, tight deadlines are only what follows from it.
        """
        marks = self.bus.marks
        found = []
        for each in self.findings:
            if each.severity is not Severity.NOTE:
                mark = next((marks[name] for name in each.who if name in marks), marks[""])
                odd = each.severity is Severity.WARNING
                found.append(Mistake(mark, f"{each.sentence} ({each.code})", each.remedy, odd))
        wrong = any(each.severity is Severity.ERROR for each in self.findings)
        asked = [each for each in self.asked if not wrong or each.ruling.fit is Fit.IMPOSSIBLE]
        return found + plan_mistakes(asked)


def stand(rack: Rack, plans: Iterable[Plan] = ()) -> Standing | None:
    """Work everything out; None where the bench file describes no bus."""
    if rack.bus is None:
        return None
    segment = rack.bus.segment
    planned = budget(segment)
    found = [*find(segment, planned), *_assumed(rack.bus)]
    return Standing(
        bus=rack.bus,
        budget=planned,
        findings=tuple(found),
        asked=tuple(deadlines(rack, segment, planned, plans)),
    )


def _assumed(bus: Bus) -> list[Finding]:
    found = []
    if bus.assumed:
        found.append(
            Finding(
                code="interval-assumed",
                severity=Severity.NOTE,
                sentence=f"nothing says how close together {_some(bus.assumed)} may come, "
                "20 ms is assumed",
                remedy="give `readings-every` and `commands-every`, or the traffic's own `every`",
            )
        )
    if bus.unsized:
        found.append(
            Finding(
                code="size-assumed",
                severity=Severity.NOTE,
                sentence=f"nothing says how long the texts in {_some(bus.unsized)} are, "
                f"{USUAL_TEXT} octets are assumed",
                remedy="give the traffic's own `size` (what is sent) or `answer` under `traffic`",
            )
        )
    return found


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (" and others" if len(names) > 3 else "")
