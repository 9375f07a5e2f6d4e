"""Known faults: which failure is one, and how every mark stood in a run.

A case is `known` only where every check that failed it is a known fault in force: the same check,
and a value (and a time) in the range that was written down.  Anything else stays what it is.

    standing   the check of the mark in this run
    shown      failed as written down
    other      failed, and not as written down: a failure
    passing    was judged and failed nowhere: is it mended? the mark can go
    unseen     was not judged: the case was not selected, did not run, or has no such check

A mark is in force on every day up to its last.  The day is that of about.json, UTC; where nobody
knows the day, no mark is in force.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from enum import Enum
from typing import Protocol

from hil.core.event import CheckDecided, Event, KnownFault, RunStarted

_TURN = re.compile(r" \(\d+\)")


class Standing(Enum):
    """How a mark stood; see above."""

    SHOWN = "shown"
    OTHER = "other"
    PASSING = "passing"
    UNSEEN = "unseen"


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownStanding:
    """One mark and how it stood in a run; `over` where its last day is past, or no day is known."""

    fault: KnownFault
    standing: Standing
    over: bool

    @property
    def name(self) -> str:
        """What people call it."""
        return f"{self.fault.fault} ({self.fault.reference})"

    @property
    def remark(self) -> str:
        """What somebody has to do about it; nothing where it is as written down."""
        if self.standing is Standing.PASSING:
            return (
                f"{self.name} was not seen: {self.fault.signal} passed; mended? take the mark out"
            )
        if self.over and self.standing is not Standing.UNSEEN:
            return f"{self.name} counts no longer: its last day was {self.fault.until}"
        if self.standing is Standing.OTHER:
            return f"{self.name} is not what failed {self.fault.signal}: another value or time"
        return ""


class Tried(Protocol):
    """What has to be known of one attempt at a case."""

    @property
    def checks(self) -> Sequence[CheckDecided]: ...
    @property
    def reasons(self) -> Sequence[str]: ...
    @property
    def blamed(self) -> Sequence[str]: ...


@dataclass(slots=True)
class _Seen:
    fault: KnownFault
    outcomes: list[bool | None] = field(default_factory=list)  # fits, does not fit, passed: None

    def standing(self) -> Standing:
        if not self.outcomes:
            return Standing.UNSEEN
        failed = [fits for fits in self.outcomes if fits is not None]
        if not failed:
            return Standing.PASSING
        return Standing.SHOWN if all(failed) else Standing.OTHER


class KnownFold:
    """Takes in the events of a run; marks are told before the first check.

    `day` is the day of the run, YYYY-MM-DD, None where it is not known.
    """

    def __init__(self, day: str | None) -> None:
        self._day = day
        self._seen: list[_Seen] = []
        self._titles: dict[str, str] = {}
        self._cases: Sequence[tuple[str, str]] = ()

    def receive(self, event: Event) -> None:
        """Take in the next event; most are passed over."""
        if isinstance(event, KnownFault):
            self._seen.append(_Seen(event))
        elif isinstance(event, RunStarted):
            self._titles = {file: title for title, file, _ in event.plans}
            self._cases = event.cases
        elif self._seen and isinstance(event, CheckDecided):
            for seen in self._seen:
                if self._is_about(seen.fault, event):
                    self._note(seen, event)

    def of_case(self, attempts: Sequence[Tried]) -> tuple[KnownFault, ...]:
        """Return the marks to which every attempt of a case is due; nothing where one is not."""
        if not attempts or any(attempt.blamed for attempt in attempts):
            return ()
        covers = [self.covering(attempt.checks, attempt.reasons) for attempt in attempts]
        found = {fault.place: fault for cover in covers for fault in cover}
        return tuple(found.values()) if all(covers) else ()

    def covering(
        self, checks: Iterable[CheckDecided], reasons: Iterable[str]
    ) -> tuple[KnownFault, ...]:
        """Return the marks in force that cover everything for which an attempt failed.

        Nothing where one check is not covered, none failed, or a reason is no failed check.
        """
        failed = [check for check in checks if check.outcome != "pass"]
        covers = [self._cover(check) for check in failed]
        if not set(reasons) <= {check.text for check in failed}:
            return ()
        found = {cover.place: cover for cover in covers if cover is not None}
        return () if None in covers else tuple(found.values())

    def standings(self) -> tuple[KnownStanding, ...]:
        """Return how every mark stood, in the order of the file."""
        return tuple(
            KnownStanding(
                fault=seen.fault, standing=seen.standing(), over=not self._in_force(seen.fault)
            )
            for seen in self._seen
        )

    def _cover(self, check: CheckDecided) -> KnownFault | None:
        if check.outcome != "fail":
            return None
        for seen in self._seen:
            fault = seen.fault
            if self._in_force(fault) and self._is_about(fault, check) and fits(fault, check):
                return fault
        return None

    def _in_force(self, fault: KnownFault) -> bool:
        return self._day is not None and self._day <= fault.until

    def _is_about(self, fault: KnownFault, check: CheckDecided) -> bool:
        if check.signal != fault.signal or not 0 <= check.index < len(self._cases):
            return False
        if fault.step is not None and check.step != fault.step:
            return False
        if fault.measure and fault.measure not in (figure[0] for figure in check.figures):
            return False
        file, title = self._cases[check.index]
        rest = title.removeprefix(fault.case)
        same = title == fault.case or (rest != title and _TURN.fullmatch(rest) is not None)
        return same and self._titles.get(file) == fault.plan

    def _note(self, seen: _Seen, check: CheckDecided) -> None:
        if check.outcome == "pass":
            seen.outcomes.append(None)
        elif check.outcome == "fail":
            seen.outcomes.append(fits(seen.fault, check))


def told(fault: KnownFault) -> str:
    """Tell a mark in one line, as the first reason of its case."""
    return f"known fault {fault.reference}, until {fault.until}: {fault.fault}: {fault.reason}"


def fits(fault: KnownFault, check: CheckDecided) -> bool:
    """Return whether a failed check failed as written down: by its value and by its time."""
    if not _in_time(fault, check):
        return False
    if fault.values:
        return check.got in fault.values
    if not fault.low and not fault.high:
        return True
    ends = _ends(fault, check)
    if ends is None:
        return False
    low, high = ends
    return (not fault.low or low >= Decimal(fault.low)) and (
        not fault.high or high <= Decimal(fault.high)
    )


def _in_time(fault: KnownFault, check: CheckDecided) -> bool:
    if fault.earliest is None or fault.latest is None:
        return True
    took = check.change[1] if check.change is not None else check.elapsed
    return took is not None and fault.earliest <= took <= fault.latest


def _ends(fault: KnownFault, check: CheckDecided) -> tuple[Decimal, Decimal] | None:
    """Return the interval in which the value lies, in the unit of the mark; None without one."""
    if fault.measure:
        figures: Mapping[str, tuple[str, float, float, float | None, str]] = {
            figure[0]: figure for figure in check.figures
        }
        _, low, _, high, unit = figures[fault.measure]
        if high is None or unit != fault.unit:
            return None
        return Decimal(repr(low)), Decimal(repr(high))
    number, _, unit = check.got.partition(" ")
    if unit != fault.unit:
        return None
    try:
        value = Decimal(number)
    except InvalidOperation:
        return None
    return (value, value) if value.is_finite() else None
