"""The shared segment in a run: what must be right before it, and what is watched during it.

    before     a segment that cannot work, and a deadline it cannot carry, are refused
    each case  counters of the bus are compared; one that rose makes the bus a suspect
    at the end what was measured goes to the journal, ahead of its last line

A suspect changes no verdict: it stands among the reasons, with the evidence.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Protocol

from hil.bus.disturb import Disturb
from hil.bus.medium import SegmentMedium
from hil.bus.standing import stand
from hil.core.error import DescriptionError, Mistake
from hil.core.event import (
    BusHealth,
    CaseEnded,
    CaseStarted,
    Disturbed,
    Event,
    HostNoted,
    RunEnded,
    SegmentSeen,
)
from hil.core.instant import Instant
from hil.core.observation import Command, Purpose, Samples
from hil.core.plan import Case, Plan
from hil.core.signal import Validity, Value, show_number, show_value
from hil.runner.evidence import Evidence
from hil.wire.disturbance import Disturbance
from hil.wire.rack import Rack

SUSPECTED = "bus fault suspected"
NOT_MEASURED = "not measured"

Facts = tuple[tuple[str, str], ...]


class Health(Protocol):
    """What is asked about the rack's interface while a run goes on (hil.bench.health)."""

    def facts(self) -> Facts:
        """Return what can be told about it, what cannot with the reason."""

    def counters(self) -> Mapping[str, int]:
        """Return its counters of faults; only those that are offered."""

    def troubles(self) -> Sequence[str]:
        """Return what is worse than the bench file allows, in sentences."""


class Disturber(Protocol):
    """The relay before the nodes (hil.bench.relay, hil.bench.relay_medium)."""

    def disturb(self, script: Sequence[Disturbance] | None = None) -> None:
        """Disturb as the bench file says, or as this script says."""

    def calm(self) -> None:
        """Let everything pass unharmed."""


def refuse_wrong_segment(rack: Rack, plans: Iterable[Plan]) -> tuple[Mistake, ...]:
    """Refuse a segment that cannot work, and deadlines it cannot carry; return what is odd.

    Raises DescriptionError with everything that is wrong, and what is odd beside it.
    """
    standing = stand(rack, plans)
    mistakes = [] if standing is None else standing.mistakes()
    if any(not mistake.warning for mistake in mistakes):
        raise DescriptionError(sorted(mistakes))
    return tuple(sorted(mistakes))


