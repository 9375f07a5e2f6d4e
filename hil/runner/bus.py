"""The shared segment in a run: what must be right before it, and what is watched during it.

    before     a segment that cannot work, and a deadline it cannot carry, are refused
    each case  counters of the bus, its link and its signal quality are compared before and after;
               what became worse makes the bus a suspect, what changed goes to the journal
    at the end what was measured goes to the journal, ahead of its last line

A suspect changes no verdict: it stands among the reasons, with the evidence.  Only beacons of a
second coordinator end the run.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Protocol

from hil.bus.disturb import Disturb
from hil.bus.medium import SegmentMedium
from hil.bus.standing import stand
from hil.bus.suspicion import UNEXPECTED_BEACON, Meaning, meaning
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
from hil.runner.bus_alarm import BusAlarm
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
        alarm: BusAlarm | None = None,
    ) -> None:
        self._cases = cases
        self._alarm = alarm
        self._script: Sequence[Disturbance] | None = None
        self._record, self._observe = evidence.record, evidence.observe
        self._note = evidence.note
        self._least = None if rack.bus is None else rack.bus.least_quality
        self._medium, self._health, self._relay = medium, health, relay
        self._signals = rack.signals()
        self._diagnoses = {} if rack.bus is None else rack.bus.diagnoses
        self._beacons = {each.beacons for each in self._diagnoses.values() if each.beacons}
        self._counting = self._beacons | {
            name for each in self._diagnoses.values() for name in each.counters
        }
        wanted = {each.quality for each in self._diagnoses.values() if each.quality}
        self._wanted = wanted | self._counting
        self._seen: dict[str, str] = {}
        self._counts: dict[str, int] = {}
        self._qualities: dict[str, Decimal] = {}
        self._before: dict[str, int] = {}
        self._troubled: Sequence[str] = ()
        self._told: dict[str, Facts] = {}
        self._ended: tuple[Event, Event] | None = None

    @property
    def listens(self) -> bool:
        """Return whether any signal of a node tells about the bus."""
        return bool(self._wanted)

    @property
    def may_end(self) -> bool:
        """Return whether there is anything that could tell of a second coordinator."""
        return self._health is not None or bool(self._beacons)

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
            if not self._told:
                self._tell(event.at)
            before, self._troubled = self._troubled, self._troubles()
            news = [text for text in self._troubled if text not in before]
            for text in (*news, *self._risen("between two cases")):
                self._note(HostNoted(at=event.at, trouble="bus", amount=1, text=text))
            self._disturb()
        elif isinstance(event, CaseEnded):
            self._script = None
            self._tell(event.at, changed=True)
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
            self._ended = (event, self._broken_off(event))
            event = self._ended[1]
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
            before = self._counts.get(signal)
            self._counts[signal] = count = int(value)
            if signal in self._beacons and before is not None and count > before:
                self._end(signal, before, count)
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
        """Add what became worse during the case to its reasons."""
        found = self._risen("during the case")
        found += [text for text in self._troubles() if text not in self._troubled]
        reasons = [f"{SUSPECTED}: {text}" for text in found]
        return replace(event, reasons=(*event.reasons, *reasons)) if reasons else event

    def _risen(self, when: str) -> list[str]:
        """Return which counters have risen since they were looked at last, and look again."""
        found = []
        last, self._before = self._before, self._read()
        for name, count in self._before.items():
            before = last.get(name, count)
            if count <= before:
                continue
            told = self._meaning(name)
            means = f": {told.says}" if told else ""
            found.append(f"{name} rose from {before} to {count} {when}{means}")
            if told is not None and told.ends:
                self._end(name, before, count)
        return found

    def _meaning(self, name: str) -> Meaning | None:
        return UNEXPECTED_BEACON if name in self._beacons else meaning(name)

    def _end(self, name: str, before: int, count: int) -> None:
        """Have the run end: two coordinators spoil every verdict from now on."""
        if self._alarm is not None:
            self._alarm.sound(f"second coordinator: {name} rose from {before} to {count}")

    def _broken_off(self, event: RunEnded) -> RunEnded:
        """Tell why the run is worth nothing where it was over before it could be ended."""
        reason = "" if self._alarm is None else self._alarm.reason
        return replace(event, aborted=reason) if reason and not event.aborted else event

    def _read(self) -> dict[str, int]:
        own = {} if self._health is None else self._health.counters()
        return {**own, **self._counts}

    def _tell(self, at: Instant, *, changed: bool = False) -> None:
        """Record how the bus is; with `changed` only of whom it is another than was told last."""
        for who, facts in self._facts():
            if not changed or self._told.get(who) != facts:
                self._record(BusHealth(at=at, who=who, facts=facts))
            self._told[who] = facts

    def _facts(self) -> Iterator[tuple[str, Facts]]:
        if self._health is not None:
            yield "interface", self._health.facts()
        for who, diagnosis in self._diagnoses.items():
            told = ((name, self._seen.get(name, NOT_MEASURED)) for name in diagnosis.signals)
            yield who, tuple(told)


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