class BusWatch:
    """Stands between the loop and the evidence of a run, and adds what it knows of the bus."""

    def __init__(
        self,
        rack: Rack,
        evidence: Evidence,
        *,
        medium: SegmentMedium | None = None,
        health: Health | None = None,
        relay: Disturber | None = None,
        cases: Sequence[Case] = (),
    ) -> None:
        self._cases = cases
        self._script: Sequence[Disturbance] | None = None
        self._record, self._observe = evidence.record, evidence.observe
        self._note = evidence.note
        self._least = None if rack.bus is None else rack.bus.least_quality
        self._medium, self._health, self._relay = medium, health, relay
        self._signals = rack.signals()
        self._diagnoses = {} if rack.bus is None else rack.bus.diagnoses
        self._counting = {name for each in self._diagnoses.values() for name in each.counters}
        wanted = {each.quality for each in self._diagnoses.values() if each.quality}
        self._wanted = wanted | self._counting
        self._seen: dict[str, str] = {}
        self._counts: dict[str, int] = {}
        self._qualities: dict[str, Decimal] = {}
        self._before: dict[str, int] = {}
        self._first = True
        self._ended: tuple[Event, Event] | None = None

    @property
    def listens(self) -> bool:
        """Return whether any signal of a node tells about the bus."""
        return bool(self._wanted)

    def hear(self, seen: Samples) -> None:
        """Take in what nodes tell about the bus themselves."""
        if self._wanted.isdisjoint(seen.signals):
            return
        for sample in seen.of(self._wanted):
            valid = sample.validity is Validity.VALID and sample.value is not None
            shown = show_value(sample.value, self._signals[sample.signal])
            self._seen[sample.signal] = shown if valid else NOT_MEASURED
            self._number(sample.signal, sample.value if valid else None)

    def record(self, event: Event) -> None:
        """Record an event, and before or after it what belongs there."""
        if isinstance(event, CaseStarted):
            if self._first:
                self._first = False
                self._tell(event.at)
                for text in self._troubles():
                    self._note(HostNoted(at=event.at, trouble="bus", amount=1, text=text))
            self._before = self._read()
            self._disturb()
        elif isinstance(event, CaseEnded):
            self._script = None
            self._ended = (event, self._suspect(event))
            event = self._ended[1]
        elif isinstance(event, Disturbed):
            job = self._cases[event.index].steps[event.step - 1].job
            if isinstance(job, Disturb):
                self._script = job.script
                self._disturb()
        elif isinstance(event, RunEnded):
            self._tell(event.at)
            if self._medium is not None:
                self._record(_segment(event.at, self._medium))
        self._record(event)

    def observe(self, event: Event) -> None:
        """Let the evidence observe what was recorded."""
        if self._ended is not None and event is self._ended[0]:
            event = self._ended[1]
        self._observe(event)

    def depart(self, commands: Sequence[Command]) -> None:
        """Learn what is about to be sent: only what a case is about may be disturbed."""
        if self._relay is None:
            return
        if all(command.purpose is Purpose.STIMULUS for command in commands):
            self._disturb()
        else:
            self._relay.calm()

    def _disturb(self) -> None:
        if self._relay is not None:
            self._relay.disturb(self._script)

    def _number(self, signal: str, value: Value | None) -> None:
        if signal in self._counting and isinstance(value, Decimal):
            self._counts[signal] = int(value)
        elif isinstance(value, Decimal):
            self._qualities[signal] = value
        else:
            self._qualities.pop(signal, None)

    def _troubles(self) -> list[str]:
        """Return where signal quality is less than the bench file wants; unknown is not less."""
        found = [] if self._health is None else list(self._health.troubles())
        for who, diagnosis in self._diagnoses.items():
            got = self._qualities.get(diagnosis.quality)
            if self._least is not None and got is not None and got < self._least:
                wanted = f"the bench file wants at least {self._least}"
                found.append(f"signal quality of {who} is {show_number(got)}, {wanted}")
        return found

    def _suspect(self, event: CaseEnded) -> CaseEnded:
        now = self._read()
        risen = [
            f"{SUSPECTED}: {name} rose from {self._before[name]} to {count} during the case"
            for name, count in now.items()
            if name in self._before and count > self._before[name]
        ]
        return replace(event, reasons=(*event.reasons, *risen)) if risen else event

    def _read(self) -> dict[str, int]:
        own = {} if self._health is None else self._health.counters()
        return {**own, **self._counts}

    def _tell(self, at: Instant) -> None:
        if self._health is not None:
            facts = self._health.facts()
            self._record(BusHealth(at=at, who="interface", facts=facts))
        for who, diagnosis in self._diagnoses.items():
            names = [*([diagnosis.quality] if diagnosis.quality else []), *diagnosis.counters]
            facts = tuple((name, self._seen.get(name, NOT_MEASURED)) for name in names)
            self._record(BusHealth(at=at, who=who, facts=facts))


def _segment(at: Instant, medium: SegmentMedium) -> SegmentSeen:
    seen = medium.counters()
    return SegmentSeen(
        at=at,
        elapsed=seen.elapsed,
        busy=seen.busy,
        utilisation=round(seen.utilisation, 6),
        frames=seen.frames,
        lost=seen.lost,
        spoiled=seen.spoiled,
        shares=tuple(
            (
                each.name,
                each.sent,
                each.waiting,
                each.refused,
                each.given_up,
                each.collisions,
                each.airtime,
                each.wait_median,
                each.wait_high,
                each.wait_longest,
            )
            for each in seen.shares
        ),
    )
